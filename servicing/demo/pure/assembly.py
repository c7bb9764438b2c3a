"""What is fitted to which set of the invented fleet, and what its types state."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date

from registry.items.pure import Serving
from servicing.bench.pure.ranges import read_ranges
from servicing.demo.pure.days import ago
from servicing.demo.pure.stock import Stocked
from servicing.demo.pure.valley import Model, Swap, Valley

PARTS = ("frame", "cylinder", "reducer", "demand-valve", "mask")
TWO = "2"
Name = tuple[str, str, str]


@dataclass(frozen=True, slots=True)
class TypeStated:
    """What is stated of a type, named by kind, maker and model; of a set, what is approved.

    serving: of an instrument, what it is.
    """

    name: Name
    facts: Mapping[str, str]
    approved: tuple[Name, ...]
    serving: Serving


@dataclass(frozen=True, slots=True)
class Fitted:
    """A part in a place of a set; removed_on is None while it lasts."""

    set: str
    part: str
    place: str
    fitted_on: date
    removed_on: date | None = None

    def row(self) -> dict[str, str]:
        """Return the row of a fittings list."""
        return {
            "set": self.set,
            "part": self.part,
            "place": self.place,
            "fitted_on": self.fitted_on.isoformat(),
            "removed_on": self.removed_on.isoformat() if self.removed_on else "",
        }


def stated(valley: Valley) -> tuple[TypeStated, ...]:
    """Return what the file states of models, where it states anything."""

    def name(model: Model) -> Name:
        return model.kind, model.maker, model.model

    return tuple(
        TypeStated(
            name(model),
            model.stated,
            tuple(name(valley.models[key]) for key in model.approved),
            Serving(model.serves_as, read_ranges("\n".join(model.shows))),
        )
        for model in valley.models.values()
        if model.stated or model.approved or model.serves_as
    )


def fittings(valley: Valley, items: Iterable[Stocked], on: date) -> tuple[dict[str, str], ...]:
    """Return the rows of a fittings list: every set assembled, then what was changed since."""
    items = tuple(items)
    rows = [
        row
        for assembly in valley.assemblies
        for row in _assembled(items, assembly.site, assembly.connectors)
    ]
    for swap in valley.swaps:
        rows = list(_swapped(rows, swap, ago(on, swap.ago)))
    return tuple(row.row() for row in rows)


def _assembled(items: Iterable[Stocked], site: str, connectors: int) -> Iterator[Fitted]:
    """Yield the parts of each set of a site, first with first, as far as they reach."""
    here: dict[str, list[Stocked]] = {}
    for item in items:
        if item.site == site:
            here.setdefault(item.kind, []).append(item)
    sets, cylinders = here["set"], here["cylinder"]
    for number, kit in enumerate(zip(sets, *(here[kind] for kind in PARTS), strict=False)):
        whole, *parts = kit
        places = dict(zip(PARTS, parts, strict=True))
        if number < connectors:
            connector = places["connector"] = here["connector"][number]
            if connector.model.stated.get("joins") == TWO:
                places["cylinder-2"] = cylinders[len(sets) + number]
        days = [item.in_service_on for item in (whole, *places.values())]
        since = max(day for day in days if day is not None)
        for place, part in places.items():
            yield Fitted(whole.tag, part.tag, place, since)


def _swapped(rows: Iterable[Fitted], swap: Swap, day: date) -> Iterator[Fitted]:
    for row in rows:
        if (row.set, row.place, row.removed_on) == (swap.set, swap.place, None):
            yield Fitted(row.set, row.part, row.place, row.fitted_on, day)
        else:
            yield row
    if swap.part:
        yield Fitted(swap.set, swap.part, swap.place, day)

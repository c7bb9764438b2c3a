"""An invented fleet as the four lists that a real one would bring in."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from servicing.demo.pure import assembly
from servicing.demo.pure.habits import checked, serviced
from servicing.demo.pure.records import Happening, history_row, metered
from servicing.demo.pure.stock import register_row, site_rows, stock
from servicing.demo.pure.troubles import with_trouble
from servicing.demo.pure.use import filled, used
from servicing.demo.pure.valley import read_valley


@dataclass(frozen=True, slots=True)
class DemoFleet:
    """The rows of a sites, a register, a history and a fittings list, by column.

    types: what is stated of models, which no list brings in. least_ready: the least number
    of ready sets by site, which none brings in either.
    """

    sites: tuple[dict[str, str], ...]
    register: tuple[dict[str, str], ...]
    history: tuple[dict[str, str], ...]
    fittings: tuple[dict[str, str], ...]
    types: tuple[assembly.TypeStated, ...]
    least_ready: Mapping[str, int]


def demo_fleet(data: Mapping[str, object], on: date) -> DemoFleet:
    """Return the invented fleet as it stands on a day, the same for the same day.

    data: `fixtures/demo/valley.toml`, parsed. Nothing in it is dated later than `on`.
    """
    valley = read_valley(data)
    items = stock(valley, on)
    happenings: Iterable[Happening] = [
        *serviced(valley, items, on),
        *checked(valley, items, on),
        *filled(valley, items, on),
        *used(valley, items, on),
    ]
    for trouble in valley.troubles:
        happenings = list(with_trouble(happenings, trouble, on))
    history = _in_order(metered(items, happenings))
    names = tuple(sorted({name for happening in history for name in happening.readings}))
    return DemoFleet(
        sites=site_rows(valley.places),
        register=tuple(register_row(item) for item in items),
        history=tuple(history_row(happening, names) for happening in history),
        fittings=assembly.fittings(valley, items, on),
        types=assembly.stated(valley),
        least_ready={p.code: p.least_ready for p in valley.places if p.least_ready is not None},
    )


def _in_order(happenings: Iterable[Happening]) -> list[Happening]:
    """Return the happenings by day, each of them once.

    Of two that a ledger would take for one, the later stays: a test after use is worth
    more than the same test planned for that day.
    """
    once: dict[tuple[str, str, date, str], Happening] = {}
    for happening in happenings:
        once.pop(happening.key, None)
        once[happening.key] = happening
    return sorted(once.values(), key=lambda happening: happening.done_on)

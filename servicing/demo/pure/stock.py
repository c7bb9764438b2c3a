"""The items of the invented fleet, and the rows that bring them in."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta

from registry.lists.pure.register import HEADER
from servicing.demo.pure.days import ago, stream
from servicing.demo.pure.valley import Delivery, Model, Place, Valley
from servicing.rules.pure.durations import add_months


@dataclass(frozen=True, slots=True)
class Stocked:
    """One item, with the delivery it came in.

    number: its place among those of the delivery at the same site, from 0. made_on: the
    first of the month where only the month is known, None where nothing is.
    """

    tag: str
    model: Model
    delivery: Delivery
    serial: str
    site: str
    number: int
    made_on: date | None
    in_service_on: date | None

    @property
    def kind(self) -> str:
        """The kind of thing it is."""
        return self.model.kind

    @property
    def group(self) -> tuple[str, int, str]:
        """What tells its delivery and site from all others."""
        return self.delivery.serials, self.delivery.first_serial, self.site


def site_rows(places: tuple[Place, ...]) -> tuple[dict[str, str], ...]:
    """Return the rows of a sites list."""
    return tuple(
        {
            "code": place.code,
            "name": place.name,
            "parent": place.parent,
            "timezone": place.timezone,
            "rule_tables": ";".join(place.rule_tables),
        }
        for place in places
    )


def stock(valley: Valley, on: date) -> tuple[Stocked, ...]:
    """Return every item, in the order delivered."""
    used = dict.fromkeys(valley.tags, 0)
    items: list[Stocked] = []
    for delivery in valley.deliveries:
        model = valley.models[delivery.model]
        for offset, (site, number) in enumerate(_placed(delivery)):
            made_on, in_service_on = _dates(valley, delivery, site, offset, on)
            items.append(
                Stocked(
                    tag=_tag(valley, model.kind, used[model.kind]),
                    model=model,
                    delivery=delivery,
                    serial=f"{delivery.serials}-{delivery.first_serial + offset}",
                    site=site,
                    number=number,
                    made_on=made_on,
                    in_service_on=in_service_on,
                )
            )
            used[model.kind] += 1
    return tuple(items)


def register_row(item: Stocked) -> dict[str, str]:
    """Return an item's row of a register list."""
    known = {
        **item.model.cylinder,
        "tag": item.tag,
        "kind": item.kind,
        "maker": item.model.maker,
        "model": item.model.model,
        "serial": item.serial,
        "made_on": _made(item),
        "in_service_on": item.in_service_on.isoformat() if item.in_service_on else "",
        "site": item.site,
        "working_pressure_bar": item.model.working_pressure_bar,
        "connection": item.model.connection,
        "size": item.model.sizes[item.number % len(item.model.sizes)],
    }
    return {name: known.get(name, "") for name in HEADER}


def _placed(delivery: Delivery) -> Iterator[tuple[str, int]]:
    for site, count in delivery.sites.items():
        for number in range(count):
            yield site, number


def _tag(valley: Valley, kind: str, used: int) -> str:
    form = valley.tags[kind]
    return f"{form['prefix']}{form['first'] + used:0{form['digits']}d}"


def _made(item: Stocked) -> str:
    if item.made_on is None:
        return ""
    if item.delivery.made_known_to == "month":
        return f"{item.made_on:%Y-%m}"
    return item.made_on.isoformat()


def _dates(
    valley: Valley, delivery: Delivery, site: str, offset: int, on: date
) -> tuple[date | None, date | None]:
    """Return the day an item was made and the day it went into service, as far as known."""
    if delivery.made_known_to == "nothing":
        return None, None
    name = valley.seed, delivery.serials, delivery.first_serial
    lag = timedelta(days=stream(*name, site).randint(40, 90))
    if delivery.life_ends_in_days is not None:
        years = int(valley.models[delivery.model].cylinder["design_life_years"])
        made_on = add_months(on + timedelta(days=delivery.life_ends_in_days), -12 * years)
        return made_on, made_on + lag
    days = stream(*name).randint(8, 27)
    first = ago(on, {"months": delivery.made_months_ago or 0, "days": days})
    if delivery.made_known_to == "month":
        return first.replace(day=1), first + lag
    made_on = first + timedelta(days=offset // 8)
    return made_on, first + lag

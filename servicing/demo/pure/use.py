"""What use brings about: sets go out, come back wet, are washed, tested and filled."""

from collections.abc import Iterable, Iterator
from datetime import date, timedelta
from random import Random

from servicing.demo.pure.days import newest, stream, workday_after, workday_before
from servicing.demo.pure.records import Happening, good_readings
from servicing.demo.pure.stock import Stocked
from servicing.demo.pure.valley import Crew, Valley
from servicing.rules.pure.durations import add_months

WORN = ("set", "frame", "demand-valve", "mask", "cylinder")
AFTERWARDS = {
    "set": ("cleaning", "functional-test"),
    "frame": ("cleaning", "functional-test"),
    "demand-valve": ("cleaning", "functional-test"),
    "mask": ("cleaning", "tightness-test"),
    "cylinder": ("fill",),
}
Kit = tuple[Stocked, ...]


def used(valley: Valley, items: Iterable[Stocked], on: date) -> Iterator[Happening]:
    """Yield every use of every crew and what was done after it, up to some days before `on`."""
    items = tuple(items)
    for crew in valley.crews:
        kits = _kits(items, crew.site)
        draw = stream(valley.seed, "use", crew.site)
        for out_on in _outings(valley, crew, on, draw):
            note = draw.choice(valley.use.notes)
            for kit in draw.sample(kits, min(crew.sets, len(kits))):
                if all(item.in_service_on and item.in_service_on < out_on for item in kit):
                    yield from _worn(valley, kit, out_on, note, draw)


def filled(valley: Valley, items: Iterable[Stocked], on: date) -> Iterator[Happening]:
    """Yield the fillings of the filling point's own cylinders."""
    pool = valley.pool
    for item in items:
        if item.site != pool.site or item.model.key not in pool.models or not item.in_service_on:
            continue
        draw = stream(valley.seed, "pool", item.tag)
        day = add_months(on, -pool.history_months)
        while (day := day + timedelta(days=_about(pool.every_days, draw))) <= newest(on):
            if item.in_service_on < (done_on := workday_before(day)):
                yield Happening(
                    item.tag,
                    "fill",
                    done_on,
                    draw.choice(valley.people_for("filling", pool.site)),
                    readings=good_readings(valley, item, "fill", draw),
                )


def _kits(items: Iterable[Stocked], site: str) -> list[Kit]:
    """Return the sets of a site with their parts, first with first, as far as they reach."""
    here = [item for item in items if item.site == site]
    return list(zip(*([i for i in here if i.kind == kind] for kind in WORN), strict=False))


def _outings(valley: Valley, crew: Crew, on: date, draw: Random) -> Iterator[date]:
    last = on - timedelta(days=valley.use.clear_days)
    day = add_months(on, -valley.use.history_months)
    while (day := day + timedelta(days=_about(crew.every_days, draw))) <= last:
        yield day


def _about(days: int, draw: Random) -> int:
    return round(days * draw.uniform(0.6, 1.4))


def _worn(valley: Valley, kit: Kit, out_on: date, note: str, draw: Random) -> Iterator[Happening]:
    """Yield the use of one set's parts, then their washing, then test and filling."""
    leader = draw.choice(valley.people_for("station", kit[0].site))
    for item in kit:
        yield Happening(item.tag, "use", out_on, leader, note=note)
    washed_on = workday_after(out_on + timedelta(days=1))
    tested_on = workday_after(washed_on + timedelta(days=draw.randint(0, 1)))
    washer, tester = (draw.choice(valley.people_for("workshop", kit[0].site)) for _ in range(2))
    for item in kit:
        for task in AFTERWARDS[item.kind]:
            done_on, by = (washed_on, washer) if task == "cleaning" else (tested_on, tester)
            readings = good_readings(valley, item, task, draw)
            yield Happening(item.tag, task, done_on, by, readings=readings)

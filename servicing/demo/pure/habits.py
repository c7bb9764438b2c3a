"""What is done again and again: services in lots, and the monthly checks.

Each visit comes a little before the last one's period is over, so an item that only
follows its habits was never overdue, on no day of the history.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from random import Random

from servicing.demo.pure.days import (
    MONTH_DAYS,
    first_of_month,
    newest,
    stream,
    workday_before,
)
from servicing.demo.pure.records import Happening, good_readings
from servicing.demo.pure.stock import Stocked
from servicing.demo.pure.valley import Place, Rhythm, Setback, Valley
from servicing.rules.pure.durations import add_months

MONTHLY = "monthly"
LEAST_DAYS_EARLY = 4


@dataclass(frozen=True, slots=True)
class Visit:
    """A day on which a lot is serviced, and when the parts fitted that day were made."""

    done_on: date
    part_made_on: date | None = None


def serviced(valley: Valley, items: Iterable[Stocked], on: date) -> Iterator[Happening]:
    """Yield everything the rhythms of the items brought about, lot by lot."""
    for rhythm in valley.rhythms.values():
        for key, lot in _lots(rhythm, items).items():
            draw = stream(valley.seed, rhythm.key, *key)
            oldest = add_months(on, -rhythm.history_months)
            for visit in _visits(rhythm, lot, on, draw):
                if visit.done_on >= oldest:
                    yield from _service(valley, rhythm, lot, visit, draw)


def checked(valley: Valley, items: Iterable[Stocked], on: date) -> Iterator[Happening]:
    """Yield the monthly checks, site by site, up to the day before yesterday."""
    for place in valley.places:
        here = [item for item in items if item.site == place.code and MONTHLY in item.model.service]
        draw = stream(valley.seed, MONTHLY, place.code)
        for months_back in range(place.checks_since_months, -1, -1) if here else ():
            by = draw.choice(valley.people_for("station", place.code))
            done_on = _check_day(place, months_back, on, draw)
            if done_on <= newest(on):
                yield from _round(here, done_on, by)


def _round(items: Iterable[Stocked], done_on: date, by: str) -> Iterator[Happening]:
    for item in items:
        if item.in_service_on and item.in_service_on < done_on:
            yield Happening(item.tag, "periodic-inspection", done_on, by)


def _check_day(place: Place, months_back: int, on: date, draw: Random) -> date:
    day = place.check_day + draw.randint(0, 4)
    return first_of_month(on, months_back).replace(day=day)


def _lots(
    rhythm: Rhythm, items: Iterable[Stocked]
) -> dict[tuple[str, int, str, int], list[Stocked]]:
    """Return what is serviced together. An item that nothing is known of is left out."""
    lots: dict[tuple[str, int, str, int], list[Stocked]] = defaultdict(list)
    for item in items:
        if rhythm.key in item.model.service and item.made_on is not None:
            lots[*item.group, item.number // rhythm.lot].append(item)
    return lots


def _visits(rhythm: Rhythm, lot: list[Stocked], on: date, draw: Random) -> Iterator[Visit]:
    """Yield the days on which a lot is serviced, oldest first."""
    delivery = lot[0].delivery
    if rhythm.steps == ("hydrostatic-retest",) and delivery.retest_due_in_months is not None:
        yield from _retests_of_one_month(rhythm, lot, delivery.retest_due_in_months, on)
        return
    basis = _basis(rhythm, lot)
    if rhythm.counted_from == "at-once":
        yield Visit(basis)
    done_on = workday_before(_first(rhythm, basis, draw))
    while done_on <= newest(on):
        part_made_on = None
        if rhythm.counted_from == "part-made":
            part_made_on = done_on - timedelta(days=draw.randint(20, 200))
        yield Visit(done_on, part_made_on)
        done_on = workday_before(_next(rhythm, part_made_on or done_on, draw))


def _basis(rhythm: Rhythm, lot: list[Stocked]) -> date:
    made = rhythm.counted_from in ("made", "part-made")
    days = (item.made_on if made else item.in_service_on for item in lot)
    return min(day for day in days if day is not None)


def _first(rhythm: Rhythm, basis: date, draw: Random) -> date:
    """Return the day of the first visit, some way into the first period."""
    if not rhythm.first_months:
        return _next(rhythm, basis, draw)
    longest = rhythm.months * MONTH_DAYS - LEAST_DAYS_EARLY
    return basis + timedelta(days=int(draw.uniform(rhythm.first_months * MONTH_DAYS, longest)))


def _next(rhythm: Rhythm, basis: date, draw: Random) -> date:
    """Return a day 2 to 12 % before the period is over, and never less than a few days."""
    early = int(draw.uniform(0.02, 0.12) * rhythm.months * MONTH_DAYS)
    return add_months(basis, rhythm.months) - timedelta(days=max(LEAST_DAYS_EARLY, early))


def _retests_of_one_month(
    rhythm: Rhythm, lot: list[Stocked], due_in_months: int, on: date
) -> Iterator[Visit]:
    """Yield the one retest of a delivery that falls due together, lots on days that follow."""
    month = first_of_month(on, rhythm.months - due_in_months)
    sites = list(lot[0].delivery.sites)
    yield Visit(workday_before(month.replace(day=8 + sites.index(lot[0].site))))


def _service(
    valley: Valley, rhythm: Rhythm, lot: list[Stocked], visit: Visit, draw: Random
) -> Iterator[Happening]:
    """Yield what is done to a lot on one day, item by item and step by step."""
    by = draw.choice(valley.people_for(rhythm.by, lot[0].site))
    number = draw.randint(1000, 8900)
    for place, item in enumerate(lot):
        for task in rhythm.steps:
            setback = _setback(valley, item, task, draw)
            if setback:
                yield from _put_right(item, setback, visit.done_on, by, draw)
            yield Happening(
                tag=item.tag,
                task=task,
                done_on=visit.done_on,
                by=by,
                note="Second attempt" if setback else rhythm.note.format(number=number + place),
                part_made_on=visit.part_made_on,
                readings=good_readings(valley, item, task, draw),
            )


def _setback(valley: Valley, item: Stocked, task: str, draw: Random) -> Setback | None:
    """Return what goes wrong this time, if anything does."""
    possible = next((s for s in valley.setbacks if (s.kind, s.task) == (item.kind, task)), None)
    return possible if possible and draw.uniform(0, 100) < possible.percent else None


def _put_right(
    item: Stocked, setback: Setback, done_on: date, by: str, draw: Random
) -> Iterator[Happening]:
    made_on = done_on - timedelta(days=draw.randint(20, 200)) if setback.new_part else None
    yield Happening(
        item.tag, setback.task, done_on, by, "fail", setback.note, readings=setback.readings
    )
    yield Happening(item.tag, setback.remedy, done_on, by, part_made_on=made_on)

"""One thing that happened to an invented item, and the readings a good test gives."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from random import Random

from servicing.demo.pure.days import MONTH_DAYS
from servicing.demo.pure.stock import Stocked
from servicing.demo.pure.valley import Valley
from servicing.ledger.pure.meter import HOURS_RUN

METER_IS_READ_AT = ("filter-change", "meter-reading")


@dataclass(frozen=True, slots=True)
class Happening:
    """A row of a history list, before it is written out."""

    tag: str
    task: str
    done_on: date
    by: str
    outcome: str = "pass"
    note: str = ""
    part_made_on: date | None = None
    readings: Mapping[str, str] = field(default_factory=dict)

    @property
    def key(self) -> tuple[str, str, date, str]:
        """What a ledger would take for the same thing entered twice."""
        return self.tag, self.task, self.done_on, self.outcome


def good_readings(valley: Valley, item: Stocked, task: str, draw: Random) -> dict[str, str]:
    """Return what a passed task reads on an item; nothing where nothing is read."""
    if task == "hydrostatic-retest":
        return _stretch(item, draw)
    if task == "fill":
        full = float(item.model.working_pressure_bar)
        return {"fill_bar": f"{full * draw.uniform(0.97, 1.0):.0f}"}
    return {
        reading.name: f"{draw.uniform(reading.low, reading.high):.{reading.places}f}"
        for reading in valley.readings
        if (reading.kind, reading.task) == (item.kind, task)
    }


def metered(items: Iterable[Stocked], happenings: Iterable[Happening]) -> Iterator[Happening]:
    """Yield happenings, with what the meter showed where its hours were read off."""
    running = {item.tag: item for item in items if item.model.hours_a_month}
    for each in happenings:
        item = running.get(each.tag)
        if item is None or item.in_service_on is None or each.task not in METER_IS_READ_AT:
            yield each
            continue
        months = (each.done_on - item.in_service_on).days / MONTH_DAYS
        hours = f"{months * item.model.hours_a_month:.0f}"
        yield replace(each, readings={**each.readings, HOURS_RUN: hours})


def history_row(happening: Happening, names: tuple[str, ...]) -> dict[str, str]:
    """Return a happening's row of a history list with a column for each reading's name."""
    part = happening.part_made_on
    return {
        "tag": happening.tag,
        "task": happening.task,
        "done_on": happening.done_on.isoformat(),
        "outcome": happening.outcome,
        "by": happening.by,
        "note": happening.note,
        "part_made_on": part.isoformat() if part else "",
        **{f"reading:{name}": happening.readings.get(name, "") for name in names},
    }


def _stretch(item: Stocked, draw: Random) -> dict[str, str]:
    """Return the readings of a passed retest: up to 2 % of the expansion stays.

    Less than the 5 % and 10 % limits in use, and below the marked elastic expansion.
    """
    litres = float(item.model.cylinder["water_capacity_l"])
    total = litres * item.model.expansion_ml_per_l * draw.uniform(0.96, 1.04)
    return {
        "test_pressure_bar": item.model.cylinder["test_pressure_bar"],
        "total_expansion_ml": f"{total:.1f}",
        "permanent_expansion_ml": f"{total * draw.uniform(0.0, 0.02):.1f}",
    }

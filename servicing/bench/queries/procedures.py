"""Which procedures an item is worked on by, and what its readings are judged by."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime

from registry.items.models import Item, ItemType
from servicing.bench.models import ProcedureVersion, TypeLimit
from servicing.bench.pure.limits import Limit
from servicing.bench.pure.procedure import Measure, Procedure
from servicing.bench.pure.verdict import limits_for

NOMINALS = ("working_pressure_bar", "test_pressure_bar")


@dataclass(frozen=True, slots=True)
class Judging:
    """What the measures of a procedure are judged by, for one item.

    limits: by step id. unset: by step id, why there is none; such a step can't be judged
    and so its procedure can't pass.
    """

    limits: dict[str, Limit]
    unset: dict[str, str]


def current_procedures(known_by: datetime | None = None) -> dict[str, ProcedureVersion]:
    """Return the version of every procedure by its id, as known at a moment or now."""
    rows = ProcedureVersion.objects.known_by(known_by)
    return {row.procedure_id: row for row in rows}


def procedures_for(
    item: Item,
    task: str | None = None,
    on: date | None = None,
    known_by: datetime | None = None,
) -> list[ProcedureVersion]:
    """Return the procedures for an item, by title.

    task: only those for it. on: only those in force on the day, local to the item's site.
    known_by: as known at that moment; None for now.
    """
    rows = ProcedureVersion.objects.known_by(known_by)
    if task is not None:
        rows = rows.filter(task=task)
    found = [row for row in rows if _fits(row.procedure, item, on)]
    return sorted(found, key=lambda row: (row.title, row.procedure_id))


def judging_of(
    item: Item,
    procedure: Procedure,
    known_by: datetime | None = None,
    cylinder: Item | None = None,
) -> Judging:
    """Return what the measures of a procedure are judged by, for one item.

    cylinder: the cylinder fitted to a set, for limits that are a share of its pressure; a
    set without one is judged by the pressure it is itself registered with.
    """
    marked = {name: getattr(cylinder or item, name) for name in NOMINALS}
    limits, unset = limits_for(procedure, marked, type_limits(item.type, known_by))
    return Judging(limits, unset)


def type_limits(of: ItemType, known_by: datetime | None = None) -> dict[str, Limit]:
    """Return the limits of a type by the reading's name, as known at a moment or now."""
    rows = TypeLimit.objects.filter(type=of).known_by(known_by)
    return {row.reading: row.limit for row in rows}


def readings_open_to(of: ItemType) -> list[str]:
    """Return the readings for which a limit may be set for a type, in alphabetical order."""
    return sorted({one.reading for one in measures_of(current_procedures().values(), of.kind)})


def measures_of(versions: Iterable[ProcedureVersion], kind: str) -> list[Measure]:
    """Return what procedures for a kind measure, as far as a type's own limit may bear on it."""
    return [
        step.measure
        for version in versions
        if kind in version.procedure.kinds
        for step in version.procedure.steps
        if step.measure and (step.measure.by_type or step.measure.may_tighten)
    ]


def _fits(procedure: Procedure, item: Item, on: date | None) -> bool:
    return item.kind in procedure.kinds and (on is None or procedure.in_force(on))

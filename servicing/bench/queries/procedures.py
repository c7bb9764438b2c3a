"""Which procedures an item is worked on by, and what its readings are judged by."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime

from registry.items.models import Item, ItemType
from registry.items.pure import Kind
from registry.sets.pure.places import CYLINDERS
from registry.sets.queries import around
from registry.sites.clock import today_at
from registry.wording.pure.dates import day_words
from servicing.bench.models import ProcedureVersion, TypeLimit
from servicing.bench.pure.limits import Limit, Nominal
from servicing.bench.pure.procedure import Measure, Procedure
from servicing.bench.pure.verdict import limits_for
from servicing.bench.queries.facts import Adopted, facts_of

BY_ITS_CYLINDER = (Kind.SET, Kind.FRAME)
"""What holds no air itself: its pressures are those of the cylinder that is fitted."""


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


def guided_tasks(item: Item, on: date) -> list[str]:
    """Return the tasks of an item that have a procedure on a day."""
    return sorted({version.task for version in procedures_for(item, None, on)})


def procedures_for(
    item: Item,
    task: str | None = None,
    on: date | None = None,
    known_by: datetime | None = None,
) -> list[ProcedureVersion]:
    """Return the procedures for an item, by title; those that may apply to it.

    task: only those for it. on: only those in force on the day, local to the item's site.
    known_by: as known at that moment; None for now.
    """
    rows = ProcedureVersion.objects.known_by(known_by)
    if task is not None:
        rows = rows.filter(task=task)
    found = [row for row in rows if _fits(row.procedure, item, on)]
    asked = {name for row in found for name in row.procedure.applies.asks}
    if asked:
        facts = facts_of(item, on or today_at(item.site), asked)
        found = [row for row in found if row.procedure.applies.to(facts) is not False]
    return sorted(found, key=lambda row: (row.title, row.procedure_id))


def applied_to(
    item: Item, procedure: Procedure, on: date, adopted: Adopted | None = None
) -> Procedure:
    """Return a procedure with the steps that apply to an item on a day, or may.

    adopted: rule tables of sites looked up before, for many items.
    """
    if not procedure.asks:
        return procedure
    return procedure.for_item(facts_of(item, on, procedure.asks, adopted))


def judging_of(
    item: Item, procedure: Procedure, on: date, known_by: datetime | None = None
) -> Judging:
    """Return what the measures of a procedure are judged by, for one item on a day.

    on: the day of the work; a set or a frame is judged by the cylinders fitted then, and
    without one there is no limit.
    """
    shares = {s.measure.share_of for s in procedure.steps if s.measure and s.measure.share_of}
    marked = _marked(item, shares, on, known_by) if shares else {}
    limits, unset = limits_for(procedure, marked, type_limits(item.type, known_by))
    return Judging(limits, unset)


def _marked(
    item: Item, names: Iterable[str], on: date, known_by: datetime | None
) -> dict[str, Nominal]:
    """Return the marked values that limits are a share of, by their names in the register."""
    if item.kind not in BY_ITS_CYLINDER:
        return {name: _of_all([item], name) for name in names}
    whole, fitted = around(item, on, known_by)
    cylinders = [each.part for each in fitted if each.place in CYLINDERS]
    if cylinders:
        return {name: _of_all(cylinders, name) for name in names}
    whose = (
        f"No cylinder was fitted to the set {whole.tag} on {day_words(on)}; fit it on the "
        "set's page first."
        if whole
        else f"{item.tag} was fitted to no set on {day_words(on)}, so it has no cylinder."
    )
    return dict.fromkeys(names, Nominal(None, whose))


def _of_all(items: list[Item], name: str) -> Nominal:
    """Return what is marked on all of some items alike; no value where one is not known."""
    what = name.removesuffix("_bar").replace("_", " ")
    called = [f"{item.kind.replace('-', ' ')} {item.tag}" for item in items]
    values = [getattr(item, name) for item in items]
    for whose, value in zip(called, values, strict=True):
        if value is None:
            missing = f"The {what} of {whose} is not known; enter it as marked on it first."
            return Nominal(None, missing)
    if len(set(values)) > 1:
        each = " and ".join(
            f"{whose} {value.normalize():f} bar"
            for whose, value in zip(called, values, strict=True)
        )
        return Nominal(None, f"The {what}s on one tee must be equal: {each}. Change one first.")
    kind = items[0].kind.replace("-", " ") + ("s" if len(items) > 1 else "")
    return Nominal(values[0], f"{kind} {' and '.join(item.tag for item in items)}")


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

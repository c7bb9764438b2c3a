"""Loading procedures, and setting a type's own limits."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from django.contrib.auth.models import User
from django.db import transaction

from registry.items.models import ItemType
from registry.items.pure import a_kind
from registry.people.actions.rights import only
from registry.people.pure import Right
from registry.trail import actions as trail
from registry.trail.pure import differences
from servicing.bench.models import ProcedureVersion, TypeLimit
from servicing.bench.pure.limits import Limit, tighten
from servicing.bench.pure.procedure import Measure, Procedure, ProcedureTable
from servicing.bench.queries.procedures import current_procedures, measures_of


@dataclass(frozen=True, slots=True)
class Loaded:
    """How many procedures came new, changed, stayed, or were taken out of their table."""

    new: int = 0
    changed: int = 0
    same: int = 0
    ended: int = 0


class ProcedureClash(ValueError):
    """Tables of procedures that can't stand side by side; the text says what to change."""


class LimitNotOpen(ValueError):
    """No procedure for this kind measures such a reading, or none lets a type bear on it."""


@only(Right.MANAGE)
@transaction.atomic
def load_procedures(
    tables: Sequence[ProcedureTable], *, at: datetime, by: User | None = None
) -> Loaded:
    """Store procedures; a changed one becomes a new version and the old one stays.

    One that is no longer in its table is ended; other tables are left alone. Loading the
    same again changes nothing. by: who loads; None for the command line. at: the moment.
    Raises ProcedureClash where two have one id, and then nothing is written.
    """
    _refuse_clashes(tables)
    standing = {row.procedure_id: row for row in _locked()}
    counts = {"new": 0, "changed": 0, "same": 0, "ended": 0}
    noted: list[trail.Noted] = []
    for table in tables:
        kept = {one.id for one in table.procedures}
        for row in [one for one in standing.values() if one.table == table.name]:
            if row.procedure_id not in kept:
                _end(row, at)
                counts["ended"] += 1
                why = f"no longer in table {table.name}"
                noted.append(trail.Noted("procedure", row.procedure_id, _told(row), None, why))
                del standing[row.procedure_id]
    for table in tables:
        for procedure in table.procedures:
            counts[_store(table, procedure, standing, noted, at)] += 1
    trail.note_all(noted, by=by, at=at)
    return Loaded(**counts)


@only(Right.MANAGE)
@transaction.atomic
def set_type_limit(
    *,
    of: ItemType,
    reading: str,
    limit: Limit | None,
    by: User | None,
    at: datetime,
    why: str = "",
) -> TypeLimit | None:
    """Set, change or (None) take away a type's own limit for a reading, and return it.

    The same limit again changes nothing. Where a procedure has its own limit the type's must
    be stricter. Raises LimitNotOpen where no procedure for the kind lets a type bear on the
    reading, and LimitProblem (LooserThanBase where it is looser); then nothing is written.
    Records already made keep the limits they were judged by.
    """
    if limit is not None:
        _refuse_unfit(of, reading, limit)
    ItemType.objects.select_for_update().get(pk=of.pk)
    last = TypeLimit.objects.filter(type=of, reading=reading, ended_at=None).first()
    if (last.limit if last else None) == _stored(limit):
        return last
    if last is not None:
        TypeLimit.objects.filter(pk=last.pk).update(ended_at=at)
    row = _add(of, reading, limit, at) if limit is not None else None
    trail.note(
        what="type limit",
        subject=f"{of.kind} {of}: {reading}",
        before=_limit_told(last),
        after=_limit_told(row),
        why=why,
        by=by,
        at=at,
    )
    return row


def _refuse_clashes(tables: Sequence[ProcedureTable]) -> None:
    names = [table.name for table in tables]
    if twice := {name for name in names if names.count(name) > 1}:
        raise ProcedureClash(f"table {min(twice)} is given twice; put its procedures in one file")
    seen: dict[str, str] = {}
    for table in tables:
        for one in table.procedures:
            if one.id in seen:
                raise ProcedureClash(
                    f"procedure {one.id} of {table.name} stands already in {seen[one.id]}; "
                    "rename one"
                )
            seen[one.id] = table.name


def _locked() -> list[ProcedureVersion]:
    return list(ProcedureVersion.objects.select_for_update().filter(replaced_at=None))


def _store(
    table: ProcedureTable,
    procedure: Procedure,
    standing: dict[str, ProcedureVersion],
    noted: list[trail.Noted],
    at: datetime,
) -> str:
    """Store a procedure and say whether it came new, changed or stayed the same."""
    last = standing.get(procedure.id)
    if last and last.table != table.name:
        raise ProcedureClash(
            f"procedure {procedure.id} of {table.name} stands already in {last.table}; rename one"
        )
    if last and (last.content_hash, last.caution) == (procedure.content_hash, table.caution):
        return "same"
    if last:
        _end(last, at)
    earlier = ProcedureVersion.objects.filter(procedure_id=procedure.id).count()
    row = ProcedureVersion.objects.create(
        procedure_id=procedure.id,
        version=earlier + 1,
        table=table.name,
        caution=table.caution,
        title=procedure.title,
        task=procedure.task,
        source=procedure.source,
        content=procedure.text,
        content_hash=procedure.content_hash,
        loaded_at=at,
    )
    noted.append(_noted(last, row))
    return "changed" if earlier else "new"


def _end(row: ProcedureVersion, at: datetime) -> None:
    ProcedureVersion.objects.filter(pk=row.pk).update(replaced_at=at)


def _told(row: ProcedureVersion) -> dict[str, object]:
    """Return a version as the trail tells it, each step apart."""
    content = json.loads(row.content)
    steps = {f"step {step['id']}": step for step in content.pop("step")}
    order = [step.id for step in row.procedure.steps]
    about = {"table": row.table, "version": row.version, "caution": row.caution}
    return {**about, **content, "order": order, **steps}


def _noted(last: ProcedureVersion | None, row: ProcedureVersion) -> trail.Noted:
    if last is None:
        return trail.Noted("procedure", row.procedure_id, None, _told(row))
    return trail.Noted("procedure", row.procedure_id, *differences(_told(last), _told(row)))


def _refuse_unfit(of: ItemType, reading: str, limit: Limit) -> None:
    measures = measures_of(current_procedures().values(), of.kind)
    found = [measure for measure in measures if measure.reading == reading]
    if not found:
        raise LimitNotOpen(
            f"No procedure for {a_kind(of.kind)} takes a type's own limit for {reading}; "
            "load one first."
        )
    for measure in found:
        _refuse_looser(measure, limit)


def _refuse_looser(measure: Measure, limit: Limit) -> None:
    """Hold a type's limit against the procedure's. A share is held against it item by item."""
    if measure.limit is not None and not measure.share_of:
        tighten(measure.limit, limit)
    elif limit.unit.quantity is not measure.unit.quantity:
        raise LimitNotOpen(f"{measure.reading} is measured in {measure.unit.name}.")


def _add(of: ItemType, reading: str, limit: Limit, at: datetime) -> TypeLimit:
    row = TypeLimit(
        type=of,
        reading=reading,
        low=limit.low,
        high=limit.high,
        low_strict=limit.low_strict,
        high_strict=limit.high_strict,
        unit=limit.unit.name,
        source=limit.source.strip(),
        known_from=at,
    )
    row.full_clean()
    row.save()
    return row


def _stored(limit: Limit | None) -> Limit | None:
    """Return a limit as it would come back from the database."""
    if limit is None:
        return None
    low, high = (edge if edge is None else edge.normalize() for edge in (limit.low, limit.high))
    return Limit(
        low, high, limit.unit, limit.source.strip(), "maker", limit.low_strict, limit.high_strict
    )


def _limit_told(row: TypeLimit | None) -> dict[str, object] | None:
    if row is None:
        return None

    def plain(edge: Decimal | None) -> str | None:
        return None if edge is None else f"{edge.normalize():f}"

    return {
        "low": plain(row.low),
        "high": plain(row.high),
        "low_strict": row.low_strict,
        "high_strict": row.high_strict,
        "unit": row.unit,
        "source": row.source,
    }

"""Bringing in a list of what was done before, with the due dates that hang on it."""

import hashlib
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date

from django.contrib.auth.models import User
from django.db import transaction

from registry.bulk.actions import Progress, quiet
from registry.items.models import Item
from registry.items.pure import Kind
from registry.people.actions.rights import only
from registry.people.pure import Right
from registry.sites.clock import now
from registry.trail.actions import note
from servicing.due.actions.store import refresh
from servicing.due.pure.obligations import CONDEMNED, PASS
from servicing.due.queries.together import Fitted
from servicing.ledger.actions import NewRecord, append_records
from servicing.ledger.pure.chain import marked_as, tidy
from servicing.ledger.pure.history import HistoryRow
from servicing.ledger.pure.together import key_of_part
from servicing.ledger.queries.records import known_keys
from servicing.rules.pure.tasks import HAPPENS_TO_PARTS


@only(Right.MANAGE)
@transaction.atomic
def import_history(
    rows: Sequence[HistoryRow],
    *,
    file: str,
    file_hash: str,
    progress: Progress = quiet,
    user: User | None = None,
) -> tuple[int, int]:
    """Add a list's records to the ledger, with the due dates; return (added, known before).

    A row is known by its content and by how many rows like it came before it in the
    file, so two fills on one day are two records and the same file again is none.
    file, file_hash: what each record says it was carried over from.
    What happened to a set happened to what was fitted to it on that day, and is added for
    its parts as well, but for those that the list itself names for that day and event.
    """
    new = history_records(rows, source=f"{file} (SHA-256 {file_hash})")
    progress("rows read", len(new), len(new))
    at = now()
    added = append_records(new, user=user, at=at)
    progress("records written", len(added), len(new))
    refresh({record.item_id for record in added}, progress)
    if added:
        listed = {"file": file, "SHA-256 of the file": file_hash, "records": len(added)}
        note(what="list of records", subject=file, after=listed, by=user, at=at)
    return len(added), len(new) - len(added)


def history_records(rows: Sequence[HistoryRow], *, source: str) -> list[NewRecord]:
    """Return the records that a list makes, those of parts after that of their set."""
    items = {
        tag: (pk, marked_as(tag, maker, serial))
        for tag, pk, maker, serial in Item.objects.values_list("tag", "pk", "maker", "serial")
    }
    seen: dict[tuple[object, ...], int] = {}
    new = []
    for row in rows:
        item_id, marked = items[row.tag]
        said = (row.tag, row.task, row.done_on, row.outcome, row.by, row.note)
        content = (*said, row.part_made_on, row.readings)
        seen[content] = seen.get(content, 0) + 1
        key = hashlib.sha256(repr((content, seen[content])).encode()).hexdigest()
        new.append(
            NewRecord(
                item_id=item_id,
                marked_as=marked,
                task=row.task,
                done_on=row.done_on,
                outcome=row.outcome,
                performed_by=tidy(row.by),
                entry_key=key,
                note=tidy(row.note),
                readings=row.readings,
                part_made_on=row.part_made_on,
                carried_over_from=source,
            )
        )
    return _with_parts(new, rows, {tag: pk for tag, (pk, _) in items.items()})


def _with_parts(
    new: Sequence[NewRecord], rows: Sequence[HistoryRow], ids: Mapping[str, int]
) -> list[NewRecord]:
    """Return records with those of parts behind the set's; none for a set's that is known."""
    happened = [row.tag for row in rows if row.task in HAPPENS_TO_PARTS]
    sets = Item.objects.filter(type__kind=Kind.SET, tag__in=set(happened))
    asked = set(sets.values_list("tag", flat=True))
    if not asked:
        return [*new]
    fitted = Fitted([ids[tag] for tag in asked], _condemned_in(rows))
    known = known_keys(
        each.entry_key for each, row in zip(new, rows, strict=True) if row.tag in asked
    )
    named = Counter((row.tag, row.task, row.done_on) for row in rows)
    found = []
    for each, row in zip(new, rows, strict=True):
        found.append(each)
        if row.tag not in asked or each.entry_key in known:
            continue
        for one in fitted.along(each.item_id, row.task, row.done_on):
            own = (one.part.tag, row.task, row.done_on)
            if named[own]:
                named[own] -= 1  # the list says it of the part itself
            elif not one.why_not:
                found.append(_of_part(each, row.tag, one.part))
    return found


def _of_part(of_set: NewRecord, tag: str, part: Item) -> NewRecord:
    return replace(
        of_set,
        item_id=part.pk,
        marked_as=marked_as(part.tag, part.maker, part.serial),
        outcome=PASS,
        entry_key=key_of_part(of_set.entry_key, part.pk),
        readings=(),
        part_made_on=None,
        part_of=(tag, of_set.entry_key),
    )


def _condemned_in(rows: Iterable[HistoryRow]) -> dict[str, date]:
    """Return the first day of condemnation by tag, of what a list condemns."""
    found: dict[str, date] = {}
    for row in rows:
        if row.outcome == CONDEMNED:
            found[row.tag] = min(row.done_on, found.get(row.tag, row.done_on))
    return found

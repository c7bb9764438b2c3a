"""Keeping the stored due dates true: computing them afresh and writing what differs."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date

from django.db import transaction

from registry.bulk.actions import Progress, count_afresh, insert_rows, quiet
from registry.items.models import Item
from servicing.due.models import OWED, DueSpan, StoredObligation
from servicing.due.pure.obligations import Obligation
from servicing.due.pure.owed import owed_one
from servicing.due.pure.spans import Span, spans
from servicing.due.queries.engine import engine_input, items_for_engine
from servicing.ledger.actions import lock_items, measured_afresh
from servicing.rules.queries import current_versions

BATCH = 1000
OWED_COLUMNS = (*OWED, "rule_id", "basis_on")
SpanKey = tuple[date | None, date | None, str, date | None, str]
OwedKey = tuple[str | date | int | None, ...]
"""An obligation as it is stored: the values of OWED_COLUMNS."""
Days = tuple[date | None, date | None]
Stored = tuple[frozenset[SpanKey], frozenset[tuple[Days, OwedKey]]]


def refresh(item_ids: Iterable[int], progress: Progress = quiet) -> int:
    """Compute the stored due dates of some items afresh; return how many items changed.

    The items are locked first, as by whoever enters a record: so no two writers wait for
    each other, and each sees what the other has written.
    """
    ids = sorted(item_ids)
    changed = 0
    for start in range(0, len(ids), BATCH):
        batch = ids[start : start + BATCH]
        lock_items(batch)
        changed += _refresh(list(items_for_engine(batch)))
        progress("due dates computed", min(start + BATCH, len(ids)), len(ids))
    count_afresh(changed, DueSpan, StoredObligation)
    return changed


@transaction.atomic
def recompute(progress: Progress = quiet) -> int:
    """Compute every stored due date afresh; return how many items changed.

    And whatever else is kept that the records say. On a healthy register nothing changes:
    every write keeps it true.
    """
    changed = refresh(Item.objects.values_list("pk", flat=True), progress)
    measured_afresh()
    return changed


def _refresh(items: Sequence[Item]) -> int:
    rule_pks = {rule_id: version.pk for rule_id, version in current_versions().items()}
    stored = _stored([item.pk for item in items])
    wrong: dict[int, Stored] = {}
    for item, plain, past, rules in engine_input(items):
        fresh = _as_stored(spans(plain, past, rules), rule_pks)
        if fresh != stored.get(item.pk, (frozenset(), frozenset())):
            wrong[item.pk] = fresh
    _replace(wrong)
    return len(wrong)


def _as_stored(found: Sequence[Span], rule_pks: Mapping[str, int]) -> Stored:
    """Return spans as rows; an obligation that goes on unchanged is one row."""
    standings = frozenset(
        (s.start, s.end, s.standing.word, s.standing.since_on, s.standing.task) for s in found
    )
    running: dict[OwedKey, Days] = {}
    rows: set[tuple[Days, OwedKey]] = set()
    for span in found:
        keys = {_key(obligation, rule_pks) for obligation in span.obligations}
        rows |= {(running.pop(key), key) for key in running.keys() - keys}
        for key in keys:
            running[key] = (running[key][0] if key in running else span.start, span.end)
    rows |= {(days, key) for key, days in running.items()}
    return standings, frozenset(rows)


def _key(obligation: Obligation, rule_pks: Mapping[str, int]) -> OwedKey:
    owed = owed_one(obligation)
    said = (getattr(owed, name) for name in OWED)
    return (*said, rule_pks[obligation.rule.id], obligation.basis_on)


def _stored(item_ids: Sequence[int]) -> dict[int, Stored]:
    found: dict[int, tuple[set[SpanKey], set[tuple[Days, OwedKey]]]] = {
        pk: (set(), set()) for pk in item_ids
    }
    standings = DueSpan.objects.filter(item_id__in=item_ids).values_list(
        "item_id", "holds_from", "holds_until", "standing", "since_on", "task"
    )
    for pk, start, end, word, since_on, task in standings:
        found[pk][0].add((start, end, word, since_on, task))
    rows = StoredObligation.objects.filter(item_id__in=item_ids).values_list(
        "item_id", "holds_from", "holds_until", *OWED_COLUMNS
    )
    for pk, start, end, *key in rows:
        found[pk][1].add(((start, end), (*key,)))
    return {pk: (frozenset(a), frozenset(b)) for pk, (a, b) in found.items()}


def _replace(wrong: Mapping[int, Stored]) -> None:
    DueSpan.objects.filter(item_id__in=wrong).delete()
    StoredObligation.objects.filter(item_id__in=wrong).delete()
    insert_rows(
        DueSpan._meta.db_table,
        ("item_id", "holds_from", "holds_until", "standing", "since_on", "task"),
        [(pk, *standing) for pk, (standings, _) in wrong.items() for standing in standings],
    )
    insert_rows(
        StoredObligation._meta.db_table,
        ("item_id", "holds_from", "holds_until", *OWED_COLUMNS),
        [(pk, *days, *key) for pk, (_, rows) in wrong.items() for days, key in rows],
    )

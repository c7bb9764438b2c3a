"""Keeping the stored due dates true: computing them afresh and writing what differs."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import astuple
from datetime import date

from django.db import transaction

from registry.bulk.actions import Progress, count_afresh, insert_rows, quiet
from registry.items.models import Item
from servicing.due.models import OWED, DueSpan, StoredBar, StoredObligation
from servicing.due.pure.obligations import Candidate
from servicing.due.pure.owed import Owed, answers_of
from servicing.due.pure.spans import Span, spans
from servicing.due.queries.engine import engine_input, items_for_engine
from servicing.ledger.actions import lock_items, measured_afresh
from servicing.rules.queries import current_versions

BATCH = 1000
ANSWER = (*OWED, "rule_id", "basis_on")
Kept = type[StoredObligation] | type[StoredBar]
COLUMNS: tuple[tuple[Kept, tuple[str, ...]], ...] = (
    (StoredObligation, (*ANSWER, "task_bars")),
    (StoredBar, ANSWER),
)
"""The tables of answers with their columns: what governs, and what can bar behind it."""
SpanKey = tuple[date | None, date | None, str, date | None, str]
AnswerKey = tuple[object, ...]
"""An answer as it is stored: the values of its columns."""
Days = tuple[date | None, date | None]
Held = tuple[date | None, date | None, set[AnswerKey]]
Answers = frozenset[tuple[Days, AnswerKey]]
Stored = tuple[frozenset[SpanKey], Answers, Answers]
NONE: Stored = (frozenset(), frozenset(), frozenset())


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
    count_afresh(changed, DueSpan, StoredObligation, StoredBar)
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
        if fresh != stored.get(item.pk, NONE):
            wrong[item.pk] = fresh
    _replace(wrong)
    return len(wrong)


def _as_stored(found: Sequence[Span], rule_pks: Mapping[str, int]) -> Stored:
    """Return spans as rows; an answer that goes on unchanged is one row."""
    standings = frozenset(
        (s.start, s.end, s.standing.word, s.standing.since_on, s.standing.task) for s in found
    )
    governing: list[Held] = []
    behind: list[Held] = []
    for span in found:
        first, others = set[AnswerKey](), set[AnswerKey]()
        for obligation in span.obligations:
            keys = [_key(*each, rule_pks) for each in answers_of(obligation)]
            first.add((*keys[0], obligation.bars.value))
            others |= {*keys[1:]}
        governing.append((span.start, span.end, first))
        behind.append((span.start, span.end, others))
    return standings, _runs(governing), _runs(behind)


def _runs(spans: Iterable[Held]) -> Answers:
    """Return answers by span as rows; one that goes on unchanged is one row."""
    running: dict[AnswerKey, Days] = {}
    rows: set[tuple[Days, AnswerKey]] = set()
    for start, end, keys in spans:
        rows |= {(running.pop(key), key) for key in running.keys() - keys}
        for key in keys:
            running[key] = (running[key][0] if key in running else start, end)
    return frozenset(rows | {(days, key) for key, days in running.items()})


def _key(owed: Owed, candidate: Candidate, rule_pks: Mapping[str, int]) -> AnswerKey:
    said = (str(value) if isinstance(value, str) else value for value in astuple(owed))
    return (*said, rule_pks[candidate.rule.id], candidate.basis_on)


def _stored(item_ids: Sequence[int]) -> dict[int, Stored]:
    standings: dict[int, set[SpanKey]] = {pk: set() for pk in item_ids}
    spans = DueSpan.objects.filter(item_id__in=item_ids).values_list(
        "item_id", "holds_from", "holds_until", "standing", "since_on", "task"
    )
    for pk, start, end, word, since_on, task in spans:
        standings[pk].add((start, end, word, since_on, task))
    answers = [_answers(item_ids, kept, columns) for kept, columns in COLUMNS]
    return {
        pk: (frozenset(found), *(frozenset(each[pk]) for each in answers))  # type: ignore[misc]
        for pk, found in standings.items()
    }


def _answers(
    item_ids: Sequence[int], kept: Kept, columns: Sequence[str]
) -> dict[int, set[tuple[Days, AnswerKey]]]:
    found: dict[int, set[tuple[Days, AnswerKey]]] = {pk: set() for pk in item_ids}
    rows = kept.objects.filter(item_id__in=item_ids).values_list(
        "item_id", "holds_from", "holds_until", *columns
    )
    for pk, start, end, *key in rows:
        found[pk].add(((start, end), (*key,)))
    return found


def _replace(wrong: Mapping[int, Stored]) -> None:
    DueSpan.objects.filter(item_id__in=wrong).delete()
    insert_rows(
        DueSpan._meta.db_table,
        ("item_id", "holds_from", "holds_until", "standing", "since_on", "task"),
        [(pk, *standing) for pk, (standings, *_) in wrong.items() for standing in standings],
    )
    for place, (kept, columns) in enumerate(COLUMNS):
        kept.objects.filter(item_id__in=wrong).delete()
        rows = [
            (pk, *days, *key) for pk, stored in wrong.items() for days, key in stored[1:][place]
        ]
        names = ("item_id", "holds_from", "holds_until", *columns)
        insert_rows(kept._meta.db_table, names, rows)

"""Reading records: rows turned into plain values, and what of them is in force."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.db.models import Case, F, JSONField, OuterRef, Subquery, TextField, When
from django.db.models.functions import Cast

from registry.items.models import Item
from registry.wording.pure.dates import day_words
from servicing.ledger.models import Measured, Record, RecordQuerySet
from servicing.ledger.pure.corrections import Entered, attempts, in_force
from servicing.ledger.pure.entry import CONDEMNED, PASS, VOID, Reading
from servicing.ledger.pure.meter import HOURS_RUN, hours_in
from servicing.ledger.pure.shoulder import FIRST_WORD, Marked, shoulder_of
from servicing.rules.pure.tasks import RETEST

Facts = tuple[str, date, str, date | None, Marked | None, Marked | None, Decimal | None]
"""Task, day, outcome, day on which the part was made; next test and end of life as marked; hours
that the meter showed."""

_FACTS = ("task", "done_on", "outcome", "part_made_on", "telling")
_Kept = list[Any]
"""Readings as stored: objects, in form 1 pairs."""
LATELY = 2000
"""So many of the latest records are looked through for the names of their readings."""


def history_of(item: Item) -> RecordQuerySet:
    """Return an item's records, the newest entry first, each with the item as it is loaded."""
    records: RecordQuerySet = item.records.order_by("-position")
    return records.prefetch_related("signatures")


def facts_by_item(
    item_ids: Iterable[int] | None = None, known_by: datetime | None = None
) -> dict[int, list[Facts]]:
    """Return what the engine takes of records, by item, in the order entered.

    item_ids: the items that are wanted; None for all. known_by: only what was entered
    up to that moment; None for everything.
    """
    records = Record.objects.all().known_by(known_by)
    if item_ids is not None:
        records = records.filter(item_id__in=list(item_ids))
    found: dict[int, list[Facts]] = defaultdict(list)
    rows = _with_telling(records.in_order()).values_list("item_id", *_FACTS)
    for item_id, *said in rows.iterator(chunk_size=20000):
        found[item_id].append(_facts(*said))
    corrections = records.filter(corrects__isnull=False)
    for item_id in set(corrections.values_list("item_id", flat=True)):
        found[item_id] = [facts for _, facts in _in_force(records.filter(item_id=item_id))]
    return found


def facts_corrected(item: Item, corrected: str, by: Facts | None) -> list[Facts]:
    """Return an item's facts as a correction would leave them, in the order entered.

    corrected: the hash of the record that would be corrected, which counts until now.
    by: what would stand in its place; None where it would be said never to have happened.
    """
    facts = ((own, said if own != corrected else by) for own, said in _in_force(_of(item)))
    return [said for _, said in facts if said is not None]


def _of(item: Item) -> RecordQuerySet:
    return Record.objects.filter(item=item)


def _in_force(records: RecordQuerySet) -> list[tuple[str, Facts]]:
    """Return (hash, facts) of an item's records that count, in the order entered."""
    rows = _with_telling(records.order_by("position")).values_list("hash", "corrects", *_FACTS)
    return in_force(
        Entered(own, corrects or "", facts[2], (own, facts))
        for own, corrects, *said in rows
        for facts in [_facts(*said)]
    )


def _with_telling(records: RecordQuerySet) -> RecordQuerySet:
    """Return records with `telling`: readings that say what was marked at a retest, or hours run.

    Of all others nothing is read: a fleet has many readings, and few of these.
    """
    marks = When(task=RETEST, as_text__contains=f'"{FIRST_WORD}', then=F("readings"))
    meter = When(as_text__contains=f'"{HOURS_RUN}"', then=F("readings"))
    records = records.alias(as_text=Cast("readings", TextField()))
    return records.annotate(telling=Case(marks, meter, default=None, output_field=JSONField()))


def _facts(
    task: str, done_on: date, outcome: str, part_made_on: date | None, telling: _Kept | None
) -> Facts:
    if not telling:
        return task, done_on, outcome, part_made_on, None, None, None
    readings = [Reading(**r) if isinstance(r, dict) else Reading(*r) for r in telling]
    marks = shoulder_of(readings).dates if task == RETEST else (None, None)
    return task, done_on, outcome, part_made_on, *marks, hours_in(readings)


@dataclass(frozen=True, slots=True)
class RecordLine:
    """A record as pages and papers show it, with what it corrects and what corrects it.

    attempts: how many attempts its piece of work took, this one included.
    """

    record: Record
    corrects: Record | None
    corrected_by: Record | None
    attempts: int

    @property
    def in_force(self) -> bool:
        """Whether it counts: neither corrected nor saying that nothing happened."""
        return self.corrected_by is None and self.record.outcome != VOID


def record_lines(
    item: Item, records: Iterable[Record], known_by: datetime | None = None
) -> list[RecordLine]:
    """Return some records of an item as they are shown, in the order given.

    known_by: only corrections entered up to that moment are told of; None for all.
    """
    # Of the whole past only what says which of it counts: an item may have thousands of records.
    names = ("pk", "hash", "corrects", "outcome", "task", "done_on", "attempt")
    past = list(_of(item).known_by(known_by).order_by("position").values_list(*names))
    corrected = {corrects: own for _, own, corrects, *_ in past if corrects}
    counting = [row for row in past if row[1] not in corrected and row[3] != VOID]
    work = [(f"{task} {done_on.isoformat()}", attempt) for *_, task, done_on, attempt in counting]
    totals = dict(zip((pk for pk, *_ in counting), attempts(work), strict=True))
    shown = list(records)
    named = {r.corrects for r in shown} | {corrected.get(r.hash) for r in shown}
    by_hash = {r.hash: r for r in _of(item).filter(hash__in=named - {None})}
    return [
        RecordLine(
            record,
            by_hash.get(record.corrects or ""),
            by_hash.get(corrected.get(record.hash, "")),
            totals.get(record.pk, record.attempt),
        )
        for record in shown
    ]


def marked_rows(records: RecordQuerySet, known_by: datetime | None = None) -> list[tuple[str, str]]:
    """Return what was marked at the latest retest among an item's records, as (label, text)."""
    passed = records.in_force(known_by).filter(task=RETEST, outcome=PASS)
    last = passed.prefetch_related(None).order_by("done_on", "position").last()
    said = shoulder_of(last.readings_as_read).words if last else ""
    if last is None or not said:
        return []
    return [("Stamped on it", f"{said} (tested on {day_words(last.done_on)})")]


def record_with_key(entry_key: str) -> Record | None:
    """Return the record that came by a form or row with this key, if it did."""
    return Record.objects.filter(entry_key=entry_key).first()


def numbers_with_keys(keys: Iterable[str]) -> list[int]:
    """Return the register-wide numbers of the records that came by these keys, in order."""
    found = Record.objects.filter(entry_key__in=list(keys)).order_by("number")
    return list(found.values_list("number", flat=True))


def known_keys(keys: Iterable[str]) -> set[str]:
    """Return those of some entry keys that are in the ledger."""
    asked, found, step = list(keys), set[str](), 2000
    for start in range(0, len(asked), step):
        rows = Record.objects.filter(entry_key__in=asked[start : start + step])
        found |= set(rows.values_list("entry_key", flat=True))
    return found


def records_with(keys: Iterable[str]) -> RecordQuerySet:
    """Return the records with some entry keys, by number."""
    return Record.objects.filter(entry_key__in=list(keys)).order_by("number")


def keys_back(record: Record) -> list[str]:
    """Return the entry keys of a record and of all that it corrects, the latest first."""
    keys, each = [record.entry_key], record
    while each.corrects:
        each = Record.objects.get(hash=each.corrects)
        keys.append(each.entry_key)
    return keys


def record_entered_by(entry_key: str) -> Record:
    """Return the record that came by a form or row with this key."""
    return Record.objects.get(entry_key=entry_key)


def last_position(item: Item) -> int:
    """Return the position of an item's latest record, or 0: what somebody has seen of it."""
    last = _of(item).order_by("-position").values_list("position", flat=True).first()
    return last or 0


def entered_since(item: Item, position: int) -> RecordQuerySet:
    """Return the records entered for an item after a position, in order."""
    return _of(item).filter(position__gt=position).order_by("position")


def last_of_the_day(item: Item, task: str, on: date) -> Record | None:
    """Return the latest record that counts of a task done to an item on a day."""
    done = _of(item).in_force().filter(task=task, done_on=on)
    return done.order_by("-position").first()


def last_by_item(item_ids: Iterable[int], task: str) -> dict[int, Record]:
    """Return the latest record that counts of a task, by item id."""
    done = Record.objects.in_force().filter(item_id__in=list(item_ids), task=task)
    return {record.item_id: record for record in done.order_by("done_on", "position")}


def never_happened(item_ids: Iterable[int]) -> set[tuple[int, int]]:
    """Return (item id, position) of records whose last correction says that nothing happened."""
    of_items = Record.objects.filter(item_id__in=list(item_ids))
    rows = of_items.filter(corrects__isnull=False).values_list("corrects", "hash", "outcome")
    by = {corrects: (own, outcome) for corrects, own, outcome in rows}
    lost = set()
    for start, last in by.items():
        while last[0] in by:
            last = by[last[0]]  # noqa: PLW2901 (walked to its end)
        if last[1] == VOID:
            lost.add(start)
    return set(of_items.filter(hash__in=lost).values_list("item_id", "position"))


@dataclass(frozen=True, slots=True)
class Correction:
    """A record that corrects another: both places in the item's chain, days and tasks.

    first_on: the earlier day of the two.
    """

    item_id: int
    position: int
    corrects: int
    first_on: date
    tasks: frozenset[str]
    reason: str


def corrections_of(item_ids: Iterable[int]) -> list[Correction]:
    """Return every correction of records of some items, in the order entered."""
    of_items = Record.objects.filter(item_id__in=list(item_ids)).order_by("number")
    made = list(of_items.filter(corrects__isnull=False))
    old = {record.hash: record for record in of_items.filter(hash__in=[r.corrects for r in made])}
    return [
        Correction(
            item_id=record.item_id,
            position=record.position,
            corrects=(was := old[record.corrects or ""]).position,
            first_on=min(record.done_on, was.done_on),
            tasks=frozenset({record.task, was.task}),
            reason=record.reason,
        )
        for record in made
    ]


def ends_of(item_ids: Iterable[int]) -> dict[int, tuple[int, str]]:
    """Return (position, hash) of the latest record of items, by item id."""
    last = Record.objects.filter(item=OuterRef("item")).order_by("-position")
    rows = Record.objects.filter(item_id__in=list(item_ids))
    rows = rows.filter(position=Subquery(last.values("position")[:1]))
    return {pk: (place, own) for pk, place, own in rows.values_list("item_id", "position", "hash")}


def correction_of(record: Record) -> Record | None:
    """Return the record that corrects a record, if one does."""
    return Record.objects.filter(corrects=record.hash).first()


def condemnation_of(item: Item) -> Record | None:
    """Return the record that condemned an item, if one did."""
    return _of(item).in_force().filter(outcome=CONDEMNED).order_by("position").first()


def condemned_days() -> dict[str, date]:
    """Return the day of condemnation of every condemned item, by tag."""
    rows = Record.objects.in_force().filter(outcome=CONDEMNED).order_by("-position")
    return dict(rows.values_list("item__tag", "done_on"))


def reading_names() -> list[str]:
    """Return the names of readings entered lately, for the form to offer; that of the meter too."""
    # Of the latest only: readings are named in a few ways, and most records have none.
    recent = Record.objects.order_by("-number").values_list("readings", flat=True)[:LATELY]
    return sorted(
        {
            each["name"] if isinstance(each, dict) else each[0]
            for readings in recent
            for each in readings
        }
        | {HOURS_RUN}
    )


def records_numbered(numbers: Iterable[int]) -> list[Record]:
    """Return the records with these numbers of the register, in their order."""
    records = Record.objects.filter(number__in=list(numbers)).order_by("number")
    return list(records.select_related("item__type", "item__site").prefetch_related("signatures"))


def measured_with(
    marks: Iterable[str], calibrations: Iterable[str], since: date | None, until: date | None
) -> list[Record]:
    """Return the records whose readings were made with an instrument, by day and number.

    marks: the instrument as it was ever marked; calibrations: hashes of its calibration
    records. since, until: the days of the work, both included; None for open.
    """
    records = by_marks(Record.objects.in_force(), {*marks, *calibrations} - {""})
    if since is not None:
        records = records.filter(done_on__gte=since)
    if until is not None:
        records = records.filter(done_on__lte=until)
    found = records.select_related("item__type", "item__site")
    return list(found.order_by("done_on", "number"))


def by_marks(records: RecordQuerySet, marks: Iterable[str]) -> RecordQuerySet:
    """Return those of some records that were measured with what bears one of these marks.

    marks: markings of instruments, and hashes of their calibrations.
    """
    measured = Measured.objects.filter(mark__in=list(marks))
    found: RecordQuerySet = records.filter(number__in=measured.order_by().values("record"))
    return found


def counting(on: date | None = None, known_by: datetime | None = None) -> RecordQuerySet:
    """Return the records that count: of what was done up to a day, as known at a moment."""
    records: RecordQuerySet = Record.objects.in_force(known_by)
    return records if on is None else records.until(on)


def borne_by(item_ids: Iterable[int], task: str) -> dict[int, tuple[set[str], set[str]]]:
    """Return how items were ever marked, and the hashes of their records of a task, by id."""
    found: dict[int, tuple[set[str], set[str]]] = {}
    rows = Record.objects.filter(item_id__in=list(item_ids)).order_by()
    for pk, marked_as, own_task, own in rows.values_list("item_id", "marked_as", "task", "hash"):
        marks, hashes = found.setdefault(pk, (set(), set()))
        marks.add(marked_as)
        hashes |= {own} if own_task == task else set()
    return found

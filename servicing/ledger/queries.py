"""Reading the ledger: rows turned into plain values, and the check of every chain."""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from datetime import date, datetime
from itertools import groupby
from typing import Any

from django.db import DatabaseError
from django.db.models import Max, OuterRef, Subquery

from registry.items.models import Item
from registry.trail.queries import (
    broken_trail,
    has_entry,
    last_noted,
    noted,
    trail_head,
    trail_lines,
)
from servicing.ledger.models import Record, RecordQuerySet, Signature
from servicing.ledger.pure.chain import (
    START,
    BrokenLink,
    Numbers,
    canonical,
    canonical_signature,
    first_broken,
    link,
    number_faults,
    signature_hash,
)
from servicing.ledger.pure.corrections import Entered, attempts, in_force
from servicing.ledger.pure.entry import CONDEMNED, VOID

BATCH = 500
UNREADABLE = (DatabaseError, ValueError, TypeError, AttributeError)
"""What reading a row raises whose bytes are no date, no JSON or no text any more."""

Facts = tuple[str, date, str, date | None]
_FACTS = ("task", "done_on", "outcome", "part_made_on")


def history_of(item: Item) -> RecordQuerySet:
    """Return an item's records, the newest entry first, each with the item as it is loaded."""
    records: RecordQuerySet = item.records.order_by("-position")
    return records.prefetch_related("signatures")


def facts_by_item(
    item_ids: Iterable[int] | None = None, known_by: datetime | None = None
) -> dict[int, list[Facts]]:
    """Return (task, done_on, outcome, part_made_on) by item, in the order entered.

    item_ids: the items that are wanted; None for all. known_by: only what was entered
    up to that moment; None for everything.
    """
    records = Record.objects.all().known_by(known_by)
    if item_ids is not None:
        records = records.filter(item_id__in=list(item_ids))
    found: dict[int, list[Facts]] = defaultdict(list)
    rows = records.in_order().values_list("item_id", *_FACTS).iterator(chunk_size=20000)
    for item_id, task, done_on, outcome, part_made_on in rows:
        found[item_id].append((task, done_on, outcome, part_made_on))
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
    rows = records.order_by("position").values_list("hash", "corrects", *_FACTS)
    return in_force(
        Entered(own, corrects or "", said[2], (own, said)) for own, corrects, *said in rows
    )


@dataclass(frozen=True, slots=True)
class Told:
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


def told(item: Item, records: Iterable[Record], known_by: datetime | None = None) -> list[Told]:
    """Return some records of an item as they are shown, in the order given.

    known_by: only corrections entered up to that moment are told of; None for all.
    """
    everything = list(_of(item).known_by(known_by).order_by("position"))
    by_hash = {record.hash: record for record in everything}
    corrected = {record.corrects: record for record in everything if record.corrects}
    counting = [r for r in everything if r.hash not in corrected and r.outcome != VOID]
    work = [(f"{record.task} {record.done_on}", record.attempt) for record in counting]
    totals = dict(zip((record.pk for record in counting), attempts(work), strict=True))
    return [
        Told(
            record,
            by_hash.get(record.corrects or ""),
            corrected.get(record.hash),
            totals.get(record.pk, record.attempt),
        )
        for record in records
    ]


def record_with_key(entry_key: str) -> Record | None:
    """Return the record that came by a form or row with this key, if it did."""
    return Record.objects.filter(entry_key=entry_key).first()


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


def chain_head(item: Item) -> str:
    """Return the hash of an item's latest record, or 64 zeros before the first."""
    last = Record.objects.filter(item=item).order_by("-position").first()
    return last.hash if last else START


def broken_links() -> Iterator[tuple[str, BrokenLink]]:
    """Yield (tag, first broken link) of every item whose chain does not hold."""
    tags = dict(Item.objects.values_list("pk", "tag"))
    owners = Record.objects.order_by("item_id").values_list("item_id", flat=True).distinct()
    ids = list(owners)
    for start in range(0, len(ids), BATCH):
        for item_id, chain in _chains(ids[start : start + BATCH]):
            if item_id not in tags:
                yield f"item {item_id}", BrokenLink(1, "its item is no longer in the register")
            elif (broken := _first_broken(item_id, chain)) is not None:
                yield tags[item_id], broken


def _chains(item_ids: list[int]) -> Iterator[tuple[int, list[Record] | None]]:
    """Yield the records of items by position; None for all where a row can't be read."""
    try:
        records = list(Record.objects.filter(item_id__in=item_ids).in_order())
    except UNREADABLE:
        yield from ((item_id, None) for item_id in item_ids)
        return
    for item_id, chain in groupby(records, key=lambda record: record.item_id):
        yield item_id, list(chain)


def _first_broken(item_id: int, chain: list[Record] | None) -> BrokenLink | None:
    records = Record.objects.filter(item_id=item_id).order_by("position")
    try:
        rows = records if chain is None else chain
        return first_broken((record.entry, record.previous_hash, record.hash) for record in rows)
    except UNREADABLE:
        # Damage that leaves no date, no list or no text: find the row that it sits in.
        for pk, position in records.values_list("pk", "position"):
            if not _can_be_read(pk):
                return BrokenLink(position, "it can't be read; it was altered")
        raise


def _can_be_read(pk: int) -> bool:
    try:
        canonical(Record.objects.get(pk=pk).entry)
    except UNREADABLE:
        return False
    return True


def reading_names() -> list[str]:
    """Return the names of readings entered lately, for the form to offer."""
    recent = Record.objects.exclude(readings=[]).order_by("-pk").values_list("readings", flat=True)
    return sorted(
        {
            each["name"] if isinstance(each, dict) else each[0]
            for readings in recent[:500]
            for each in readings
        }
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
    records = Record.objects.in_force().exclude(instruments=[])
    if since is not None:
        records = records.filter(done_on__gte=since)
    if until is not None:
        records = records.filter(done_on__lte=until)
    names, hashes = set(marks), set(calibrations) - {""}
    found = [
        pk
        for pk, instruments in records.values_list("pk", "instruments")
        if any(
            stood["marked_as"] in names or stood["calibration_hash"] in hashes
            for stood in instruments
        )
    ]
    whole = Record.objects.select_related("item__type", "item__site").in_bulk(found)
    return sorted(whole.values(), key=lambda record: (record.done_on, record.number))


def records_of_task(task: str, since: date) -> RecordQuerySet:
    """Return the records of a task that count, done on a day or after it."""
    return Record.objects.in_force().filter(task=task, done_on__gte=since)


def done_since(records: Iterable[Record]) -> dict[int, Record]:
    """Return by id, for each of some records, the latest of its task and item done since.

    None of the records given counts as one; what was not done again is left out.
    """
    held = {record.pk: record for record in records}
    items, tasks = ({getattr(r, name) for r in held.values()} for name in ("item_id", "task"))
    rows = Record.objects.in_force().filter(item__in=items, task__in=tasks).exclude(pk__in=held)
    latest = {(row.item_id, row.task): row for row in rows.order_by("item", "done_on", "position")}
    places = ((pk, r, latest.get((r.item_id, r.task))) for pk, r in held.items())
    return {
        pk: row
        for pk, r, row in places
        if row is not None and (row.done_on, row.position) > (r.done_on, r.position)
    }


def ledger_faults() -> Iterator[str]:
    """Yield everything that does not hold, each as a line: chains, numbers, signatures, trail."""
    yield from (f"{tag}: record {at.position}: {at.why}" for tag, at in broken_links())
    runs = (Numbers(run["from"], run["to"], run["digest"]) for _, run in noted("records"))
    numbered = Record.objects.order_by("number").values_list("number", "hash")
    yield from number_faults(numbered.iterator(chunk_size=20000), runs)
    yield from _signature_faults()
    if (broken := broken_trail()) is not None:
        yield f"trail: entry {broken.number}: {broken.why}"


def newest_faults(count: int = 50) -> Iterator[str]:
    """Yield what does not hold in the newest part of the ledger and the trail.

    count: how many records and entries are looked at; cheap enough for every start. The
    whole of both is `ledger_faults`.
    """
    if (broken := broken_trail(newest=count)) is not None:
        yield f"trail: entry {broken.number}: {broken.why}"
    # Asked for before and after, for somebody may be entering something right now.
    noted_before = (last_noted("records") or {"to": 0})["to"]
    last = Record.objects.aggregate(last=Max("number"))["last"] or 0
    if not noted_before <= last <= (last_noted("records") or {"to": 0})["to"]:
        yield f"the trail notes records up to number {noted_before}, and the last is {last}"
    held = {}
    with suppress(*UNREADABLE):
        rows = Record.objects.filter(number__gt=last - count, number__lte=last)
        held = {row.number: link(row.previous_hash, row.entry) == row.hash for row in rows}
    for number in range(max(1, last - count + 1), last + 1):
        if not held.get(number):
            yield f"record number {number}: it is missing, or was altered"


def _signature_faults() -> Iterator[str]:
    given = {after["hash"]: after["record"] for _, after in noted("signature")}
    for row in Signature.objects.select_related("record").order_by("pk").iterator():
        name = f"{row.record.marked_as}: record {row.record.position}: signature as {row.meaning}"
        if row.record_hash != row.record.hash:
            yield f"{name}: it was given for another record, or for other content"
        elif signature_hash(row.signed) != row.hash:
            yield f"{name}: its content does not give its hash; it was altered"
        elif given.pop(row.hash, None) != row.record.number:
            yield f"{name}: the trail does not note it"
    yield from (f"record number {number}: a signature is missing" for number in given.values())


def heads() -> Iterator[tuple[str, int, str]]:
    """Yield (name, position or number, hash) of the trail's end, then of each item's chain.

    Kept outside, it shows later that nothing before it was lost or altered. The trail's
    name is empty.
    """
    yield "", *trail_head()
    last = Record.objects.filter(item=OuterRef("item")).order_by("-position")
    ends = Record.objects.filter(position=Subquery(last.values("position")[:1]))
    rows = ends.order_by("item__tag").values_list("item__tag", "position", "hash")
    yield from rows.iterator(chunk_size=2000)


def heads_lost(kept: Iterable[tuple[str, int, str]]) -> Iterator[str]:
    """Yield what a head list kept outside names and the ledger does not have any more."""
    wanted = list(kept)
    there: set[tuple[int, str]] = set()
    for start in range(0, len(wanted), BATCH):
        hashes = [own for _, _, own in wanted[start : start + BATCH]]
        there |= set(Record.objects.filter(hash__in=hashes).values_list("position", "hash"))
    for name, place, own in wanted:
        if not name and not has_entry(place, own):
            yield f"trail: entry {place} of the head list is gone or altered"
        elif name and (place, own) not in there:
            yield f"{name}: record {place} of the head list is gone or altered"


def export_lines(tag: str = "") -> Iterator[dict[str, Any]]:
    """Yield the ledger as an export holds it, a record or an entry of the trail each.

    tag: of the one item that is wanted, without the trail; empty for the whole ledger.
    The last line says how many records there are.
    """
    records = Record.objects.in_order().prefetch_related("signatures")
    records = records.filter(item__tag=tag) if tag else records
    number = 0
    for number, record in enumerate(records.iterator(chunk_size=2000), start=1):  # noqa: B007
        yield {
            "kind": "record",
            "item": record.item_id,
            "number": record.number,
            "text": canonical(record.entry),
            "previous": record.previous_hash,
            "hash": record.hash,
            "signatures": [
                {"text": canonical_signature(each.signed), "hash": each.hash}
                for each in record.signatures.all()
            ],
        }
    if not tag:
        yield from trail_lines()
    yield {"kind": "whole", "records": number, "item": tag}


@dataclass(frozen=True, slots=True)
class LateRecord:
    """A record that somebody should look at: entered late, or correcting another.

    days: between the work and its entry, by the site's calendar. corrects: the position of
    the record it corrects, None where it corrects none; reason: why it does.
    """

    item_id: int
    tag: str
    position: int
    task: str
    done_on: date
    entered_at: datetime
    entered_by: str
    days: int
    corrects: int | None
    reason: str


def entered_late(*, after: datetime | None, until: datetime, days: int) -> list[LateRecord]:
    """Return records entered so many days late or more, and corrections, in order of entry.

    after, until: only what was entered after the one and up to the other. Records that were
    carried over from a list don't count: their day of entry says nothing.
    """
    rows = Record.objects.filter(entered_at__lte=until, carried_over_from="")
    if after is not None:
        rows = rows.filter(entered_at__gt=after)
    rows = rows.select_related("item__site").order_by("entered_at", "pk")
    found = (_looked_at(row) for row in rows.iterator(chunk_size=BATCH))
    return [row for row in found if row.days >= days or row.corrects]


def _looked_at(row: Record) -> LateRecord:
    corrected = Record.objects.filter(hash=row.corrects).first() if row.corrects else None
    return LateRecord(
        item_id=row.item_id,
        tag=row.item.tag,
        position=row.position,
        task=row.task,
        done_on=row.done_on,
        entered_at=row.entered_at,
        entered_by=row.entered_by,
        days=row.days_late,
        corrects=corrected.position if corrected else None,
        reason=row.reason,
    )

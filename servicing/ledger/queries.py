"""Reading the ledger: rows turned into plain values, and the check of every chain."""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from datetime import date, datetime
from itertools import groupby

from django.db import DatabaseError

from registry.items.models import Item
from servicing.ledger.models import Record, RecordQuerySet
from servicing.ledger.pure.chain import START, BrokenLink, canonical, first_broken

BATCH = 500
UNREADABLE = (DatabaseError, ValueError, TypeError, AttributeError)
"""What reading a row raises whose bytes are no date, no JSON or no text any more."""

Facts = tuple[str, date, str, date | None]


def history_of(item: Item) -> RecordQuerySet:
    """Return an item's records, the newest entry first, each with the item as it is loaded."""
    records: RecordQuerySet = item.records.order_by("-position")
    return records


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
    columns = ("item_id", "task", "done_on", "outcome", "part_made_on")
    rows = records.in_order().values_list(*columns).iterator(chunk_size=20000)
    for item_id, task, done_on, outcome, part_made_on in rows:
        found[item_id].append((task, done_on, outcome, part_made_on))
    return found


def record_with_key(entry_key: str) -> Record | None:
    """Return the record that came by a form or row with this key, if it did."""
    return Record.objects.filter(entry_key=entry_key).first()


def record_entered_by(entry_key: str) -> Record:
    """Return the record that came by a form or row with this key."""
    return Record.objects.get(entry_key=entry_key)


def condemnation_of(item: Item) -> Record | None:
    """Return the record that condemned an item, if one did."""
    return Record.objects.filter(item=item, outcome="condemned").order_by("position").first()


def condemned_days() -> dict[str, date]:
    """Return the day of condemnation of every condemned item, by tag."""
    rows = Record.objects.filter(outcome="condemned").order_by("-position")
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
            elif (link := _first_broken(item_id, chain)) is not None:
                yield tags[item_id], link


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
    return sorted({name for readings in recent[:500] for name, _ in readings})

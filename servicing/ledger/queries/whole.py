"""Whether the ledger is whole: every chain, every number, every signature, and its copies."""

from collections.abc import Iterable, Iterator
from contextlib import suppress
from itertools import groupby
from typing import Any

from django.db import DatabaseError
from django.db.models import Max, OuterRef, Subquery

from registry.items.models import Item
from registry.trail import queries as trail
from servicing.ledger.models import Record, Signature
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

BATCH = 500


UNREADABLE = (DatabaseError, ValueError, TypeError, AttributeError)
"""What reading a row raises whose bytes are no date, no JSON or no text any more."""


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


def ledger_faults() -> Iterator[str]:
    """Yield everything that does not hold, each as a line: chains, numbers, signatures, trail."""
    yield from (f"{tag}: record {at.position}: {at.why}" for tag, at in broken_links())
    runs = (Numbers(run["from"], run["to"], run["digest"]) for _, run in trail.noted("records"))
    numbered = Record.objects.order_by("number").values_list("number", "hash")
    yield from number_faults(numbered.iterator(chunk_size=20000), runs)
    yield from _signature_faults()
    if (broken := trail.broken_trail()) is not None:
        yield f"trail: entry {broken.number}: {broken.why}"


def newest_faults(count: int = 50) -> Iterator[str]:
    """Yield what does not hold in the newest part of the ledger and the trail.

    count: how many records and entries are looked at; cheap enough for every start. The
    whole of both is `ledger_faults`.
    """
    if (broken := trail.broken_trail(newest=count)) is not None:
        yield f"trail: entry {broken.number}: {broken.why}"
    # Asked for before and after, for somebody may be entering something right now.
    noted_before = (trail.last_noted("records") or {"to": 0})["to"]
    last = Record.objects.aggregate(last=Max("number"))["last"] or 0
    if not noted_before <= last <= (trail.last_noted("records") or {"to": 0})["to"]:
        yield f"the trail notes records up to number {noted_before}, and the last is {last}"
    held = {}
    with suppress(*UNREADABLE):
        rows = Record.objects.filter(number__gt=last - count, number__lte=last)
        held = {row.number: link(row.previous_hash, row.entry) == row.hash for row in rows}
    for number in range(max(1, last - count + 1), last + 1):
        if not held.get(number):
            yield f"record number {number}: it is missing, or was altered"


def _signature_faults() -> Iterator[str]:
    given = {after["hash"]: after["record"] for _, after in trail.noted("signature")}
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
    yield "", *trail.trail_head()
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
        if not name and not trail.has_entry(place, own):
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
        yield from trail.trail_lines()
    yield {"kind": "whole", "records": number, "item": tag}

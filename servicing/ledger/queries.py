"""Reading the ledger: rows turned into plain values, and the check of every chain."""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from datetime import date

from registry.items.models import Item
from servicing.ledger.models import Record, RecordQuerySet
from servicing.ledger.pure.chain import START, BrokenLink, first_broken

Facts = tuple[str, date, str, date | None]


def history_of(item: Item) -> RecordQuerySet:
    """Return an item's records, the newest entry first."""
    return Record.objects.filter(item=item).order_by("-position")


def facts_by_item(item_ids: Iterable[int] | None = None) -> dict[int, list[Facts]]:
    """Return (task, done_on, outcome, part_made_on) by item, in the order entered.

    item_ids: the items that are wanted; None for all.
    """
    records = Record.objects.all()
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
    records = Record.objects.in_order().select_related("item").iterator(chunk_size=5000)
    chain: list[Record] = []
    for record in records:
        if chain and record.item_id != chain[0].item_id:
            yield from _broken(chain)
            chain = []
        chain.append(record)
    yield from _broken(chain)


def _broken(chain: list[Record]) -> Iterator[tuple[str, BrokenLink]]:
    if not chain:
        return
    link = first_broken((record.entry, record.previous_hash, record.hash) for record in chain)
    if link is not None:
        yield chain[0].item.tag, link


def reading_names() -> list[str]:
    """Return the names of readings entered lately, for the form to offer."""
    recent = Record.objects.exclude(readings=[]).order_by("-pk").values_list("readings", flat=True)
    return sorted({name for readings in recent[:500] for name, _ in readings})

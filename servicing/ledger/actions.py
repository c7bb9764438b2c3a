"""Adding to the ledger, the only way it ever changes."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import TypeVar

from django.contrib.auth.models import User
from django.db import connection
from django.db.models import Max

from registry.items.models import Item
from servicing.ledger.models import Record
from servicing.ledger.pure.chain import START, link

BATCH = 2000
T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class NewRecord:
    """A record to be added; the fields are those of `chain.Entry`."""

    item_id: int
    marked_as: str
    task: str
    done_on: date
    outcome: str
    performed_by: str
    entry_key: str
    note: str = ""
    readings: tuple[tuple[str, str], ...] = ()
    part_made_on: date | None = None
    carried_over_from: str = ""


class EntryKeyUsedTwice(ValueError):
    """A form came in again with other content than the first time."""


def append_records(new: Sequence[NewRecord], *, user: User | None, at: datetime) -> list[Record]:
    """Add records to their items' chains, in the order given, and return those added.

    A record whose entry key is in the ledger already is left out: entering twice makes
    one record. The caller holds the transaction; the items' rows are locked in it, so
    two desks can't take the same place in a chain.
    user: who enters them; None for a command. at: the moment of entry.
    Raises EntryKeyUsedTwice where a key stands in the ledger with other content.
    """
    fresh = _without_known(new)
    heads = _heads({record.item_id for record in fresh})
    entered_by = user.get_username() if user else "command line"
    added = []
    for record in fresh:
        position, previous = heads.get(record.item_id, (0, START))
        row = Record(
            **{name: getattr(record, name) for name in NewRecord.__slots__},
            position=position + 1,
            entered_by=entered_by,
            entered_by_user=user,
            entered_at=at,
            previous_hash=previous,
        )
        row.hash = link(previous, row.entry)
        heads[record.item_id] = (row.position, row.hash)
        added.append(row)
    return Record.objects.bulk_create(added, batch_size=BATCH)


def _without_known(new: Sequence[NewRecord]) -> list[NewRecord]:
    """Return the records whose key is not in the ledger yet."""
    known: dict[str, tuple[int, str, date, str]] = {}
    for keys in _batches([record.entry_key for record in new]):
        found = Record.objects.filter(entry_key__in=keys)
        known |= {
            key: (item_id, task, done_on, outcome)
            for key, item_id, task, done_on, outcome in found.values_list(
                "entry_key", "item_id", "task", "done_on", "outcome"
            )
        }
    for record in new:
        same = (record.item_id, record.task, record.done_on, record.outcome)
        if known.get(record.entry_key, same) != same:
            raise EntryKeyUsedTwice(
                "This form was sent before with other content; the first entry stands. "
                "Open the item's page again to enter another one."
            )
    return [record for record in new if record.entry_key not in known]


def _heads(item_ids: Iterable[int]) -> dict[int, tuple[int, str]]:
    """Return (position, hash) of the last record by item, with the items locked."""
    heads: dict[int, tuple[int, str]] = {}
    for ids in _batches(sorted(item_ids)):
        if connection.features.has_select_for_update:
            list(Item.objects.select_for_update().filter(pk__in=ids).order_by("pk").values("pk"))
        last = Record.objects.filter(item_id__in=ids).values("item_id").annotate(Max("position"))
        places = {row["item_id"]: row["position__max"] for row in last}
        found = Record.objects.filter(item_id__in=ids, position__in=set(places.values()))
        heads |= {
            item_id: (position, own)
            for item_id, position, own in found.values_list("item_id", "position", "hash")
            if places[item_id] == position
        }
    return heads


def _batches(values: Sequence[T]) -> Iterable[Sequence[T]]:
    return (values[start : start + BATCH] for start in range(0, len(values), BATCH))

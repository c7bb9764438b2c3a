"""Adding to the ledger, the only way it ever changes."""

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, TypeVar
from unicodedata import normalize

from django.contrib.auth.models import User
from django.db import connection
from django.db.models import Max

from registry.items.models import Item
from registry.lists.actions import insert_rows
from servicing.ledger.models import Record
from servicing.ledger.pure.chain import START, link

BATCH = 2000
_SAID = (
    *("item_id", "task", "done_on", "outcome", "performed_by", "note", "readings"),
    "part_made_on",
)
"""What a form sent twice must say twice."""
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
    two desks can't take the same place in a chain or enter the same form twice.
    user: who enters them; None for a command. at: the moment of entry.
    Raises EntryKeyUsedTwice where a key stands in the ledger with other content.
    """
    lock_items({record.item_id for record in new})
    fresh = _without_known([_composed(record) for record in new])
    heads = _heads({fields["item_id"] for fields in fresh})
    entered_by = user.get_username() if user else "command line"
    added = []
    for fields in fresh:
        position, previous = heads.get(fields["item_id"], (0, START))
        row = Record(
            **fields,
            position=position + 1,
            entered_by=entered_by,
            entered_by_user=user,
            entered_at=at,
            previous_hash=previous,
        )
        row.hash = link(previous, row.entry)
        heads[row.item_id] = (row.position, row.hash)
        added.append(row)
    _insert(added)
    return added


def _insert(rows: Sequence[Record]) -> None:
    """Insert new records as they are; their primary keys are not read back."""
    fields = [field for field in Record._meta.concrete_fields if not field.primary_key]
    insert_rows(
        Record._meta.db_table,
        [str(field.column) for field in fields],
        [[_plain(getattr(row, field.attname)) for field in fields] for row in rows],
    )


def _plain(value: object) -> object:
    """Return a value as `insert_rows` takes it."""
    if isinstance(value, datetime):
        return connection.ops.adapt_datetimefield_value(value)
    return json.dumps(value, ensure_ascii=False) if isinstance(value, list) else value


def _composed(record: NewRecord) -> dict[str, Any]:
    """Return a record's fields, every text in Unicode NFC, as they are kept and hashed.

    Composed once, here, and never at verification: a later Unicode may compose more.
    """
    fields = {name: getattr(record, name) for name in NewRecord.__slots__}
    texts = {k: normalize("NFC", v) for k, v in fields.items() if isinstance(v, str)}
    readings = [[normalize("NFC", name), normalize("NFC", v)] for name, v in record.readings]
    return {**fields, **texts, "readings": readings}


def _without_known(new: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return the records' fields whose key is not in the ledger yet."""
    known: dict[str, list[object]] = {}
    for keys in _batches([fields["entry_key"] for fields in new]):
        rows = Record.objects.filter(entry_key__in=keys).values_list("entry_key", *_SAID)
        known |= {key: said for key, *said in rows}
    for fields in new:
        said = known.get(fields["entry_key"])
        if said is not None and said != [fields[name] for name in _SAID]:
            raise EntryKeyUsedTwice(
                "This form was sent before with other content; the first entry stands. "
                "Open the item's page again to enter another one."
            )
    return [fields for fields in new if fields["entry_key"] not in known]


def lock_items(item_ids: Iterable[int]) -> None:
    """Lock the items' rows; SQLite has one writer at a time and needs no lock."""
    if connection.features.has_select_for_update:
        for ids in _batches(sorted(item_ids)):
            list(Item.objects.select_for_update().filter(pk__in=ids).order_by("pk").values("pk"))


def _heads(item_ids: Iterable[int]) -> dict[int, tuple[int, str]]:
    """Return (position, hash) of the last record by item."""
    heads: dict[int, tuple[int, str]] = {}
    for ids in _batches(sorted(item_ids)):
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

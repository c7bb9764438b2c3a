"""Adding to the ledger, the only way it ever changes."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from enum import StrEnum
from typing import Any, TypeVar
from unicodedata import normalize

from django.contrib.auth.models import User
from django.db import connection, transaction
from django.db.models import Max
from django.utils.timezone import localtime

from registry.bulk.actions import as_stored, count_afresh, insert_rows
from registry.items.models import Item
from registry.trail import actions as trail
from registry.trail.pure import name_of
from registry.wording.pure.dates import moment_words
from servicing.ledger.models import Measured, Record, Signature
from servicing.ledger.pure import chain, together
from servicing.ledger.pure.corrections import is_a_reason
from servicing.ledger.pure.entry import (
    FORM,
    Check,
    Entry,
    InstrumentAsStood,
    PartUsed,
    Reading,
    marks_of,
)

BATCH = 2000
_PARTS = ("checks", "readings", "instruments", "parts")
_SAID = (
    "task",
    "done_on",
    "outcome",
    "performed_by",
    "note",
    "part_made_on",
    "corrects",
    "reason",
)
"""What a form sent twice must say twice of an item, beside what it says in `_PARTS`."""
_SAID_IN_PARTS = {
    "readings": ("name", "typed"),
    "checks": ("step", "answer", "note"),
    "instruments": ("marked_as",),
    "parts": ("name", "batch", "made_on"),
}
"""What a person said of each part; limits and calibrations are the program's words."""
T = TypeVar("T")
Said = TypeVar("Said", "NewRecord", Check, Reading, InstrumentAsStood, PartUsed)


class Meaning(StrEnum):
    """What a signature stands for.

    performed: the signer did the work. entered: the signer wrote down what somebody else
    did, or what is right instead of an earlier record.
    """

    PERFORMED = "performed"
    ENTERED = "entered"
    CHECKED = "checked"
    RELEASED = "released"


@dataclass(frozen=True, slots=True)
class NewRecord:
    """A record to be added; the fields are those of `entry.Entry`.

    readings: also as pairs of name and text, where no procedure judged them.
    performed_by_user: the account of who did it, where they have one; it is not hashed.
    part_of: the tag of the set to which it happened and the entry key of the set's record,
    where this is a part's; that record is in the ledger or comes before in the same list.
    """

    item_id: int
    marked_as: str
    task: str
    done_on: date
    outcome: str
    performed_by: str
    entry_key: str
    note: str = ""
    readings: tuple[tuple[str, str] | Reading, ...] = ()
    part_made_on: date | None = None
    carried_over_from: str = ""
    attempt: int = 1
    corrects: str = ""
    reason: str = ""
    procedure: str = ""
    rule: str = ""
    authorised: str = ""
    checks: tuple[Check, ...] = ()
    instruments: tuple[InstrumentAsStood, ...] = ()
    parts: tuple[PartUsed, ...] = ()
    performed_by_user: User | None = None
    part_of: tuple[str, str] | None = None


class EntryKeyUsedTwice(ValueError):
    """A form came in again with other content than the first time."""


class CorrectionRefused(ValueError):
    """A record can't be corrected so; the text says why and what to do."""


class AlreadyCorrected(CorrectionRefused):
    """Somebody else corrected the record before."""


class SignatureRefused(ValueError):
    """Somebody can't sign a record so; the text says why."""


def append_records(new: Sequence[NewRecord], *, user: User | None, at: datetime) -> list[Record]:
    """Add records to their items' chains, in the order given, and return those added.

    A record whose entry key is in the ledger already is left out: entering twice makes
    one record. The caller holds the transaction; the items' rows are locked in it, so
    two desks can't take the same place in a chain or enter the same form twice. Then the
    trail is locked and notes the numbers: whoever calls this twice in a transaction, for
    other items, locks all of them with `lock_items` first.
    user: who enters them; None for a command. at: the moment of entry.
    Raises EntryKeyUsedTwice where a key stands in the ledger with other content,
    AlreadyCorrected or CorrectionRefused where a correction can't stand.
    """
    lock_items({record.item_id for record in new})
    fresh = _without_known([_composed(record) for record in new])
    if not fresh:
        return []
    _check_corrections([record for record in fresh if record.corrects])
    trail.lock_trail()
    added = _chained(fresh, user, at)
    _insert(added)
    marks = [(mark, row.number) for row in added for mark in sorted(marks_of(row.instruments))]
    insert_rows(Measured._meta.db_table, ("mark", "record_id"), marks)
    count_afresh(len(added), Record)
    digest = chain.digest_of(row.hash for row in added)
    numbers = {"from": added[0].number, "to": added[-1].number, "digest": digest}
    trail.note(what="records", subject="ledger", after=numbers, by=user, at=at)
    return added


def _chained(new: Sequence[NewRecord], user: User | None, at: datetime) -> list[Record]:
    """Return records as rows, each with its number, its place and its hash."""
    heads = _heads({record.item_id for record in new})
    number = Record.objects.aggregate(last=Max("number"))["last"] or 0
    entered_by = normalize("NFC", trail.called(user))
    numbers = _numbers_of_sets(new)
    rows = []
    for each in new:
        number += 1
        numbers[each.entry_key] = number
        each = _naming_its_set(each, numbers)  # noqa: PLW2901
        position, previous = heads.get(each.item_id, (0, chain.START))
        entry = _entry(each, number, position + 1, entered_by, at)
        own = chain.link(previous, entry)
        rows.append(_row(each, entry, user, previous, own))
        heads[each.item_id] = (position + 1, own)
    return rows


def _numbers_of_sets(new: Sequence[NewRecord]) -> dict[str, int]:
    """Return the numbers of the sets' records that parts' records name, as far as entered."""
    own = {each.entry_key for each in new}
    keys = {each.part_of[1] for each in new if each.part_of} - own
    found: dict[str, int] = {}
    for batch in _batches(sorted(keys)):
        rows = Record.objects.filter(entry_key__in=batch)
        found |= dict(rows.values_list("entry_key", "number"))
    return found


def _naming_its_set(new: NewRecord, numbers: dict[str, int]) -> NewRecord:
    if new.part_of is None:
        return new
    tag, key = new.part_of
    return replace(new, checks=(*new.checks, together.named(tag, numbers[key])))


def _entry(new: NewRecord, number: int, position: int, entered_by: str, at: datetime) -> Entry:
    said = {name: getattr(new, name) for name in _HASHED}
    return Entry(
        **said, form=FORM, number=number, position=position, entered_by=entered_by, entered_at=at
    )


_HASHED = tuple(
    name for name in NewRecord.__slots__ if name not in ("item_id", "performed_by_user", "part_of")
)


def _row(new: NewRecord, entry: Entry, user: User | None, previous: str, own: str) -> Record:
    said = {name: getattr(entry, name) for name in Entry.__slots__ if name not in _PARTS}
    lists = {name: [chain.plain(part) for part in getattr(entry, name)] for name in _PARTS}
    return Record(
        **{**said, **lists, "corrects": entry.corrects or None},
        item_id=new.item_id,
        performed_by_user=new.performed_by_user,
        entered_by_user=user,
        previous_hash=previous,
        hash=own,
    )


def _insert(rows: Sequence[Record]) -> None:
    """Insert new records as they are; their primary keys are not read back."""
    fields = [field for field in Record._meta.concrete_fields if not field.primary_key]
    insert_rows(
        Record._meta.db_table,
        [str(field.column) for field in fields],
        [[as_stored(getattr(row, field.attname)) for field in fields] for row in rows],
    )


@transaction.atomic
def measured_afresh() -> int:
    """Read from all records by what they were measured; return how many marks were missing.

    Those are added. On a healthy register none is.
    """
    trail.lock_trail()
    kept = set(Measured.objects.order_by().values_list("mark", "record_id").iterator())
    records = Record.objects.exclude(instruments=[]).order_by().values_list("number", "instruments")
    said = ((mark, number) for number, stood in records.iterator() for mark in marks_of(stood))
    missing = sorted(set(said) - kept)
    insert_rows(Measured._meta.db_table, ("mark", "record_id"), missing)
    return len(missing)


def _composed(record: NewRecord) -> NewRecord:
    """Return a record with every text in Unicode NFC, as they are kept and hashed.

    Composed once, here, and never at verification: a later Unicode may compose more.
    """
    readings = (each if isinstance(each, Reading) else Reading(*each) for each in record.readings)
    lists: dict[str, Any] = {
        "readings": tuple(_nfc(reading) for reading in readings),
        "checks": tuple(_nfc(check) for check in record.checks),
        "instruments": tuple(_nfc(instrument) for instrument in record.instruments),
        "parts": tuple(_nfc(part) for part in record.parts),
    }
    return replace(_nfc(record), **lists)


def _nfc(said: Said) -> Said:
    """Return a frozen value with its texts in Unicode NFC."""
    texts: dict[str, Any] = {
        name: normalize("NFC", value)
        for name in said.__slots__
        if isinstance(value := getattr(said, name), str)
    }
    return replace(said, **texts)


def _without_known(new: Sequence[NewRecord]) -> list[NewRecord]:
    """Return the records whose key is not in the ledger yet."""
    known: dict[str, Record] = {}
    for keys in _batches([record.entry_key for record in new]):
        known |= {row.entry_key: row for row in Record.objects.filter(entry_key__in=keys)}
    for record in new:
        row = known.get(record.entry_key)
        if row and (row.item_id != record.item_id or _said(record) != _said(row.entry)):
            raise EntryKeyUsedTwice(
                "This form was sent before with other content; the first entry stands. "
                "Open the item's page again to enter another one."
            )
    return [record for record in new if record.entry_key not in known]


def _said(record: NewRecord | Entry) -> list[object]:
    """Return what a person said in a record, as far as both kinds of record hold it.

    That a part's record names its set's is the program's word.
    """
    parts = (
        [
            tuple(getattr(part, name) for name in names)
            for part in getattr(record, held)
            if getattr(part, "step", "") != together.STEP
        ]
        for held, names in _SAID_IN_PARTS.items()
    )
    return [*(getattr(record, name) for name in _SAID), *parts]


def _check_corrections(corrections: Sequence[NewRecord]) -> None:
    """Refuse what is no correction; the items' rows are locked, so nobody comes between."""
    for each in corrections:
        corrected = Record.objects.filter(hash=each.corrects).first()
        if corrected is None or corrected.item_id != each.item_id:
            raise CorrectionRefused("A correction names a record of the same item.")
        if not is_a_reason(each.reason):
            raise CorrectionRefused("Write why it is corrected, in words that say it years later.")
        by = Record.objects.filter(corrects=each.corrects).first()
        if by is not None:
            raise AlreadyCorrected(
                f"Record {corrected.number} was corrected already, by {name_of(by.entered_by)} "
                f"on {moment_words(localtime(by.entered_at))}: {by.reason} "
                f"Correct that correction, record {by.number}, if it is wrong too."
            )


@transaction.atomic
def sign(
    *,
    record: Record,
    user: User,
    meaning: str,
    at: datetime,
    zone: str,
    second_person: bool = False,
) -> Signature:
    """Sign a record as it stands, and return the signature.

    zone: the tz database's name of the zone whose clock the signer reads. second_person:
    who did or entered the work can't sign. The caller has made sure that it is the user.
    Signing twice gives the first signature again. Raises SignatureRefused where somebody
    else signed with that meaning, or where a second person is needed; then nothing is written.
    """
    lock_items([record.item_id])
    kind = Meaning(meaning)
    if (first := Signature.objects.filter(record=record, meaning=kind).first()) is not None:
        if first.user_id != user.pk:
            raise SignatureRefused(f"{first.printed_name} signed it as {kind} already.")
        return first
    if second_person and took_part(record, user):
        raise SignatureRefused(
            f"{_printed_name(user)} did or entered this work; a second person must sign."
        )
    signed = chain.Signed(
        record_hash=record.hash,
        meaning=kind.value,
        printed_name=normalize("NFC", _printed_name(user)),
        username=normalize("NFC", user.get_username()),
        signed_at=at,
        zone=zone,
    )
    fields = {name: getattr(signed, name) for name in chain.Signed.__slots__}
    row = Signature.objects.create(
        **fields, record=record, user=user, hash=chain.signature_hash(signed)
    )
    after = {"record": record.number, "meaning": kind.value, "hash": row.hash}
    trail.note(what="signature", subject=record.marked_as, after=after, by=user, at=at)
    return row


def took_part(record: Record, user: User) -> bool:
    """Whether somebody did, entered or signed for the work of a record, or has that name."""
    if user.pk in (record.performed_by_user_id, record.entered_by_user_id):
        return True
    names = {_printed_name(user).casefold(), user.get_username().casefold()}
    signed = record.signatures.filter(meaning=Meaning.PERFORMED, user=user)
    return record.performed_by.casefold() in names or signed.exists()


def _printed_name(user: User) -> str:
    return user.get_full_name() or user.get_username()


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

"""The canonical form of a record, and the chain that ties an item's records together.

A record's form is one JSON text: keys in alphabetical order at every depth, no spaces,
UTF-8, texts in Unicode NFC, days as ISO 8601, moments in UTC with microseconds and a Z,
null for a day that is not known. Its hash is the SHA-256 of the hash before it, a line
feed, and that text. The first record of an item follows the hash of 64 zeros.

Form 1 has the keys carried_over_from, done_on, entered_at, entered_by, entry_key, form,
marked_as, note, outcome, part_made_on, performed_by, position, readings and task; its
readings are pairs of name and text. Form 2 adds attempt, authorised, checks, corrects,
instruments, number, parts, procedure, reason and rule; its readings, checks, instruments
and parts are lists of objects whose keys are the fields in `entry.py`.

A signature's form is such a text of meaning, printed_name, record_hash, signed_at,
username and zone; its hash is the SHA-256 of the record's hash, a line feed, and that.
"""

import hashlib
import json
import unicodedata
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any

from servicing.ledger.pure.entry import Check, Entry, InstrumentAsStood, PartUsed, Reading

__all__ = ["START", "BrokenLink", "Entry", "Signed", "canonical", "first_broken", "link"]

START = "0" * 64
_JSON = json.JSONEncoder(ensure_ascii=False, separators=(",", ":"), sort_keys=True)


@dataclass(frozen=True, slots=True)
class BrokenLink:
    """The first place where an item's chain does not hold, and what is wrong there."""

    position: int
    why: str


@dataclass(frozen=True, slots=True)
class Signed:
    """A signature as it is hashed. zone: the tz database's name of the signer's time zone."""

    record_hash: str
    meaning: str
    printed_name: str
    username: str
    signed_at: datetime
    zone: str


def tidy(text: str) -> str:
    """Return a text as it is kept: Unicode NFC, without white space around it."""
    return unicodedata.normalize("NFC", text).strip()


def marked_as(tag: str, maker: str, serial: str) -> str:
    """Return the words by which a record names its item, as they stand at entry."""
    return f"{tag} · {maker} · {serial}"


def plain(part: Reading | Check | InstrumentAsStood | PartUsed) -> dict[str, str | None]:
    """Return a part of a record as it is stored and hashed: its fields, days as text."""
    values = ((name, getattr(part, name)) for name in part.__slots__)
    return {n: v.isoformat() if isinstance(v, date) else v for n, v in values}


def canonical(entry: Entry) -> str:
    """Return the one text a record is hashed as."""
    said: dict[str, Any] = {
        "carried_over_from": entry.carried_over_from,
        "done_on": entry.done_on.isoformat(),
        "entered_at": moment_text(entry.entered_at),
        "entered_by": entry.entered_by,
        "entry_key": entry.entry_key,
        "form": entry.form,
        "marked_as": entry.marked_as,
        "note": entry.note,
        "outcome": entry.outcome,
        "part_made_on": entry.part_made_on and entry.part_made_on.isoformat(),
        "performed_by": entry.performed_by,
        "position": entry.position,
        "task": entry.task,
    }
    if entry.form == 1:
        return _JSON.encode({**said, "readings": [[r.name, r.typed] for r in entry.readings]})
    return _JSON.encode({**said, **_of_form_2(entry)})


def _of_form_2(entry: Entry) -> dict[str, Any]:
    return {
        "attempt": entry.attempt,
        "authorised": entry.authorised,
        "checks": [plain(check) for check in entry.checks],
        "corrects": entry.corrects,
        "instruments": [plain(instrument) for instrument in entry.instruments],
        "number": entry.number,
        "parts": [plain(part) for part in entry.parts],
        "procedure": entry.procedure,
        "readings": [plain(reading) for reading in entry.readings],
        "reason": entry.reason,
        "rule": entry.rule,
    }


def link(previous: str, entry: Entry) -> str:
    """Return the hash of a record that follows the record with hash `previous`."""
    return _digest(previous, canonical(entry))


def canonical_signature(signed: Signed) -> str:
    """Return the one text a signature is hashed as."""
    said = {name: getattr(signed, name) for name in Signed.__slots__}
    return _JSON.encode({**said, "signed_at": moment_text(signed.signed_at)})


def signature_hash(signed: Signed) -> str:
    """Return the hash that binds a signature to the record it was given for."""
    return _digest(signed.record_hash, canonical_signature(signed))


def digest_of(hashes: Iterable[str]) -> str:
    """Return the SHA-256 over hashes, each followed by a line feed."""
    whole = hashlib.sha256()
    for each in hashes:
        whole.update(f"{each}\n".encode())
    return whole.hexdigest()


def first_broken(entries: Iterable[tuple[Entry, str, str]]) -> BrokenLink | None:
    """Return the first link that does not hold among (entry, previous hash, own hash).

    entries: one item's records by position.
    """
    before, expected = START, 1
    for entry, previous, own in entries:
        if entry.position != expected:
            return BrokenLink(expected, f"record {expected} is missing")
        if previous != before:
            return BrokenLink(expected, "does not follow the record before it")
        if link(previous, entry) != own:
            return BrokenLink(expected, "its content does not give its hash; it was altered")
        before, expected = own, expected + 1
    return None


@dataclass(frozen=True, slots=True)
class Numbers:
    """A run of register-wide numbers as the trail noted it, both ends included."""

    first: int
    last: int
    digest: str


def number_faults(records: Iterable[tuple[int, str]], runs: Iterable[Numbers]) -> Iterator[str]:
    """Yield what is wrong with (number, hash) of all records, against what the trail noted.

    records: by number. A number that is missing is named even where the chain of its item
    looks whole, so that neither a lost tail nor a vanished item goes unseen.
    """
    left, expected = dict(records), 1
    for run in runs:
        if run.first != expected:
            yield f"records from number {expected} on: the trail does not note them"
        expected = run.last + 1
        numbers = range(run.first, run.last + 1)
        missing = [number for number in numbers if number not in left]
        yield from (f"record number {number} is missing" for number in missing)
        if not missing and digest_of(left[number] for number in numbers) != run.digest:
            yield f"records number {run.first} to {run.last}: not those the trail noted"
        for number in numbers:
            left.pop(number, None)
    yield from (f"record number {number}: the trail does not note it" for number in sorted(left))


def moment_text(at: datetime) -> str:
    """Return a moment as it is hashed: in UTC, with microseconds and a Z."""
    return at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


def _digest(previous: str, text: str) -> str:
    return hashlib.sha256(f"{previous}\n{text}".encode()).hexdigest()

"""The canonical form of a record, and the chain that ties an item's records together.

A record's form is one JSON text: keys in alphabetical order, no spaces, UTF-8, texts
in Unicode NFC, days as ISO 8601, moments in UTC with microseconds and a Z. Its hash is
the SHA-256 of the hash before it, a line feed, and that text. The first record of an
item follows the hash of 64 zeros.
"""

import hashlib
import json
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime

START = "0" * 64
FORM = 1
_JSON = json.JSONEncoder(ensure_ascii=False, separators=(",", ":"))


@dataclass(frozen=True, slots=True)
class Entry:
    """Everything a record says, as it is hashed.

    position: counted from 1 within the item. marked_as: the item's tag, maker and
    serial as they stood. readings: (name, text as typed). carried_over_from: the file
    an imported record came from, with that file's SHA-256, else empty.
    """

    position: int
    marked_as: str
    task: str
    done_on: date
    outcome: str
    performed_by: str
    entered_by: str
    entered_at: datetime
    note: str
    readings: tuple[tuple[str, str], ...]
    part_made_on: date | None
    carried_over_from: str
    entry_key: str


@dataclass(frozen=True, slots=True)
class BrokenLink:
    """The first place where an item's chain does not hold, and what is wrong there."""

    position: int
    why: str


def tidy(text: str) -> str:
    """Return a text as it is kept: Unicode NFC, without white space around it."""
    return unicodedata.normalize("NFC", text).strip()


def marked_as(tag: str, maker: str, serial: str) -> str:
    """Return the words by which a record names its item, as they stand at entry."""
    return f"{tag} · {maker} · {serial}"


def canonical(entry: Entry) -> str:
    """Return the one text a record is hashed as."""
    return _JSON.encode(
        {
            "carried_over_from": entry.carried_over_from,
            "done_on": entry.done_on.isoformat(),
            "entered_at": _moment(entry.entered_at),
            "entered_by": entry.entered_by,
            "entry_key": entry.entry_key,
            "form": FORM,
            "marked_as": entry.marked_as,
            "note": entry.note,
            "outcome": entry.outcome,
            "part_made_on": entry.part_made_on and entry.part_made_on.isoformat(),
            "performed_by": entry.performed_by,
            "position": entry.position,
            "readings": [[name, text] for name, text in entry.readings],
            "task": entry.task,
        }
    )


def link(previous: str, entry: Entry) -> str:
    """Return the hash of a record that follows the record with hash `previous`."""
    return hashlib.sha256(f"{previous}\n{canonical(entry)}".encode()).hexdigest()


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


def _moment(at: datetime) -> str:
    return at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")

"""The register-wide trail: one chain over every change to what a date depends on.

An entry's form is one JSON text: keys in alphabetical order, no spaces, UTF-8, texts in
Unicode NFC, moments in UTC with microseconds and a Z. Its hash is the SHA-256 of the
hash before it, a line feed, and that text. The first entry follows the hash of 64 zeros.
"""

import hashlib
import json
import re
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from decimal import Decimal

START = "0" * 64
FORM = 1
_JSON = json.JSONEncoder(ensure_ascii=False, separators=(",", ":"), sort_keys=True)


_ACCOUNT = re.compile(r" \([^()]+\)$")


def name_of(called: str) -> str:
    """Return the name out of how somebody is kept: the full name with the account behind it."""
    return _ACCOUNT.sub("", called)


@dataclass(frozen=True, slots=True)
class Change:
    """One change as it is hashed.

    number: counted from 1 over the whole register, without gaps. what: the kind of thing
    that changed. before, after: what was and is known of it, as `as_text` gives it; empty
    where there was or is nothing. by: who did it, as they were called then.
    """

    number: int
    at: datetime
    by: str
    what: str
    subject: str
    before: str
    after: str
    why: str


@dataclass(frozen=True, slots=True)
class BrokenTrail:
    """The first place where the trail does not hold, and what is wrong there."""

    number: int
    why: str


def as_text(known: Mapping[str, object] | None) -> str:
    """Return what is known of a thing as one JSON text, the same for the same content."""
    return "" if known is None else _JSON.encode(_plain(known))


def canonical(change: Change) -> str:
    """Return the one text an entry is hashed as."""
    return _JSON.encode(
        {
            "after": change.after,
            "at": change.at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ"),
            "before": change.before,
            "by": change.by,
            "form": FORM,
            "number": change.number,
            "subject": change.subject,
            "what": change.what,
            "why": change.why,
        }
    )


def link(previous: str, change: Change) -> str:
    """Return the hash of an entry that follows the entry with hash `previous`."""
    return hashlib.sha256(f"{previous}\n{canonical(change)}".encode()).hexdigest()


def first_broken(
    entries: Iterable[tuple[Change, str, str]], after: tuple[int, str] = (0, START)
) -> BrokenTrail | None:
    """Return the first entry that does not hold among (change, previous hash, own hash).

    after: number and hash of the entry before the first of them.
    """
    before, expected = after[1], after[0] + 1
    for change, previous, own in entries:
        if change.number != expected:
            return BrokenTrail(expected, f"entry {expected} is missing")
        if previous != before:
            return BrokenTrail(expected, "does not follow the entry before it")
        if link(previous, change) != own:
            return BrokenTrail(expected, "its content does not give its hash; it was altered")
        before, expected = own, expected + 1
    return None


def differences(
    before: Mapping[str, object], after: Mapping[str, object]
) -> tuple[dict[str, object], dict[str, object]]:
    """Return the part of what was known and of what is known that is not the same."""
    names = [
        name
        for name in dict.fromkeys([*before, *after])
        if _plain(before.get(name)) != _plain(after.get(name))
    ]
    return {n: before[n] for n in names if n in before}, {n: after[n] for n in names if n in after}


def _plain(value: object) -> object:
    """Return a value as JSON takes it: days and numbers as text, texts in NFC."""
    if isinstance(value, Mapping):
        return {str(_plain(name)): _plain(held) for name, held in value.items()}
    if isinstance(value, set | frozenset):
        return sorted(str(_plain(held)) for held in value)
    if isinstance(value, list | tuple):
        return [_plain(held) for held in value]
    if isinstance(value, str):
        return unicodedata.normalize("NFC", value)
    if isinstance(value, date | Decimal):
        return str(value)
    return value

"""Adding to the trail, the only way it ever changes."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from unicodedata import normalize

from django.contrib.auth.models import User
from django.db import connection, transaction

from registry.trail.models import TrailEntry
from registry.trail.pure import START, Change, as_text, link

COMMAND_LINE = "command line"
_LOCK = 0x7472_6169
"""The register-wide lock of PostgreSQL; any number that nothing else of ours uses."""


@dataclass(frozen=True, slots=True)
class Noted:
    """A change to be noted; see `Change` for the meaning of its fields."""

    what: str
    subject: str
    before: Mapping[str, object] | None = None
    after: Mapping[str, object] | None = None
    why: str = ""


def note(
    *,
    what: str,
    subject: str,
    before: Mapping[str, object] | None = None,
    after: Mapping[str, object] | None = None,
    why: str = "",
    by: User | None,
    at: datetime,
) -> TrailEntry:
    """Add one change to the trail, in the caller's transaction; see `note_all`."""
    return note_all([Noted(what, subject, before, after, why)], by=by, at=at)[0]


def note_all(changes: Sequence[Noted], *, by: User | None, at: datetime) -> list[TrailEntry]:
    """Add changes to the trail in the order given, and return their entries.

    by: who made them; None for the command line. at: the moment. The caller holds the
    transaction of the change itself. On PostgreSQL the trail stays locked until its end,
    so an action takes its other locks first and notes last.
    """
    if not changes:
        return []
    lock_trail()
    last = TrailEntry.objects.order_by("-number").first()
    number, previous = (last.number, last.hash) if last else (0, START)
    added = []
    for change in changes:
        entry = _entry(change, number + 1, previous, by, at)
        added.append(entry)
        number, previous = entry.number, entry.hash
    TrailEntry.objects.bulk_create(added, batch_size=500)
    return added


def lock_trail() -> None:
    """Keep everybody else from adding to the trail until the transaction ends."""
    if not connection.in_atomic_block:
        raise transaction.TransactionManagementError("A change is noted in its own transaction.")
    if connection.vendor == "postgresql":  # SQLite has one writer at a time
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s)", [_LOCK])


def called(user: User | None) -> str:
    """Return how the trail names somebody: full name and account, as they stand."""
    if user is None:
        return COMMAND_LINE
    full = user.get_full_name()
    return f"{full} ({user.get_username()})" if full else user.get_username()


def _entry(change: Noted, number: int, previous: str, by: User | None, at: datetime) -> TrailEntry:
    plain = Change(
        number=number,
        at=at,
        by=normalize("NFC", called(by)),
        what=change.what,
        subject=normalize("NFC", change.subject),
        before=as_text(change.before),
        after=as_text(change.after),
        why=normalize("NFC", change.why),
    )
    fields = {name: getattr(plain, name) for name in Change.__slots__}
    return TrailEntry(**fields, by_user=by, previous_hash=previous, hash=link(previous, plain))

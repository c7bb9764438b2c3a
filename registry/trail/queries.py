"""Reading the trail, and the check of its chain."""

import json
from collections.abc import Iterator
from datetime import datetime
from typing import Any

from django.db import connection

from registry.trail.models import TrailEntry
from registry.trail.pure import START, BrokenTrail, canonical, first_broken


def trail_head() -> tuple[int, str]:
    """Return (number, hash) of the latest entry; (0, 64 zeros) before the first."""
    last = TrailEntry.objects.order_by("-number").first()
    return (last.number, last.hash) if last else (0, START)


def broken_trail(newest: int | None = None) -> BrokenTrail | None:
    """Return the first entry that does not hold, or None where the trail is whole.

    newest: how many of the newest entries are looked at; None for all.
    """
    if newest is None:
        rows = TrailEntry.objects.order_by("number").iterator(chunk_size=2000)
        return first_broken((row.change, row.previous_hash, row.hash) for row in rows)
    found = list(TrailEntry.objects.order_by("-number")[:newest])[::-1]
    after = (0, START)
    if found and found[0].number > 1:
        after = (found[0].number - 1, found[0].previous_hash)
    return first_broken(((row.change, row.previous_hash, row.hash) for row in found), after=after)


def last_noted(what: str) -> dict[str, Any] | None:
    """Return what is known since the latest entry of one kind; None before the first."""
    last = TrailEntry.objects.filter(what=what).order_by("-number").first()
    known: dict[str, Any] | None = json.loads(last.after) if last else None
    return known


def noted(what: str) -> Iterator[tuple[int, dict[str, Any]]]:
    """Yield (number, what is known since) of every entry of one kind, in order."""
    rows = TrailEntry.objects.filter(what=what).order_by("number").values_list("number", "after")
    for number, after in rows.iterator(chunk_size=2000):
        yield number, json.loads(after or "{}")


def reasons_since(what: str, subject: str, since: datetime) -> list[str]:
    """Return the reasons given for changes of a thing after a moment, in order, each once."""
    rows = TrailEntry.objects.filter(what=what, subject=subject, at__gt=since).exclude(why="")
    return list(dict.fromkeys(rows.order_by("number").values_list("why", flat=True)))


def trail_lines() -> Iterator[dict[str, Any]]:
    """Yield each entry as an export holds it: the text that is hashed, and both hashes."""
    for row in TrailEntry.objects.order_by("number").iterator(chunk_size=2000):
        text = canonical(row.change)
        yield {"kind": "trail", "text": text, "previous": row.previous_hash, "hash": row.hash}


def has_entry(number: int, own: str) -> bool:
    """Whether the trail has an entry with this number and hash, or is asked for none."""
    return number == 0 or TrailEntry.objects.filter(number=number, hash=own).exists()


def kinds_noted() -> list[str]:
    """Return the kinds of change the trail holds, in their order."""
    return _each_once("what")


def people_noted() -> list[str]:
    """Return who made the changes of the trail, in their order."""
    return _each_once("by")


def _each_once(column: str) -> list[str]:
    """Return every value of an indexed column, from one to the next: the trail is not read whole.

    Neither engine does so by itself where DISTINCT is asked for.
    """
    table, name = TrailEntry._meta.db_table, connection.ops.quote_name(column)
    next_one = f"SELECT min({name}) FROM {table} WHERE {name} > found.it"  # noqa: S608 (our words)
    with connection.cursor() as cursor:
        cursor.execute(
            f"WITH RECURSIVE found(it) AS (SELECT min({name}) FROM {table} UNION ALL "  # noqa: S608
            f"SELECT ({next_one}) FROM found WHERE found.it IS NOT NULL) "
            "SELECT it FROM found WHERE it IS NOT NULL"
        )
        return [it for (it,) in cursor.fetchall()]

"""The same answer for every day at once: which obligations hold from when to when.

What an item owes changes with its records, and, without anybody writing anything,
on the days when a rule comes into force or ends and on the day the item was made.
Between two such days the answer stays the same, so a handful of spans holds it for
all days from the latest record on; only the state still depends on the day.

They begin two days before the latest record: an item that is serviced at one end of the
world and moved to the other stands at a place where that day has not come yet.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from servicing.due.pure.obligations import Item, Obligation, Record, Standing, situation
from servicing.rules.pure.rule import Rule

LEEWAY = timedelta(days=2)
"""Calendars on earth differ by 26 hours at the most (UTC-12 to UTC+14)."""


@dataclass(frozen=True, slots=True)
class Span:
    """What holds from `start` (inclusive) until `end` (exclusive); None is open."""

    start: date | None
    end: date | None
    standing: Standing
    obligations: tuple[Obligation, ...]


def spans(item: Item, records: Sequence[Record], rules: Sequence[Rule]) -> tuple[Span, ...]:
    """Return the spans from LEEWAY before the latest record on (from ever, without one)."""
    latest = max((record.done_on for record in records), default=None)
    first = latest - LEEWAY if latest else None
    edges: list[date | None] = [first, *_edges(item, records, rules, first)]
    found: list[Span] = []
    for start, end in zip(edges, [*edges[1:], None], strict=True):
        day = start or (end - timedelta(days=1) if end else date.max)
        stands, owed = situation(item, records, rules, day)
        if found and (found[-1].standing, found[-1].obligations) == (stands, owed):
            found[-1] = Span(found[-1].start, end, stands, owed)
        else:
            found.append(Span(start, end, stands, owed))
    return tuple(found)


def _edges(
    item: Item, records: Sequence[Record], rules: Sequence[Rule], first: date | None
) -> list[date]:
    """Return the days after the first on which the answer may change, in order."""
    days = {item.made_on or item.in_service_on}
    for rule in rules:
        days |= {rule.valid_from, rule.valid_until}
    if first is not None:
        days |= {record.done_on for record in records if record.done_on > first}
    return sorted(day for day in days if day and (first is None or day > first))

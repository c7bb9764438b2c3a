"""What a change of rules would move: done for real and undone, so it can't differ from the deed."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TypeVar

from django.db import transaction
from django.db.models import Q

from servicing.due.models import StoredObligation, holding
from servicing.due.pure.explain import how_often
from servicing.due.queries.rows import today_q

Found = TypeVar("Found")
Key = tuple[str, str]


@dataclass(frozen=True, slots=True)
class Owed:
    """One obligation as stored: its date, its rule, what that asks and by which source."""

    due_on: date | None
    rule: str
    asks: str
    source: str


@dataclass(frozen=True, slots=True)
class Move:
    """An obligation that a change moves; None where the task is not asked at all.

    on: the day from which it is so; None for today.
    """

    tag: str
    item_id: int
    task: str
    on: date | None
    before: Owed | None
    after: Owed | None

    @property
    def days(self) -> int | None:
        """By how many days the date moves; negative is earlier, None where one is missing."""
        was = self.before.due_on if self.before else None
        becomes = self.after.due_on if self.after else None
        return (becomes - was).days if was and becomes else None

    @property
    def by_how_much(self) -> str:
        """By how much the date moves, in words."""
        if self.before is None:
            return "not asked before"
        if self.after is None:
            return "not asked any more"
        if self.days is None:
            return "no date could be told before" if self.after.due_on else "no date any more"
        if not self.days:
            return "same date, another rule"
        many = f"{abs(self.days)} day{'s' * (abs(self.days) != 1)}"
        return f"{many} {'earlier' if self.days < 0 else 'later'}"

    @property
    def why(self) -> str:
        """The rule, its value and its source before and after."""
        return f"{_words(self.before)} -> {_words(self.after)}"


class _Undone(Exception):
    """Ends a transaction that was made only to see what it would do."""


def moved_by(
    change: Callable[[], Found], *, days: Sequence[date | None] = (None,), within: Q | None = None
) -> tuple[Found, list[Move]]:
    """Return what a change gives and every date it would move, and write nothing.

    days: the days to compare, None for today at each item's site; a move is told for the
    first of them only. within: which stored obligations to look at; all by default.
    Whatever the change raises is raised, and then nothing is written either.
    """
    try:
        with transaction.atomic():
            told = moving(change, days=days, within=within)
            raise _Undone
    except _Undone:
        return told


def moving(
    change: Callable[[], Found], *, days: Sequence[date | None] = (None,), within: Q | None = None
) -> tuple[Found, list[Move]]:
    """Make a change and return what it gives and every date it moved, as `moved_by` tells it."""
    scope = Q() if within is None else within
    before = [_owed(day, scope) for day in days]
    found = change()
    after = [_owed(day, scope) for day in days]
    return found, _moves(days, before, after)


def _moves(
    days: Sequence[date | None],
    before: Iterable[dict[Key, tuple[int, Owed]]],
    after: Iterable[dict[Key, tuple[int, Owed]]],
) -> list[Move]:
    told: dict[tuple[str, str, Owed | None, Owed | None], Move] = {}
    for day, was, becomes in zip(days, before, after, strict=True):
        for tag, task in was.keys() | becomes.keys():
            pk, old = was.get((tag, task), (0, None))
            pk_after, new = becomes.get((tag, task), (0, None))
            if _decides(old) != _decides(new):
                told.setdefault(
                    (tag, task, old, new), Move(tag, pk or pk_after, task, day, old, new)
                )
    return sorted(told.values(), key=lambda move: (move.tag, move.task, move.on or date.min))


def _owed(day: date | None, scope: Q) -> dict[Key, tuple[int, Owed]]:
    holds = today_q() if day is None else holding(day)
    rows = StoredObligation.objects.filter(holds, scope).select_related("item", "rule__table")
    return {
        (row.item.tag, row.task): (
            row.item_id,
            Owed(row.due_on, row.rule.rule_id, how_often(row.rule.rule), row.rule.source),
        )
        for row in rows
    }


def _decides(owed: Owed | None) -> tuple[date | None, str] | None:
    return None if owed is None else (owed.due_on, owed.rule)


def _words(owed: Owed | None) -> str:
    return "no rule" if owed is None else f"{owed.rule}, {owed.asks} ({owed.source})"

"""What a change of rules would move: done for real and undone, so it can't differ from the deed."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TypeVar

from django.db import transaction
from django.db.models import Q

from registry.items.models import Item
from registry.items.pure import Kind
from registry.sets.queries import set_of
from registry.sites.clock import today_at
from registry.sites.models import Site
from servicing.due.models import StoredObligation, holding
from servicing.due.pure.explain import how_often
from servicing.due.pure.owed import Owed
from servicing.due.pure.readiness import Readiness
from servicing.due.pure.turnout import Shortfall
from servicing.due.queries.rows import today_q
from servicing.due.queries.sets import set_sheet
from servicing.due.queries.turnout import fallen_since, sets_stood, sets_with
from servicing.papers.queries import PaperLine, paper_lines, papers_with
from servicing.rules.pure.bars import Bars, bars_words

Found = TypeVar("Found")
Key = tuple[int, str]


@dataclass(frozen=True, slots=True)
class Asked:
    """What is asked of an item, as stored: the days, the rule, how often and by which source.

    bars: what the rules of its task forbid between them.
    """

    owed: Owed
    rule: str
    asks: str
    source: str
    bars: str = Bars.BOTH

    @property
    def due_on(self) -> date | None:
        """Its date; None where none can be told."""
        return self.owed.due_on


@dataclass(frozen=True, slots=True)
class Move:
    """An obligation that a change moves; None where the task is not asked at all.

    on: the day from which it is so; None for today.
    """

    tag: str
    item_id: int
    task: str
    on: date | None
    before: Asked | None
    after: Asked | None

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
        if not self.days and self.before.bars != self.after.bars:
            return f"same date, and overdue it {bars_words(Bars(self.after.bars))}"
        if not self.days:
            return "same date, another rule"
        many = f"{abs(self.days)} day{'s' * (abs(self.days) != 1)}"
        return f"{many} {'earlier' if self.days < 0 else 'later'}"

    def falls_overdue(self, today: date) -> bool:
        """Whether it is overdue today only through the change."""
        was = self.before is not None and self.before.owed.overdue(today)
        becomes = self.after is not None and self.after.owed.overdue(today)
        return becomes and not was

    @property
    def why(self) -> str:
        """The rule, its value and its source before and after."""
        return f"{_words(self.before)} -> {_words(self.after)}"


class _Undone(Exception):
    """Ends a transaction that was made only to see what it would do."""


def moved_and_fallen(
    change: Callable[[], Found], *, days: Sequence[date | None] = (None,), within: Q | None = None
) -> tuple[Found, list[Move], list[tuple[date | None, Shortfall]]]:
    """Return what a change gives, every date it would move, and by day what it would take from
    the stations; write nothing.

    days: the days to compare, None for today at each item's site; a move is told for the
    first of them only. within: which stored obligations to look at; all by default.
    Whatever the change raises is raised, and then nothing is written either. Of the days only
    those on which a set stops being ready through it. On a day to come the sets are
    taken as they would stand if nothing were done until then.
    """
    try:
        with transaction.atomic():
            before = [(day, sets_stood(on=day)) for day in days]
            found, moves = moving(change, days=days, within=within)
            fallen = [(day, fallen_since(stood, on=day)) for day, stood in before]
            raise _Undone
    except _Undone:
        return found, moves, [(day, each) for day, each in fallen if each.falls or each.stops]


def turnout_of(change: Callable[[], object], items: Iterable[int]) -> Shortfall:
    """Return what a change of items takes from the stations, and write nothing.

    items: the ids of what is changed. The change is done for real and undone; whatever it
    raises is raised. Where none of them is in a set it is not even tried.
    """
    if not (sets := sets_with(items)):
        return Shortfall()
    try:
        with transaction.atomic():
            _, told = done_and_fallen(change, sets)
            raise _Undone
    except _Undone:
        return told


def done_and_fallen(change: Callable[[], Found], sets: set[int]) -> tuple[Found, Shortfall]:
    """Make a change, return what it gives and what it took from the stations, and leave it done.

    sets: the ids of those that it can touch.
    """
    if not sets:
        return change(), Shortfall()
    before = sets_stood(sets)
    return change(), fallen_since(before, sets)


@dataclass(frozen=True, slots=True)
class SetMoved:
    """A set that an item is in, or is, with its readiness before and after a change."""

    set: Item
    before: Readiness
    after: Readiness

    @property
    def changes(self) -> bool:
        """Whether a person would read something else of it."""
        return self.before != self.after


@dataclass(frozen=True, slots=True)
class Carried:
    """A part that goes where its set goes."""

    part: Item
    before: Site
    after: Site


@dataclass(frozen=True, slots=True)
class Reach:
    """How far a change of an item reaches: its dates, its sets, papers that it supersedes.

    Of a set its parts as well. carried: the parts that change their site with it. turnout:
    what it takes from the stations.
    """

    moves: tuple[Move, ...]
    sets: tuple[SetMoved, ...]
    papers: tuple[PaperLine, ...]
    carried: tuple[Carried, ...]
    turnout: Shortfall

    @property
    def anything(self) -> bool:
        """Whether somebody should look at it before it is saved."""
        changes = any(each.changes for each in self.sets)
        return bool(self.moves or self.papers or self.carried or self.turnout.falls or changes)


def reach_of(change: Callable[[], object], item: Item) -> Reach:
    """Return how far a change of an item reaches, with the parts of a set, and write nothing.

    The change is done for real and undone. Whatever it raises is raised.
    """
    try:
        with transaction.atomic():
            sets, items = _sets_of(item), [item, *_parts_of(item)]
            valid = {each.paper.pk for each in paper_lines(papers_with(items)) if not each.why}
            places, concerned = _places_of(items), sets_with([item.pk])
            stood = sets_stood(concerned)
            _, moves = moving(change, within=Q(item__in=items))
            moved = [SetMoved(s, before, _ready(s)) for s, before in sets.items()]
            now = [each for each in paper_lines(papers_with(items)) if each.paper.pk in valid]
            told = Reach(
                tuple(moves),
                tuple(moved),
                tuple(each for each in now if each.why),
                tuple(_carried(items[1:], places, _places_of(items))),
                fallen_since(stood, concerned),
            )
            raise _Undone
    except _Undone:
        return told


def _sets_of(item: Item) -> dict[Item, Readiness]:
    """Return the set an item is, or the one it is in today, with its readiness."""
    fitted = set_of(item, today_at(item.site))
    found = [item] if item.type.kind == Kind.SET else [fitted.set] if fitted else []
    return {each: _ready(each) for each in found}


def _parts_of(item: Item) -> list[Item]:
    """Return what is fitted to a set now; nothing for any other item."""
    fittings = item.fittings.open().select_related("part__type", "part__site")
    return [fitting.part for fitting in fittings.order_by("part__tag")]


def _places_of(items: Iterable[Item]) -> dict[int, Site]:
    kept = Item.objects.select_related("site").filter(pk__in=[item.pk for item in items])
    return {item.pk: item.site for item in kept}


def _carried(
    parts: Iterable[Item], before: Mapping[int, Site], after: Mapping[int, Site]
) -> Iterator[Carried]:
    for part in parts:
        if before[part.pk] != after[part.pk]:
            yield Carried(part, before[part.pk], after[part.pk])


def _ready(set_item: Item) -> Readiness:
    # Asked anew: the change may have moved the set to another site.
    held = Item.objects.select_related("type", "site").get(pk=set_item.pk)
    return set_sheet(held, today_at(held.site)).readiness


def moving(
    change: Callable[[], Found], *, days: Sequence[date | None] = (None,), within: Q | None = None
) -> tuple[Found, list[Move]]:
    """Make a change; return what it gives and each date it moved, as `moved_and_fallen` does."""
    scope = Q() if within is None else within
    before = [_asked(day, scope) for day in days]
    found = change()
    after = [_asked(day, scope) for day in days]
    return found, _moves(days, before, after)


def _moves(
    days: Sequence[date | None],
    before: Iterable[dict[Key, tuple[str, Asked]]],
    after: Iterable[dict[Key, tuple[str, Asked]]],
) -> list[Move]:
    told: dict[tuple[int, str, Asked | None, Asked | None], Move] = {}
    for day, was, becomes in zip(days, before, after, strict=True):
        for pk, task in was.keys() | becomes.keys():
            tag, old = was.get((pk, task), ("", None))
            tag_after, new = becomes.get((pk, task), ("", None))
            if _decides(old) != _decides(new):
                told.setdefault(
                    (pk, task, old, new), Move(tag or tag_after, pk, task, day, old, new)
                )
    return sorted(told.values(), key=lambda move: (move.tag, move.task, move.on or date.min))


def _asked(day: date | None, scope: Q) -> dict[Key, tuple[str, Asked]]:
    holds = today_q() if day is None else holding(day)
    rows = StoredObligation.objects.filter(holds, scope).select_related("item", "rule__table")
    return {
        (row.item_id, row.task): (
            row.item.tag,
            Asked(
                row.owed, row.rule.rule_id, how_often(row.rule.rule), row.rule.source, row.task_bars
            ),
        )
        for row in rows
    }


def _decides(asked: Asked | None) -> tuple[date | None, str, str] | None:
    return None if asked is None else (asked.due_on, asked.rule, asked.bars)


def _words(asked: Asked | None) -> str:
    return "no rule" if asked is None else f"{asked.rule}, {asked.asks} ({asked.source})"

"""What an item owes as it is stored, and as lists, pages and papers take it.

Its days alone decide its state: whoever shows one asks here, so that a stamp and the
words beside it can't differ.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date
from typing import Protocol, TypeVar

from registry.wording.pure.dates import day_words
from registry.wording.pure.spans import how_far
from servicing.due.pure.event_words import what_settles
from servicing.due.pure.obligations import (
    HAPPENED,
    Candidate,
    Obligation,
    State,
    soon_from,
    state,
)
from servicing.ledger.pure.shoulder import marked_in
from servicing.rules.pure.bars import Bars

BADNESS = (State.OVERDUE, State.UNDETERMINED, State.DUE_SOON, State.CURRENT)
"""The states, the worst first: the order in which words and stamps speak of tasks."""
LATE = frozenset({State.OVERDUE, State.UNDETERMINED})
"""The states in which a task bars what its rule bars."""


class Clock(Protocol):
    """What has a date and stands somehow on a day."""

    @property
    def task(self) -> str: ...
    @property
    def due_on(self) -> date | None: ...

    def state(self, on: date, /) -> State: ...


Dated = TypeVar("Dated", bound=Clock)


@dataclass(frozen=True, slots=True)
class Owed:
    """One task with its days; all None where there is no date.

    due_on: the last good day, or the day of the event or the failure that asks for it.
    soon_on: the first day of its notice. overdue_on: the first day on which it is overdue.
    counted_from: as the engine gives it. event: the task of what happened, if that asks.
    stamped: what is marked on the item of this task, as `Marked.text` has it. stamp_differs:
    whether that is another date than the rules give. bars: what the rule behind the date forbids
    once it is overdue. unwritten: a look of which there is no pass on record.
    """

    task: str
    due_on: date | None
    soon_on: date | None = None
    overdue_on: date | None = None
    counted_from: str = ""
    event: str = ""
    stamped: str = ""
    stamp_differs: bool = False
    bars: Bars = Bars.BOTH
    unwritten: bool = False

    @property
    def stamp_words(self) -> str:
        """What is marked on the item of this task, as it can be read there: 06/2029; or nothing."""
        mark = marked_in(self.stamped)
        return mark.words if mark else ""

    @property
    def happened(self) -> bool:
        """Whether an event or a failure asks for it, so that it has no last good day."""
        return self.counted_from in HAPPENED

    def state(self, on: date) -> State:
        """Return how it stands on a day."""
        return state(on, soon_on=self.soon_on, overdue_on=self.overdue_on)

    def overdue(self, on: date) -> bool:
        """Say whether it is overdue on a day; what has no date is not, but undetermined."""
        return self.state(on) is State.OVERDUE


def over_by(due_on: date | None, counted_from: str, on: date) -> str:
    """Return how long a task is overdue on a day, such as 3 months 2 days over; or nothing.

    What an event or a failure asks for never had a last good day that it could be over.
    """
    if due_on is None or due_on >= on or counted_from in HAPPENED:
        return ""
    return how_far(due_on, on)


def owed_of(obligations: Iterable[Obligation]) -> tuple[Owed, ...]:
    """Return obligations of the engine as what an item owes, each with what can bar behind it."""
    return tuple(owed for o in obligations for owed, _ in answers_of(o))


def answers_of(o: Obligation) -> list[tuple[Owed, Candidate]]:
    """Return what is owed by each answer to a task that can decide, the governing one first."""
    behind = [(owed_by(each), each) for each in o.deciding[1:]]
    return [(owed_one(o), o.governing), *behind]


def owed_one(o: Obligation) -> Owed:
    """Return an obligation of the engine as what an item owes."""
    stamped = o.stamp.text if o.stamp else ""
    differs = o.beside_stamp is not None
    return replace(owed_by(o.governing), stamped=stamped, stamp_differs=differs)


def owed_by(candidate: Candidate) -> Owed:
    """Return one rule's answer as what an item owes."""
    return Owed(
        task=candidate.rule.task,
        due_on=candidate.due_on,
        soon_on=soon_from(candidate.due_on, candidate.rule),
        overdue_on=candidate.overdue_on,
        counted_from=candidate.counted_from or "",
        event=candidate.event,
        bars=candidate.bars,
        unwritten=candidate.unwritten,
    )


Said = TypeVar("Said", bound=Owed)


def for_use(owed: Iterable[Said]) -> list[Said]:
    """Return what decides whether an item may be used: of each task the first that bars it."""
    first: dict[str, Said] = {}
    for each in in_order(owed):
        if Bars(each.bars).use:
            first.setdefault(each.task, each)
    return list(first.values())


def warnings(owed: Iterable[Said], on: date) -> list[Said]:
    """Return what is overdue or undetermined and bars no use, each task once, the worst first.

    A task of which another row bars it by now is no warning any more.
    """
    kept = list(owed)
    barred = {each.task for each in for_use(kept) if each.state(on) in LATE}
    late: dict[str, Said] = {}
    for each in in_order(kept):
        if each.state(on) in LATE and each.task not in barred and not Bars(each.bars).use:
            late.setdefault(each.task, each)
    return worst_first(late.values(), on)


def warning_words(owed: Owed) -> str:
    """Return what a task that bars no use warns of, without a full stop."""
    task = owed.task.replace("-", " ")
    if owed.due_on is None:
        return f"{task} can't be dated, and that only warns: {what_settles(owed.event)}"
    return f"{task} was due on {day_words(owed.due_on)}, and that only warns"


def in_order(owed: Iterable[Said]) -> list[Said]:
    """Return answers in the order in which they govern."""
    return sorted(owed, key=lambda o: (o.due_on or date.min, o.overdue_on or date.min))


def worst_first(owed: Iterable[Dated], on: date) -> list[Dated]:
    """Return tasks by their state on a day, the worst first, and then by date.

    The first of them is the one to speak of: notice can run for a later date already.
    """
    return sorted(owed, key=lambda o: (BADNESS.index(o.state(on)), o.due_on or date.min))

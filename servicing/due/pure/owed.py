"""What an item owes as it is stored, and as lists, pages and papers take it.

Its days alone decide its state: whoever shows one asks here, so that a stamp and the
words beside it can't differ.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Protocol, TypeVar

from registry.wording.pure.spans import how_far
from servicing.due.pure.obligations import HAPPENED, Obligation, State, state
from servicing.ledger.pure.shoulder import marked_in

BADNESS = (State.OVERDUE, State.UNDETERMINED, State.DUE_SOON, State.CURRENT)
"""The states, the worst first: the order in which words and stamps speak of tasks."""
BARS_USE = frozenset({State.OVERDUE, State.UNDETERMINED})
"""The states in which an item is not ready."""


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
    whether that is another date than the rules give.
    """

    task: str
    due_on: date | None
    soon_on: date | None = None
    overdue_on: date | None = None
    counted_from: str = ""
    event: str = ""
    stamped: str = ""
    stamp_differs: bool = False

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
    """Return obligations of the engine as what an item owes."""
    return tuple(owed_one(o) for o in obligations)


def owed_one(o: Obligation) -> Owed:
    """Return an obligation of the engine as what an item owes."""
    return Owed(
        task=o.task,
        due_on=o.due_on,
        soon_on=o.soon_from,
        overdue_on=o.overdue_on,
        counted_from=o.counted_from or "",
        event=o.governing.event,
        stamped=o.stamp.text if o.stamp else "",
        stamp_differs=o.beside_stamp is not None,
    )


def worst_first(owed: Iterable[Dated], on: date) -> list[Dated]:
    """Return tasks by their state on a day, the worst first, and then by date.

    The first of them is the one to speak of: notice can run for a later date already.
    """
    return sorted(owed, key=lambda o: (BADNESS.index(o.state(on)), o.due_on or date.min))

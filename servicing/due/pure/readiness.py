"""Whether a set is ready: the worst of its parts and of its own tasks, with the reason.

Plain values in, frozen values out. No database, no clock: the day is an argument.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from registry.wording.pure.dates import day_words
from registry.wording.pure.spans import how_far
from servicing.due.pure.event_words import undated_words
from servicing.due.pure.happened import not_yet
from servicing.due.pure.obligations import Standing, StandingWord, State
from servicing.due.pure.owed import (
    BADNESS,
    Owed,
    for_use,
    in_order,
    warning_words,
    warnings,
    worst_first,
)

INCOMPLETE = "incomplete"
"""The state of a set that lacks a part, or whose parts do not go together."""

IN_DOUBT = "in-doubt"
"""The state of an item that was measured with an instrument which then failed its calibration."""

WORST: tuple[str, ...] = (
    StandingWord.CONDEMNED,
    StandingWord.OUT_OF_SERVICE,
    INCOMPLETE,
    IN_DOUBT,
    *BADNESS,
)
READY = frozenset({State.DUE_SOON, State.CURRENT})
NOTHING_ASKED = "no rule asks anything of it"
NOTHING_BARS = "nothing that is asked of it bars its use"


@dataclass(frozen=True, slots=True)
class Member:
    """A set itself, or one of its parts, with all it owes. name: such as cylinder C117.

    owed: of each task the answer that governs, and those behind it that can bar.
    doubt: why it is in doubt, in words; empty where it is not.
    """

    name: str
    standing: Standing
    owed: tuple[Owed, ...]
    doubt: str = ""

    def worst(self, on: date, today: date | None = None) -> tuple[str, str]:
        """Return its worst state on a day, and the reason in words.

        today: the day on which they are read; None where they are kept, as on paper.
        """
        if self.standing.word is not StandingWord.IN_SERVICE:
            since = self.standing.since_on
            word = self.standing.word.replace("-", " ")
            return self.standing.word, f"{word}{f' since {day_words(since)}' if since else ''}"
        if self.doubt:
            return IN_DOUBT, self.doubt
        if not self.owed:
            return State.UNDETERMINED, NOTHING_ASKED
        barring = worst_first(for_use(self.owed), on)
        if not barring:
            return State.CURRENT, NOTHING_BARS
        first = barring[0]
        if first.happened and first.overdue(on):
            late = (each for each in barring if each.overdue(on))
            return State.OVERDUE, not_yet((each for each in late if each.happened), today)
        return first.state(on), f"{_plain(first.task)} {_how(first, on)}"

    def first(self, on: date) -> Owed | None:
        """Return the task that decides its state on a day: the worst, of those the earliest.

        Where no task bars its use, the earliest that is asked.
        """
        return next(iter(worst_first(for_use(self.owed), on) or in_order(self.owed)), None)

    def warns(self, on: date) -> list[str]:
        """Return in words what is overdue or undetermined and doesn't bar its use."""
        if self.standing.word is StandingWord.CONDEMNED:
            return []
        return [warning_words(each) for each in warnings(self.owed, on)]


@dataclass(frozen=True, slots=True)
class Readiness:
    """A set's state on a day, a sentence that says it, and every reason, the worst first.

    warns: what is overdue or undetermined by rows that don't bar use, in words.
    """

    state: str
    sentence: str
    reasons: tuple[str, ...]
    warns: tuple[str, ...] = ()

    @property
    def ready(self) -> bool:
        """Whether somebody may breathe from it. What is not known is not ready."""
        return self.state in READY


def readiness(
    own: Member,
    parts: Sequence[Member],
    faults: Iterable[str],
    on: date,
    today: date | None = None,
) -> Readiness:
    """Return whether a set is ready on a day.

    own: the set itself; its name is its tag. faults: what is missing, or does not go
    together, in words. today: the day on which it is read; None where it is kept.
    """
    found = [(INCOMPLETE, fault) for fault in faults]
    warns: list[str] = []
    for member in (own, *parts):
        word, why = member.worst(on, today)
        whose = "" if member is own else f"{member.name}: "
        found.append((word, f"{whose}{why}"))
        warns += [f"{whose}{said}" for said in member.warns(on)]
    found.sort(key=lambda pair: WORST.index(pair[0]))
    worst = found[0][0]
    bad = tuple(why for word, why in found if word not in READY)
    if bad:
        return Readiness(worst, f"{own.name} is not ready: {bad[0]}.", bad, tuple(warns))
    sentence = f"{own.name} is ready. {_next(own, parts, worst, on)}"
    return Readiness(worst, sentence.strip(), (), tuple(warns))


def _next(own: Member, parts: Sequence[Member], worst: str, on: date) -> str:
    """Say what comes next of a ready set: what is due soon goes before what is earlier.

    Nothing, where no date is ahead: all that is asked only warns.
    """
    dated = [
        (each.due_on, m, each)
        for m in (own, *parts)
        for each in m.owed
        if each.due_on and not each.overdue(on)
    ]
    soon = [row for row in dated if row[2].state(on) is State.DUE_SOON]
    ahead = soon if worst == State.DUE_SOON else dated
    if not ahead:
        return ""
    due_on, member, owed = min(ahead, key=lambda row: row[0])
    whose = "" if member is own else f"{member.name}: "
    word = "Due soon" if worst == State.DUE_SOON else "First due"
    return f"{word}: {whose}{_plain(owed.task)} by {day_words(due_on)} ({how_far(due_on, on)})."


def _how(owed: Owed, on: date) -> str:
    word = owed.state(on)
    if word is State.OVERDUE and owed.due_on:
        return f"is overdue, it was due on {day_words(owed.due_on)}: {how_far(owed.due_on, on)}"
    if owed.due_on is None:
        return f"can't be dated: {undated_words(owed.event)}"
    return f"is due on {day_words(owed.due_on)} ({how_far(owed.due_on, on)})"


def _plain(task: str) -> str:
    return task.replace("-", " ")

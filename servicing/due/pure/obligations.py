"""What an item owes on a day, and by which rule: what due/README says, and nothing else.

Plain values in, frozen values out. No database, no clock: the day is an argument.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from functools import reduce
from operator import or_

from servicing.due.pure.barring import deciding
from servicing.due.pure.counting import (
    HAPPENED,
    Candidate,
    CountedFrom,
    How,
    Item,
    answer_of,
)
from servicing.due.pure.history import CONDEMNED, FAIL, PASS, History, Record
from servicing.ledger.pure.shoulder import Marked
from servicing.rules.pure.bars import Bars
from servicing.rules.pure.durations import subtract
from servicing.rules.pure.rule import SERVICE_LIFE, Rule
from servicing.rules.pure.tasks import TAKES_OUT

__all__ = [
    "CONDEMNED",
    "FAIL",
    "HAPPENED",
    "PASS",
    "Candidate",
    "CountedFrom",
    "History",
    "How",
    "Item",
    "Obligation",
    "Record",
    "Standing",
    "StandingWord",
    "State",
    "asked",
    "capped",
    "life_end",
    "obligations",
    "situation",
    "soon_from",
    "standing",
    "state",
    "within_life",
]


class State(StrEnum):
    """How an obligation stands on a day (due/README 7)."""

    UNDETERMINED = "undetermined"
    OVERDUE = "overdue"
    DUE_SOON = "due-soon"
    CURRENT = "current"


class StandingWord(StrEnum):
    """Whether an item may be used at all (due/README 6)."""

    IN_SERVICE = "in-service"
    OUT_OF_SERVICE = "out-of-service"
    CONDEMNED = "condemned"


@dataclass(frozen=True, slots=True)
class Obligation:
    """One task an item owes. `candidates` are in order; the first one governs."""

    task: str
    candidates: tuple[Candidate, ...]

    @property
    def governing(self) -> Candidate:
        """The candidate that decides the date."""
        return self.candidates[0]

    @property
    def deciding(self) -> tuple[Candidate, ...]:
        """The governing candidate, then those behind it that can bar what it doesn't.

        The date that is shown is the earliest; but a row that only warns, or one that may be
        excused (`barring`), never hides a later one that bars.
        """
        return deciding(self.candidates)

    @property
    def bars(self) -> Bars:
        """What its rows forbid between them."""
        return reduce(or_, (each.bars for each in self.candidates))

    @property
    def due_on(self) -> date | None:
        """The last good day, or None where it can't be determined.

        What an event or a failure asks for has none: then it is the day on which it happened.
        """
        return self.governing.due_on

    @property
    def overdue_on(self) -> date | None:
        """The first day on which it is overdue; None where there is no date."""
        return self.governing.overdue_on

    @property
    def rule(self) -> Rule:
        """The rule that decides the date."""
        return self.governing.rule

    @property
    def counted_from(self) -> CountedFrom | None:
        """What the date was counted from; None where there is no date."""
        return self.governing.counted_from

    @property
    def basis_on(self) -> date | None:
        """The day the date was counted from."""
        return self.governing.basis_on

    @property
    def stamp(self) -> Marked | None:
        """What is marked on the item of this task; None where nothing is."""
        return next((c.stamp for c in self.candidates if c.stamp), None)

    @property
    def beside_stamp(self) -> Candidate | None:
        """The earliest answer of a rule alone where it is not what is marked; None if it agrees.

        And None where there is nothing to hold the mark against: no rule has a date, or it failed.
        """
        marked = [c for c in self.candidates if c.stamp and c.counted_from not in HAPPENED]
        alone = [own for c in marked if (own := c.by_rule) and own.due_on]
        first = min(alone, key=lambda c: c.order, default=None)
        if first is None or first.due_on is None or self.stamp is None:
            return None
        return None if self.stamp.means(first.due_on) else first

    @property
    def soon_from(self) -> date | None:
        """The first day on which it counts as due soon."""
        return soon_from(self.due_on, self.rule)

    def state(self, on: date) -> State:
        """Return how it stands on a day."""
        return state(on, soon_on=self.soon_from, overdue_on=self.overdue_on)


@dataclass(frozen=True, slots=True)
class Standing:
    """Whether the item may be used: the word, since when, and the task that decided it."""

    word: StandingWord
    since_on: date | None = None
    task: str = ""


def soon_from(due_on: date | None, rule: Rule) -> date | None:
    """Return the first day of a rule's notice before a due date."""
    return None if due_on is None else subtract(due_on, rule.notice)


def state(on: date, *, soon_on: date | None, overdue_on: date | None) -> State:
    """Return the state on a day, by the first days of its notice and of its being overdue."""
    if soon_on is None or overdue_on is None:
        return State.UNDETERMINED
    if on >= overdue_on:
        return State.OVERDUE
    return State.DUE_SOON if on >= soon_on else State.CURRENT


def obligations(
    item: Item, records: Iterable[Record], rules: Iterable[Rule], on: date
) -> tuple[Obligation, ...]:
    """Return what the item owes on a day, the earliest first.

    records: in the order entered; those after `on` don't exist yet. rules: of the
    tables adopted by the item's site on `on`; validity and match are decided here.
    """
    return capped(asked(item, records, rules, on))


def asked(
    item: Item, records: Iterable[Record], rules: Iterable[Rule], on: date
) -> tuple[Obligation, ...]:
    """Return what the rules ask, before the end of service life drops what falls after it."""
    return _asked(item, History(records, on), _in_force(item, rules, on), on)


def standing(item: Item, records: Iterable[Record], rules: Iterable[Rule], on: date) -> Standing:
    """Return whether the item may be used on a day, as the ledger has it.

    A failure takes it out of service until a pass of that task, or of one that
    satisfies it by a rule of this item; a withdrawal or a quarantine until it is
    returned. The earliest of what holds it back decides.
    """
    return _standing(History(records, on), _in_force(item, rules, on))


def situation(
    item: Item, records: Iterable[Record], rules: Iterable[Rule], on: date
) -> tuple[Standing, tuple[Obligation, ...]]:
    """Return `standing` and `obligations` of one day together, for the price of one."""
    history, in_force = History(records, on), _in_force(item, rules, on)
    return _standing(history, in_force), capped(_asked(item, history, in_force, on))


def capped(owed: Sequence[Obligation]) -> tuple[Obligation, ...]:
    """Return the obligations that fall before the end of service life, and that end."""
    end = life_end(owed)
    return tuple(o for o in owed if within_life(o.governing, end))


def life_end(owed: Iterable[Obligation]) -> Candidate | None:
    """Return what decides the end of service life, or None where nothing limits it."""
    return next((o.governing for o in owed if o.task == SERVICE_LIFE), None)


def within_life(candidate: Candidate, end: Candidate | None) -> bool:
    """Say whether something falls due before the end of service life, or is that end.

    What happens on the last day of its life stays: it makes the item not ready on that day.
    """
    if end is None or end.due_on is None or end.overdue_on is None:
        return True
    if candidate.rule.task == SERVICE_LIFE:
        return True
    if candidate.due_on is None or candidate.overdue_on is None:
        return True
    return candidate.due_on < end.due_on or candidate.overdue_on < end.overdue_on


def _in_force(item: Item, rules: Iterable[Rule], on: date) -> list[Rule]:
    return [rule for rule in rules if rule.in_force(on) and rule.matches(item.attributes)]


def _asked(item: Item, history: History, rules: Iterable[Rule], on: date) -> tuple[Obligation, ...]:
    start = item.made_on or item.in_service_on
    if history.condemned is not None or (start is not None and start > on):
        return ()
    found: dict[str, list[Candidate]] = defaultdict(list)
    for rule in rules:
        candidate = answer_of(rule, item, history)
        if candidate is not None:
            found[rule.task].append(candidate)
    owed = [
        Obligation(task, tuple(sorted(candidates, key=lambda c: c.order)))
        for task, candidates in found.items()
    ]
    return tuple(sorted(owed, key=lambda o: (o.due_on or date.min, o.task)))


def _standing(history: History, rules: Iterable[Rule]) -> Standing:
    if history.condemned is not None:
        decided = history.condemned
        return Standing(StandingWord.CONDEMNED, decided.done_on, decided.task)
    passes: dict[str, set[str]] = defaultdict(set)
    for rule in rules:
        passes[rule.task] |= rule.passes
    failures = (
        history.failure_since(history.last_pass({task} | passes[task]), task)
        for task in history.by_task
        if task not in TAKES_OUT
    )
    holding = [record for record in (history.taken_out(), *failures) if record]
    if not holding:
        return Standing(StandingWord.IN_SERVICE)
    first = min(holding, key=lambda record: record.done_on)
    return Standing(StandingWord.OUT_OF_SERVICE, first.done_on, first.task)

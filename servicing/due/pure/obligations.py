"""What an item owes on a day, and by which rule: design.md section 4, and nothing else.

Plain values in, frozen values out. No database, no clock: the day is an argument.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from enum import StrEnum

from servicing.rules.pure.durations import (
    Duration,
    add,
    end_of_next_period,
    month_end,
    subtract,
)
from servicing.rules.pure.rule import LEVEL_ORDER, SERVICE_LIFE, Attributes, Basis, Rule
from servicing.rules.pure.tasks import RETURN, TAKES_OUT

PASS, FAIL, CONDEMNED = "pass", "fail", "condemned"


class CountedFrom(StrEnum):
    """What a due date was counted from (design.md 4.9)."""

    RECORD = "record"
    MADE = "made"
    IN_SERVICE = "in-service"
    AT_ONCE = "at-once"
    PART_MADE = "part-made"
    EVENT = "event"
    FAILURE = "failure"
    DUE_DATE = "due-date"  # the date a late pass was late for, where the rule counts back to it


HAPPENED = frozenset({CountedFrom.EVENT, CountedFrom.FAILURE})
"""What is asked for because something happened has no last good day (design.md 4.7)."""


class State(StrEnum):
    """How an obligation stands on a day (design.md 4.7)."""

    UNDETERMINED = "undetermined"
    OVERDUE = "overdue"
    DUE_SOON = "due-soon"
    CURRENT = "current"


class StandingWord(StrEnum):
    """Whether an item may be used at all (design.md section 2)."""

    IN_SERVICE = "in-service"
    OUT_OF_SERVICE = "out-of-service"
    CONDEMNED = "condemned"


@dataclass(frozen=True, slots=True)
class Item:
    """What the engine needs to know of an item.

    made_on: the day it was made; the first of the month where only the month is
    known. None where nobody knows; the same for in_service_on.
    """

    attributes: Attributes
    made_on: date | None
    in_service_on: date | None


@dataclass(frozen=True, slots=True)
class Record:
    """One thing that happened to an item. `outcome` is pass, fail or condemned."""

    task: str
    done_on: date
    outcome: str
    part_made_on: date | None = None


@dataclass(frozen=True, slots=True)
class Candidate:
    """One rule's answer for one item: the date and where it comes from.

    due_on is None where there is nothing to count from, and then so are the others.
    late_on: the day of the late pass where it counts from a DUE_DATE, else None.
    event: the task of the record where it counts from an EVENT, else empty.
    """

    rule: Rule
    due_on: date | None
    counted_from: CountedFrom | None
    basis_on: date | None
    late_on: date | None = None
    event: str = ""

    @property
    def overdue_on(self) -> date | None:
        """The first day on which it is overdue; None where there is no date.

        That of the event or the failure itself, else the day after the due date, which is
        the last good day (design.md 4.7).
        """
        if self.due_on is None or self.counted_from in HAPPENED:
            return self.due_on
        return self.due_on + timedelta(days=1)

    @property
    def order(self) -> tuple[date, date, int, str]:
        """The order in which candidates govern: earliest, then level, then the rule's id.

        A date that can't be determined might be past already, so it comes first. Of one
        date, what is overdue on the day itself goes before what still has that day.
        """
        due_on, overdue_on = self.due_on or date.min, self.overdue_on or date.min
        return due_on, overdue_on, LEVEL_ORDER[self.rule.level], self.rule.id


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


class History:
    """An item's records up to a day, in order, with the questions rules ask of them.

    Positions count from 0; -1 stands for before everything.
    """

    def __init__(self, records: Iterable[Record], on: date) -> None:
        # sorted() keeps the order entered among records of one day (design.md 4.2).
        done = sorted((r for r in records if r.done_on <= on), key=lambda r: r.done_on)
        self.by_task: dict[str, list[tuple[int, Record]]] = defaultdict(list)
        self.last_passes: dict[str, int] = {}
        self.condemned: Record | None = None
        self.records = done
        for position, record in enumerate(done):
            self.by_task[record.task].append((position, record))
            if record.outcome == PASS:
                self.last_passes[record.task] = position
            elif record.outcome == CONDEMNED and self.condemned is None:
                self.condemned = record

    def last_pass(self, tasks: Iterable[str]) -> int:
        """Return the position of the latest pass of any of the tasks, or -1."""
        return max((self.last_passes.get(task, -1) for task in tasks), default=-1)

    def pass_days(self, tasks: Iterable[str]) -> list[date]:
        """Return the days on which any of the tasks was passed, each once, in order."""
        done = (record for task in tasks for _, record in self.by_task.get(task, ()))
        return sorted({record.done_on for record in done if record.outcome == PASS})

    def since(self, position: int, tasks: Iterable[str]) -> list[Record]:
        """Return the records of the tasks after a position, in order."""
        found = [
            entry for task in tasks for entry in self.by_task.get(task, ()) if entry[0] > position
        ]
        return [record for _, record in sorted(found, key=lambda entry: entry[0])]

    def failure_since(self, position: int, task: str) -> Record | None:
        """Return the first failure of a task after a position: it has been due since then."""
        return next((r for r in self.since(position, (task,)) if r.outcome == FAIL), None)

    def taken_out(self) -> Record | None:
        """Return the first withdrawal or quarantine since the last return to service."""
        return next(iter(self.since(self.last_pass((RETURN,)), TAKES_OUT)), None)


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
        candidate = _with_failure(rule, history, _candidate(rule, item, history))
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


def _with_failure(rule: Rule, history: History, candidate: Candidate | None) -> Candidate | None:
    """Return the candidate, or the failure that made the task due before it.

    A date that was past already stays: failing never makes anybody less late.
    """
    if rule.life_as_marked and candidate is None:
        return None  # not limited: there is no life that could fail
    failure = history.failure_since(history.last_pass(rule.passes), rule.task)
    if failure is None:
        return candidate
    if candidate and candidate.due_on and candidate.due_on < failure.done_on:
        return candidate
    return Candidate(rule, failure.done_on, CountedFrom.FAILURE, failure.done_on)


def _candidate(rule: Rule, item: Item, history: History) -> Candidate | None:
    """Return a rule's answer, or None where it asks nothing yet."""
    if rule.is_life:
        return _life(rule, item)
    last = history.last_pass(rule.passes)
    if rule.after:
        events = history.since(last, rule.after)
        return _event(rule, events[0]) if events else None
    if rule.counts:
        # A life counts since ever: no pass makes a cylinder younger.
        counted = history.since(-1 if rule.task == SERVICE_LIFE else last, (rule.counts,))
        return _event(rule, counted[rule.limit - 1]) if len(counted) >= rule.limit else None
    if rule.late_counts_back is not None:
        return _counting_back(rule, item, history.pass_days(rule.passes))
    return _first(rule, item) if last < 0 else _since(rule, history.records[last])


def _since(rule: Rule, record: Record) -> Candidate:
    if rule.counted_from is Basis.PART_MADE and record.part_made_on is not None:
        return _periodic(rule, CountedFrom.PART_MADE, record.part_made_on)
    return _periodic(rule, CountedFrom.RECORD, record.done_on)


def _event(rule: Rule, record: Record) -> Candidate:
    day = record.done_on
    return Candidate(rule, day, CountedFrom.EVENT, day, event=record.task)


def _first(rule: Rule, item: Item) -> Candidate:
    """Return a rule's answer for an item that has no record of the task."""
    counted_from, basis = _birth(rule, item)
    if basis is None:
        return Candidate(rule, None, None, None)
    if rule.counted_from is Basis.AT_ONCE:
        return Candidate(rule, basis, CountedFrom.AT_ONCE, basis)
    return _periodic(rule, counted_from, basis)


def _counting_back(rule: Rule, item: Item, days: Iterable[date]) -> Candidate:
    """Return the answer of a row where a late pass counts from the date it was late for.

    Late is after that date, up to the end of the month that `late` leads to; what comes
    earlier or later counts from itself. Each date rests on the one before it, so all passes
    are gone through from the first on; those of one day are one.
    """
    answer = _first(rule, item)
    for day in days:
        answer = after_pass(rule, day, gave=answer.due_on)
    return answer


def after_pass(rule: Rule, day: date, *, gave: date | None) -> Candidate:
    """Return the answer of a periodic row after a pass on a day, without a date of the part.

    gave: the date that the row gave before; a late pass may count from it.
    """
    late = rule.late_counts_back
    if late is not None and gave is not None and gave < day <= month_end(add(gave, late)):
        return replace(_periodic(rule, CountedFrom.DUE_DATE, gave), late_on=day)
    return _periodic(rule, CountedFrom.RECORD, day)


def _birth(rule: Rule, item: Item) -> tuple[CountedFrom, date | None]:
    """Return the day an item's first period counts from.

    An unknown in-service day gives way to the made date, which is earlier and so safe.
    """
    wants_in_service = rule.counted_from in (Basis.IN_SERVICE, Basis.AT_ONCE)
    if wants_in_service and item.in_service_on is not None:
        return CountedFrom.IN_SERVICE, item.in_service_on
    return CountedFrom.MADE, item.made_on


def _periodic(rule: Rule, counted_from: CountedFrom, basis: date) -> Candidate:
    if rule.calendar:
        due = end_of_next_period(basis, rule.calendar)
    else:
        assert rule.every is not None  # noqa: S101 (the table's schema: a row has one form)
        due = add(basis, rule.every)
    return Candidate(rule, month_end(due) if rule.month_end else due, counted_from, basis)


def _life(rule: Rule, item: Item) -> Candidate | None:
    """Return the end of service life; None where the life is not limited."""
    life = rule.life or _marked_life(item)
    if life is None:
        return None
    counted_from, basis = _birth(rule, item)
    if basis is None:
        return Candidate(rule, None, None, None)
    due = add(basis, life)
    return Candidate(rule, month_end(due) if rule.month_end else due, counted_from, basis)


def _marked_life(item: Item) -> Duration | None:
    years = item.attributes.get("design_life_years")
    return None if years is None else Duration(months=12 * int(str(years)))

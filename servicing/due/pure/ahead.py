"""The work ahead: every time a task will come due, if each is done on its date (due/README 12).

The rules stand still as they are on the first day. What is overdue or undetermined then is
taken to be done on that day, everything else on its due date, so that each pass also moves
what it satisfies. What an event or a failure asks for comes once, for nobody knows the events
to come; nothing comes on or after the end of service life but that end itself, and what
happened on its last day (`within_life`).
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from servicing.due.pure.counting import after_pass
from servicing.due.pure.obligations import (
    HAPPENED,
    PASS,
    Candidate,
    CountedFrom,
    History,
    Item,
    Obligation,
    Record,
    asked,
    life_end,
    within_life,
)
from servicing.rules.pure.rule import SERVICE_LIFE, Rule
from servicing.rules.pure.tasks import TAKES_OUT

ASSUMPTION = (
    "Each task is counted every time it will come due, taking each to be done on its due date and "
    "what is overdue or undetermined today; by the rules as they stand, up to the end of service "
    "life. What an event asks for is counted once."
)

Running = dict[str, Candidate]
"""The answers of a task's rules, by the rule's id."""


@dataclass(frozen=True, slots=True)
class Coming:
    """One time that a task will come due.

    on: the day it is counted on: the due date, or the first day where that is past or can't be
    determined. done_on: the day on which the task is taken to be passed before; None for what
    is owed as things stand.
    """

    on: date
    task: str
    candidate: Candidate
    done_on: date | None


@dataclass(frozen=True, slots=True)
class Known:
    """What rows with a clock of their own ask beside the dates (servicing/rules/pure/clocks.py).

    gave: their answers before any failure, by the rule's id.
    """

    history: History
    gave: Mapping[str, Candidate]


class Rounds:
    """What a pass moves, among rules that match an item. The same for all items of those rules."""

    def __init__(self, rules: Iterable[Rule], on: date) -> None:
        self.rules = {rule.id: rule for rule in rules if rule.in_force(on)}
        self.moved: dict[str, list[Rule]] = defaultdict(list)
        passes: dict[str, set[frozenset[str]]] = defaultdict(set)
        for rule in self.rules.values():
            if rule.task == SERVICE_LIFE:
                continue  # no pass makes an item younger
            for task in rule.passes:
                self.moved[task].append(rule)
            if not _of_event(rule):
                passes[rule.task].add(rule.passes)
        self.alike = all(len(each) == 1 for each in passes.values())
        self.late = {r.task for r in self.rules.values() if r.clock.late}
        self.early = {r.task for r in self.rules.values() if r.clock.early}

    def told_by_first(self, owed: Iterable[Obligation], on: date) -> bool:
        """Say whether `ahead` needs no more than the candidates that govern on the day.

        It doesn't where a pass moves one row of a task and not another, for that one may govern
        then; nor where a late or an early pass may count from a date that another row hides.
        """
        return self.alike and not any(
            (o.task in self.late and (o.due_on or on) <= on)
            or (o.task in self.early and self._hides(o))
            for o in owed
        )

    def _hides(self, owed: Obligation) -> bool:
        """Say whether rows with a period stand behind the candidate that governs a task."""
        others = (r for r in self.rules.values() if r.task == owed.task and not _of_event(r))
        hidden = owed.counted_from in HAPPENED or owed.counted_from is CountedFrom.STAMP
        return hidden or any(r.id != owed.rule.id for r in others)


def ahead_of(
    item: Item, records: Sequence[Record], rules: Iterable[Rule], on: date, until: date
) -> list[Coming]:
    """Return every time a task of an item will come due from a day on until another, in order.

    records and rules: as `obligations` takes them.
    """
    matching = [rule for rule in rules if rule.matches(item.attributes)]
    owed = asked(item, records, matching, on)
    chained = [rule for rule in matching if rule.clock.chained]
    passes = [record for record in records if record.outcome == PASS or record.task in TAKES_OUT]
    without_failures = asked(item, passes, chained, on) if chained else ()
    gave = {c.rule.id: c for o in without_failures for c in o.candidates}
    return ahead(owed, Rounds(matching, on), on, until, Known(History(records, on), gave))


def ahead(
    owed: Sequence[Obligation],
    rounds: Rounds,
    on: date,
    until: date,
    known: Known | None = None,
) -> list[Coming]:
    """Return every time a task will come due from a day on until another, in order.

    owed: on that day; with all candidates, or with the governing ones alone where
    `told_by_first` says that they are enough; then nothing else needs to be known.
    """
    running: dict[str, Running] = {o.task: {c.rule.id: c for c in o.candidates} for o in owed}
    done: dict[str, date] = {}
    end = life_end(owed)
    first = {o.task: o.governing for o in owed if within_life(o.governing, end)}
    found: list[Coming] = []
    day = on
    while first:
        day = max(day, min(candidate.due_on or on for candidate in first.values()))
        if day > until:
            break
        now = [task for task, candidate in first.items() if (candidate.due_on or on) <= day]
        for task in sorted(now):
            candidate = first.pop(task)
            found.append(Coming(day, task, candidate, done.get(candidate.rule.id)))
        moved = {rule.id: rule for task in now for rule in rounds.moved.get(task, ())}
        for rule in moved.values():
            if rule.task in running:
                _pass(rule, running[rule.task], day, known)
                done[rule.id] = day
        for task in {rule.task for rule in moved.values()} & running.keys():
            first.pop(task, None)
            first.update(_governing(task, running[task], end))
        day += timedelta(days=1)  # a task is done once a day at the most
    return found


def _of_event(rule: Rule) -> bool:
    return bool(rule.after or rule.counts)


def _pass(rule: Rule, answers: Running, day: date, known: Known | None) -> None:
    """Put a rule's answer after a pass in the place of the one before it."""
    old = answers.pop(rule.id, None)
    if _of_event(rule):
        return
    if known is None:
        answers[rule.id] = after_pass(rule, day, old)
        return
    before = old
    if old is not None and old.counted_from is CountedFrom.FAILURE:
        before = known.gave.get(rule.id)
    answers[rule.id] = after_pass(rule, day, before and before.by_rule, known.history)


def _governing(
    task: str, answers: Running, end: Candidate | None
) -> Iterator[tuple[str, Candidate]]:
    if answers:
        candidate = min(answers.values(), key=lambda each: each.order)
        if within_life(candidate, end):
            yield task, candidate

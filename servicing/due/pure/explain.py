"""Why a date is what it is: every candidate, in words a person can check with a calendar."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from registry.wording.pure.dates import day_words
from registry.wording.pure.spans import how_many
from servicing.due.pure.event_words import event_words, undated_words
from servicing.due.pure.obligations import (
    HAPPENED,
    Candidate,
    CountedFrom,
    How,
    Item,
    Obligation,
    Record,
    asked,
    capped,
)
from servicing.rules.pure.clocks import Clock, Start
from servicing.rules.pure.durations import Duration
from servicing.rules.pure.rule import Rule

_WORDS = {
    CountedFrom.RECORD: "last passed",
    CountedFrom.MADE: "made",
    CountedFrom.IN_SERVICE: "in service",
    CountedFrom.PART_MADE: "part made",
}

_NO_SUM = frozenset({*HAPPENED, CountedFrom.AT_ONCE, CountedFrom.STAMP})
OTHER_START = {
    Start.RECORD: "the last pass",
    Start.MADE: "the made date at first",
    Start.IN_SERVICE: "the day it was put in service at first",
}


@dataclass(frozen=True, slots=True)
class Explained:
    """A task with all its candidates; `dropped` where the end of service life comes first."""

    obligation: Obligation
    dropped: bool


def explain(
    item: Item, records: Iterable[Record], rules: Iterable[Rule], on: date
) -> tuple[Explained, ...]:
    """Return every task the rules ask of an item on a day, the dropped ones too."""
    owed = asked(item, records, rules, on)
    kept = capped(owed)
    return tuple(Explained(obligation, obligation not in kept) for obligation in owed)


def duration_words(span: Duration) -> str:
    """Return a span in words, such as 2 years 6 months or 14 days."""
    years, months = divmod(span.months, 12)
    weeks, days = divmod(span.days, 7)
    if days:
        weeks, days = 0, span.days
    parts = ((years, "year"), (months, "month"), (weeks, "week"), (days, "day"))
    return " ".join(how_many(n, word) for n, word in parts if n)


def how_often(rule: Rule) -> str:
    """Return what a rule asks, in words."""
    if rule.every:
        return f"every {duration_words(rule.every)}{clock_words(rule.clock)}"
    if rule.calendar:
        return f"once in each calendar {rule.calendar}"
    if rule.after:
        return f"after {' or '.join(rule.after)}"
    if rule.counts:
        return f"at the {_ordinal(rule.limit)} {rule.counts}"
    if rule.life:
        return f"service life {duration_words(rule.life)}"
    return "service life as marked on the item"


def clock_words(clock: Clock) -> str:
    """Return in brackets how a row counts otherwise than from the last pass; or nothing."""
    said = []
    if clock.late:
        unless = ", unless out of service on it" if clock.late.unless_out else ""
        said.append(f"a late pass: from the due date{unless}")
    if clock.early:
        said.append(f"up to {duration_words(clock.early.within)} early: from the due date too")
    if clock.start:
        said.append("from the end of the month before the stamped one")
    if clock.other:
        start = OTHER_START[clock.other.start]
        which = "later" if clock.other.later else "sooner"
        period = duration_words(clock.other.every)
        said.append(f"or {period} from {start}, whichever is the {which}")
    if clock.hours:
        said.append(f"or at {clock.hours.limit} hours run, whichever is the sooner")
    return f" ({'; '.join(said)})" if said else ""


def arithmetic(candidate: Candidate) -> str:
    """Return how a candidate's date came about, step by step, and what the meter said of it."""
    said = _sum(candidate)
    hours, run = candidate.rule.clock.hours, candidate.run
    if hours is None or run is None or run.hours is None or run.read_on is None:
        return said
    read = f"by its meter on {day_words(run.read_on)}"
    return f"{said}; {run.hours.normalize():f} of {hours.limit} hours run {read}{_by(hours.clause)}"


def _sum(candidate: Candidate) -> str:
    rule, due, basis = candidate.rule, candidate.due_on, candidate.basis_on
    if due is None or basis is None or candidate.counted_from is None:
        return f"{how_often(rule)}: {_nothing_to_count_from(candidate)}"
    if candidate.counted_from in _NO_SUM:
        return _told(candidate, basis)
    start = _start(candidate, basis)
    if rule.calendar:
        return f"{start}, due by the end of the next calendar {rule.calendar}: {day_words(due)}"
    span = rule.every or rule.life
    if candidate.how is How.OTHER and rule.clock.other:
        span = rule.clock.other.every
    plus = duration_words(span) if span else f"{due.year - basis.year} years as marked"
    end = f"end of month {day_words(due)}{_by(rule.clock.due_clause)}"
    return f"{start} + {plus} = {end if rule.month_end else day_words(due)}{_of_two(candidate)}"


def _nothing_to_count_from(candidate: Candidate) -> str:
    """Return why a candidate has no date, and what the meter has to do with it."""
    if not candidate.event:
        return "nothing to count from, no record and no made date"
    said = undated_words(candidate.event)
    if candidate.run and candidate.run.back and candidate.run.read_on:
        return f"{said}: its meter showed less on {day_words(candidate.run.read_on)} than before"
    return f"{said}: its meter was not read then or before"


def _told(candidate: Candidate, basis: date) -> str:
    """Return where a date comes from that is no sum of a day and a period."""
    if candidate.counted_from is CountedFrom.STAMP:
        return _stamped(candidate, basis)
    if candidate.counted_from is CountedFrom.FAILURE:
        return f"failed on {day_words(basis)}: due since that day"
    if candidate.counted_from is CountedFrom.AT_ONCE:
        return f"no record yet: due from the first day, {day_words(basis)}"
    said = f"{event_words(candidate.event)} on {day_words(basis)}"
    return f"{how_often(candidate.rule)}: {said}, due since that day"


def difference(owed: Obligation) -> str:
    """Return what is marked and what a rule alone gives, with both reasons; nothing if they agree.

    Of several rules the one that alone would go first (due/README 14).
    """
    own, mark = owed.beside_stamp, owed.stamp
    if own is None or mark is None or own.due_on is None:
        return ""
    sooner = "stamp" if mark.last < own.due_on else "rule"
    by = f"{day_words(own.due_on)} ({arithmetic(own)}; {own.rule.source})"
    return (
        f"Stamped on it: {mark.words}. By rule {own.rule.id}: {by}. "
        f"Of the two the earlier counts: the {sooner}."
    )


def _stamped(candidate: Candidate, basis: date) -> str:
    """Return what is marked on the item, since when, and what the rule alone would give."""
    what = "end of life" if candidate.rule.is_life else "next test"
    mark = candidate.stamp.words if candidate.stamp else ""
    good = day_words(candidate.due_on) if candidate.due_on else ""
    said = f"stamped on it when tested on {day_words(basis)}: {what} {mark}"
    through = f", good through {good}" if good != mark else ""
    alone = f"; the rule alone: {arithmetic(candidate.own)}" if candidate.own else ""
    return f"{said}{through}{alone}"


def _start(candidate: Candidate, basis: date) -> str:
    """Return what a date was counted from, and by which clause where a clock says so."""
    counted_from = candidate.counted_from
    if counted_from is CountedFrom.DUE_DATE:
        return f"{_passed(candidate)}from the due date {day_words(basis)}{_clause(candidate)}"
    start = f"{_WORDS[counted_from]} {day_words(basis)}" if counted_from else ""
    beside = day_words(candidate.beside_on) if candidate.beside_on else ""
    if candidate.how is How.OUT:
        why = f"it was out of service on the due date {beside}"
        return f"{start}: from the pass, for {why}{_clause(candidate)}"
    if candidate.how is How.UNTOLD:
        why = f"after the first due date {beside} there may be passes that were not entered"
        return f"{start}: from the pass, for {why}{_clause(candidate)}"
    runs = candidate.rule.clock.start
    if runs and candidate.how is not How.OTHER:
        counted = ", that day counted" if runs.counted else ""
        before = day_words(basis.replace(day=1) - timedelta(days=1))
        return f"{start}: from the end of the month before, {before}{counted}{_by(runs.clause)}"
    return start


def _passed(candidate: Candidate) -> str:
    """Return how the pass lay to the due date; nothing where only the store is asked."""
    if candidate.beside_on is None:
        return ""
    day, early = day_words(candidate.beside_on), candidate.rule.clock.early
    if candidate.how is How.EARLY and early:
        return f"passed on {day}, no more than {duration_words(early.within)} early: "
    return f"passed late on {day}: "


def _clause(candidate: Candidate) -> str:
    """Return the clause by which a pass counts from a due date, or not from it."""
    clock = candidate.rule.clock
    form = clock.early if candidate.how is How.EARLY else clock.late
    return _by(form.clause) if form else ""


def _of_two(candidate: Candidate) -> str:
    """Return which of two clocks gave the date, where the row has two."""
    other = candidate.rule.clock.other
    passed = candidate.counted_from in (CountedFrom.RECORD, CountedFrom.DUE_DATE)
    if other is None or (passed and other.start is not Start.RECORD):
        return ""
    return f", the {'later' if other.later else 'sooner'} of two clocks{_by(other.clause)}"


def _by(clause: str) -> str:
    return f" ({clause})" if clause else ""


def _ordinal(number: int) -> str:
    teens = number % 100 in (11, 12, 13)
    return f"{number}{'th' if teens else {1: 'st', 2: 'nd', 3: 'rd'}.get(number % 10, 'th')}"

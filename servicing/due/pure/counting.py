"""One rule's answer for one item: the date, what it was counted from, and how.

Plain values in, frozen values out. No database, no clock: the day is an argument.
"""

from dataclasses import dataclass, replace
from datetime import date, timedelta
from enum import StrEnum

from servicing.due.pure.history import History, Record
from servicing.due.pure.hours import Run, run_since
from servicing.ledger.pure.meter import HOURS_RUN
from servicing.ledger.pure.shoulder import Marked
from servicing.rules.pure.bars import Bars
from servicing.rules.pure.clocks import Other, Start
from servicing.rules.pure.durations import Duration, add, end_of_next_period, month_end, subtract
from servicing.rules.pure.rule import LEVEL_ORDER, SERVICE_LIFE, Attributes, Basis, Rule
from servicing.rules.pure.tasks import LOOKS

ONE_DAY = timedelta(days=1)


class CountedFrom(StrEnum):
    """What a due date was counted from (due/README 9)."""

    RECORD = "record"
    MADE = "made"
    IN_SERVICE = "in-service"
    AT_ONCE = "at-once"
    PART_MADE = "part-made"
    EVENT = "event"
    FAILURE = "failure"
    DUE_DATE = "due-date"  # the date a pass was late or early for, where the rule counts from it
    STAMP = "stamp"  # nothing: it is marked on the item, and the basis is the day of the mark


HAPPENED = frozenset({CountedFrom.EVENT, CountedFrom.FAILURE})
"""What is asked for because something happened has no last good day (due/README 7)."""


class How(StrEnum):
    """What the clock of a rule made of the day that a date was counted from, for its words."""

    PLAIN = ""
    LATE = "late"  # from the due date that the pass was late for
    EARLY = "early"  # from the due date that the pass was a little early for
    OUT = "out"  # late, and from the pass: it was out of service on the due date
    UNTOLD = "untold"  # so late for its first date that passes before it may not be entered
    OTHER = "other"  # by the second of two clocks


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
class Candidate:
    """One rule's answer for one item: the date and where it comes from.

    due_on is None where there is nothing to count from, and then so are the others.
    how: what the rule's clock made of it. beside_on: the other day that its words speak of:
    of the pass where it counts from a DUE_DATE; the due date where it is OUT or UNTOLD.
    event: the task of the record where it counts from an EVENT; HOURS_RUN where the hours were
    run, and where nobody knows how many; else empty. run: of a row that goes by hours too.
    stamp: what is marked on the item of this, if anything is (due/README 14). own: the rule's own
    answer where the STAMP is the earlier; None where the rule alone asks nothing. failed: it was
    overdue before it failed, so the older date stays. unwritten: a look of which there is no
    pass on record, though something else may have stood in for it.
    """

    rule: Rule
    due_on: date | None
    counted_from: CountedFrom | None
    basis_on: date | None
    how: How = How.PLAIN
    beside_on: date | None = None
    event: str = ""
    stamp: Marked | None = None
    own: "Candidate | None" = None
    run: Run | None = None
    failed: bool = False
    unwritten: bool = False

    @property
    def by_rule(self) -> "Candidate | None":
        """The rule's own answer, whatever is marked on the item."""
        return self.own if self.counted_from is CountedFrom.STAMP else self

    @property
    def overdue_on(self) -> date | None:
        """The first day on which it is overdue; None where there is no date.

        That of the event or the failure itself, else the day after the due date, which is
        the last good day (due/README 7).
        """
        if self.due_on is None or self.counted_from in HAPPENED:
            return self.due_on
        return self.due_on + ONE_DAY

    @property
    def bars(self) -> Bars:
        """What it forbids once it is overdue, or can't be dated; a failure forbids everything."""
        failed = self.failed or self.counted_from is CountedFrom.FAILURE
        return Bars.BOTH if failed else self.rule.bars

    @property
    def order(self) -> tuple[date, date, date, int, str]:
        """The order in which candidates govern: earliest, then level, then the rule's id.

        A date that can't be determined might be past already, so it comes first. Of one
        date, what is overdue on the day itself goes before what still has that day; and of one
        mark beside several rules, the rule that alone would go first.
        """
        due_on, overdue_on = self.due_on or date.min, self.overdue_on or date.min
        alone = self.own.due_on if self.own and self.own.due_on else due_on
        return due_on, overdue_on, alone, LEVEL_ORDER[self.rule.level], self.rule.id


def answer_of(rule: Rule, item: Item, history: History) -> Candidate | None:
    """Return a rule's answer, or None where it asks nothing: its date, or the failure before it.

    A date that was past already stays: failing never makes anybody less late.
    """
    candidate = _or_stamp(rule, _candidate(rule, item, history), history)
    if candidate and rule.task in LOOKS and _unwritten(candidate, history):
        candidate = replace(candidate, unwritten=True)
    if rule.life_as_marked and candidate is None:
        return None  # not limited: there is no life that could fail
    failure = history.failure_since(history.last_pass(rule.passes), rule.task)
    if failure is None:
        return candidate
    if candidate and candidate.due_on and candidate.due_on < failure.done_on:
        return replace(candidate, failed=True, unwritten=False)
    stamp = candidate.stamp if candidate else None
    return Candidate(rule, failure.done_on, CountedFrom.FAILURE, failure.done_on, stamp=stamp)


def _or_stamp(rule: Rule, own: Candidate | None, history: History) -> Candidate | None:
    """Return the earlier of a rule's own answer and what is marked on the item.

    Of the next test what was marked at the pass that the rule counts from; of the end of life
    what was marked last. On a tie the rule's own, and where it can't be determined: that might
    be past already. What rests on the rule's dates before goes by its own.
    """
    stamp, marked_on = _stamp(rule, history)
    if stamp is None:
        return own
    if own is not None and (own.due_on is None or own.due_on <= stamp.last):
        return replace(own, stamp=stamp)
    return Candidate(rule, stamp.last, CountedFrom.STAMP, marked_on, stamp=stamp, own=own)


def _stamp(rule: Rule, history: History) -> tuple[Marked | None, date | None]:
    """Return what is marked of the date that a rule speaks of, and on which day it was."""
    if rule.is_life:
        record = history.life_marked
        return (record.life_end, record.done_on) if record else (None, None)
    last = history.last_pass(rule.passes) if rule.every or rule.calendar else -1
    record = history.records[last] if last >= 0 else None
    if record is None or record.task != rule.task:
        return None, None
    return record.next_test, record.done_on


def _unwritten(candidate: Candidate, history: History) -> bool:
    asks = candidate.counted_from in HAPPENED or candidate.counted_from is CountedFrom.AT_ONCE
    return not asks and history.last_pass({candidate.rule.task}) < 0


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
    if rule.clock.chained:
        return _chained(rule, item, history)
    own = _first(rule, item) if last < 0 else _since(rule, history.records[last])
    return _or_hours(own, history, last)


def _or_hours(own: Candidate, history: History, last: int) -> Candidate:
    """Return the sooner of a row's own answer and the day on which its hours were run.

    Where nobody knows how many were run it can't be determined; a first pass that is wanted at
    once is wanted whatever the meter shows (due/README 15).
    """
    hours = own.rule.clock.hours
    if hours is None or own.counted_from is CountedFrom.AT_ONCE:
        return own
    run = run_since(history, last, hours.limit)
    if run.hours is None:
        return Candidate(own.rule, None, None, None, event=HOURS_RUN, run=run)
    if run.hours < hours.limit:
        return replace(own, run=run)
    day = run.read_on
    reached = Candidate(own.rule, day, CountedFrom.EVENT, day, event=HOURS_RUN, run=run)
    return min(replace(own, run=run), reached, key=lambda each: each.order)


def _since(rule: Rule, record: Record) -> Candidate:
    if rule.counted_from is Basis.PART_MADE and record.part_made_on is not None:
        return periodic(rule, CountedFrom.PART_MADE, record.part_made_on)
    return periodic(rule, CountedFrom.RECORD, record.done_on)


def _event(rule: Rule, record: Record) -> Candidate:
    day = record.done_on
    return Candidate(rule, day, CountedFrom.EVENT, day, event=record.task)


def _first(rule: Rule, item: Item) -> Candidate:
    """Return a rule's answer for an item that has no record of the task."""
    counted_from, basis = birth(rule.counted_from, item)
    if basis is None:
        return periodic(rule, None, None, item)
    if rule.counted_from is Basis.AT_ONCE:
        return Candidate(rule, basis, CountedFrom.AT_ONCE, basis)
    return periodic(rule, counted_from, basis, item)


def _chained(rule: Rule, item: Item, history: History) -> Candidate:
    """Return the answer of a row where each date may rest on the one before it.

    So all passes are gone through from the first on; those of one day are one.
    """
    answer = _first(rule, item)
    for day in history.pass_days(rule.passes):
        answer = after_pass(rule, day, answer, history)
    return answer


def after_pass(
    rule: Rule,
    day: date,
    before: Candidate | None,
    history: History | None = None,
) -> Candidate:
    """Return the answer of a periodic row after a pass on a day, without a date of the part.

    before: its answer before the pass, failures left aside; the pass may count from its date.
    history: for what was out of service on that date.
    """
    fresh = periodic(rule, CountedFrom.RECORD, day)
    gave = before.due_on if before else None
    if before is None or gave is None or not rule.clock.chained:
        return fresh
    if day > gave:
        return _late(rule, day, before, fresh, history)
    return _early(rule, day, gave, fresh)


def _late(
    rule: Rule, day: date, before: Candidate, fresh: Candidate, history: History | None
) -> Candidate:
    """Return the answer after a pass later than the date that the row gave.

    However late: where further dates went by since, it is late for the last of them. Of a first
    pass that lies nearer to the date after its first one nobody can tell whether others came
    before it that were never entered: it counts from itself.
    """
    late, gave = rule.clock.late, before.due_on or day
    if late is None or (late.within and day > month_end(add(gave, late.within))):
        return fresh
    if late.unless_out and history is not None and history.out_from_to(gave, day):
        return replace(fresh, how=How.OUT, beside_on=gave)
    if late.within is None:
        untold = before.counted_from not in (CountedFrom.RECORD, CountedFrom.DUE_DATE)
        if untold and 2 * (day - gave) > _end(rule, gave) - gave:
            return replace(fresh, how=How.UNTOLD, beside_on=gave)
        while _kept_from(rule, following := _end(rule, gave)) <= day:
            gave = following
    if day <= gave:
        return _early(rule, day, gave, fresh)
    return replace(periodic(rule, CountedFrom.DUE_DATE, gave), how=How.LATE, beside_on=day)


def _early(rule: Rule, day: date, gave: date, fresh: Candidate) -> Candidate:
    """Return the answer after a pass on the date that the row gave, or before it."""
    on_time = day == gave or (rule.month_end and day >= gave.replace(day=1))
    if on_time or day < _kept_from(rule, gave):
        return fresh
    return replace(periodic(rule, CountedFrom.DUE_DATE, gave), how=How.EARLY, beside_on=day)


def _kept_from(rule: Rule, due_on: date) -> date:
    """Return the first day on which a pass keeps a due date; of a month, if the row counts so."""
    early = rule.clock.early
    first = subtract(due_on, early.within) if early else due_on
    return first.replace(day=1) if rule.month_end else first


def birth(basis: Basis | Start, item: Item) -> tuple[CountedFrom, date | None]:
    """Return the day an item's first period counts from.

    An unknown in-service day gives way to the made date, which is earlier and so safe.
    """
    wants_in_service = basis in (Basis.IN_SERVICE, Basis.AT_ONCE)
    if wants_in_service and item.in_service_on is not None:
        return CountedFrom.IN_SERVICE, item.in_service_on
    return CountedFrom.MADE, item.made_on


def periodic(
    rule: Rule, counted_from: CountedFrom | None, basis: date | None, item: Item | None = None
) -> Candidate:
    """Return the answer of a row with a period that counts from a day; None: nobody knows it.

    item: for the first period, in which a second clock may count from another day of birth.
    """
    own = Candidate(rule, None, None, None)
    if basis is not None:
        from_day = basis if counted_from is CountedFrom.DUE_DATE else runs_from(rule, basis)
        own = Candidate(rule, _end(rule, from_day), counted_from, basis)
    other = rule.clock.other
    if other is None:
        return own
    if other.start is not Start.RECORD:
        if item is None:
            return own  # passed once, it counts from the passes alone
        counted_from, basis = birth(other.start, item)
    return _of_two(other, own, counted_from, basis)


def runs_from(rule: Rule, stamped: date) -> date:
    """Return the day that a period runs from: the stamped one, or the end of the month before.

    Where that day is the first of the period, the period ends a day sooner, as if it ran from
    the day before.
    """
    start = rule.clock.start
    if start is None:
        return stamped
    return stamped.replace(day=1) - (2 if start.counted else 1) * ONE_DAY


def _end(rule: Rule, from_day: date) -> date:
    """Return the last good day of the period that runs from a day."""
    if rule.calendar:
        due = end_of_next_period(from_day, rule.calendar)
    else:
        assert rule.every is not None  # noqa: S101 (the table's schema: a row has one form)
        due = add(from_day, rule.every)
    return month_end(due) if rule.month_end else due


def _of_two(
    other: Other, own: Candidate, counted_from: CountedFrom | None, basis: date | None
) -> Candidate:
    """Return what governs of the row's own clock and the other one; on a tie the row's own.

    What can't be determined might be past already: it is the sooner, and never the later.
    """
    rule = own.rule
    if basis is None:
        return own if other.later else Candidate(rule, None, None, None)
    due = add(basis, other.every)
    due = month_end(due) if rule.month_end else due
    second = Candidate(rule, due, counted_from, basis, How.OTHER)
    if own.due_on is None:
        return second if other.later else own
    return second if (due > own.due_on if other.later else due < own.due_on) else own


def _life(rule: Rule, item: Item) -> Candidate | None:
    """Return the end of service life; None where the life is not limited."""
    life = rule.life or _marked_life(item)
    if life is None:
        return None
    counted_from, basis = birth(rule.counted_from, item)
    if basis is None:
        return Candidate(rule, None, None, None)
    due = add(basis, life)
    return Candidate(rule, month_end(due) if rule.month_end else due, counted_from, basis)


def _marked_life(item: Item) -> Duration | None:
    years = item.attributes.get("design_life_years")
    return None if years is None else Duration(months=12 * int(str(years)))

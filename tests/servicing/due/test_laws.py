"""Laws that hold for any item, records and rules, not only for those somebody thought of.

Every law is tried on 2000 random worlds (C24). A world is read off a tape of bytes,
which Hypothesis lowers towards nothing when a law fails. Its days lie close together, so that
same days, month ends and edges of validity are common. Where a law ends, worlds beyond its end
stand beside it as examples.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from itertools import product
from typing import Any

import pytest
from dateutil.relativedelta import relativedelta
from hypothesis import given, settings
from hypothesis import strategies as st

from servicing.due.pure.obligations import (
    CONDEMNED,
    FAIL,
    HAPPENED,
    PASS,
    CountedFrom,
    How,
    Item,
    Obligation,
    Record,
    Standing,
    StandingWord,
    State,
    asked,
    obligations,
    situation,
    standing,
)
from servicing.due.pure.spans import LEEWAY, spans
from servicing.rules.pure.clocks import PLAIN, Clock, Early, Late, MonthBefore, Other, Start
from servicing.rules.pure.durations import Duration
from servicing.rules.pure.rule import SERVICE_LIFE, Basis, Condition, Level, Rule

ONE_DAY = timedelta(days=1)
NO_DATE = date.min
"""A date that can't be determined might be past already, so it is earlier than every other."""
NEVER = date.max
"""When a task is due that nothing asks for."""

TASKS = ("test", "overhaul", "cleaning")
HAPPENINGS = (*TASKS, "use", "fill", SERVICE_LIFE)
EVERYTHING = (*HAPPENINGS, "return-to-service", "withdrawal")
OUTCOMES = (PASS, PASS, PASS, FAIL)
BIRTHS = (Basis.MADE, Basis.IN_SERVICE)
CHAINED = (
    *(Clock(late=Late(Duration(1))), Clock(late=Late(Duration(2), unless_out=True))),
    *(Clock(late=Late()), Clock(early=Early(Duration(1)))),
    Clock(late=Late(unless_out=True), early=Early(Duration(2))),
)
UNCHAINED = (
    *(Clock(start=MonthBefore()), Clock(start=MonthBefore(counted=True))),
    *(Clock(other=Other(Duration(9), start, later)) for start in Start for later in (False, True)),
)
NOTICES = (Duration(1), Duration(days=14), Duration(3), Duration(1, 1))


def _days() -> tuple[date, ...]:
    """Return 256 days: a hundred in a row over a leap day, then the ends of months."""
    first = date(2023, 12, 15)
    days = [first + timedelta(days=number) for number in range(100)]
    months = [date(2023, 1, 1) + relativedelta(months=number) for number in range(52)]
    return (*days, *(m + timedelta(days=n) for m in months for n in (-2, -1, 0)))


def a_rule(number: int, task: str, **form: Any) -> Rule:
    """Return a row that speaks of every item; `number` gives its id, level and notice."""
    level, notice = list(Level)[number % 4], NOTICES[number // 4 % 4]
    return Rule(
        f"r{number:03}", "t", task, level, Condition(()), "source", "text", notice=notice, **form
    )


def _pool() -> tuple[Rule, ...]:
    """Return rows of every form, counted from every basis, satisfied by others or not."""
    periods = (Duration(6), Duration(12), Duration(days=10), Duration(1, 3))
    forms: list[dict[str, Any]] = [
        {"every": span, "counted_from": basis, "month_end": end}
        for span, basis, end in product(periods, Basis, (False, True))
    ]
    forms += [
        {"every": span, "counted_from": basis, "month_end": end, "clock": clock}
        for span, basis, end, clock in product(periods[:2], list(Basis)[:3], (False, True), CHAINED)
    ]
    forms += [
        {"every": span, "counted_from": basis, "month_end": end, "clock": clock}
        for span, basis, end, clock in product(periods[:2], BIRTHS, (False, True), UNCHAINED)
    ]
    forms += [
        {"calendar": period, "counted_from": basis}
        for period, basis in product(("month", "quarter", "year"), Basis)
    ]
    forms += [{"after": after} for after in (("use",), ("fill", "use"), ("cleaning",))]
    forms += [{"counts": counts, "limit": n} for counts, n in product(("use", "fill"), (1, 2))]
    asks = [
        {**form, "satisfied_by": others}
        for form, others in product(forms, ((), ("overhaul",), ("overhaul", "cleaning")))
    ]
    lives: list[dict[str, Any]] = [
        *({"life": Duration(months), "month_end": months == 5} for months in (5, 14, 30)),
        {"life": Duration(days=40), "counted_from": Basis.IN_SERVICE},
        {"life_as_marked": True},
        {"after": ("use",)},
        {"counts": "fill", "limit": 2},
        {"counts": "use", "limit": 1},
    ]
    pool = [a_rule(number, TASKS[number % 3], **form) for number, form in enumerate(asks)]
    return (*pool, *(a_rule(900 + n, SERVICE_LIFE, **form) for n, form in enumerate(lives * 3)))


DAYS, POOL = _days(), _pool()


class Tape:
    """Bytes to be read one by one; behind its end stand zeros."""

    def __init__(self, content: bytes) -> None:
        self._bytes = iter(content)

    def below(self, limit: int) -> int:
        return next(self._bytes, 0) % limit

    def day(self) -> date:
        return DAYS[next(self._bytes, 0)]

    def perhaps_a_day(self) -> date | None:
        return self.day() if self.below(4) else None

    def record(self, tasks: Sequence[str] = EVERYTHING) -> Record:
        """Return a record; the part it renews, if any, was made before."""
        task, outcome = tasks[self.below(len(tasks))], OUTCOMES[self.below(4)]
        done_on, part = self.day(), self.perhaps_a_day()
        return Record(task, done_on, outcome, part if part and part <= done_on else None)

    def rule(self, dated: bool) -> Rule:
        rule = POOL[(self.below(256) * 256 + self.below(256)) % len(POOL)]
        if not dated:
            return rule
        return replace(rule, valid_from=self.perhaps_a_day(), valid_until=self.perhaps_a_day())


@dataclass(frozen=True)
class World:
    """An item, what happened to it, what is asked of it, a day; another record and rule."""

    item: Item
    records: tuple[Record, ...]
    rules: tuple[Rule, ...]
    on: date
    record: Record
    rule: Rule

    @classmethod
    def read(cls, tape: Tape, dated: bool = False) -> "World":
        marked = {"design_life_years": 1} if tape.below(2) else {}
        item = Item(marked, tape.perhaps_a_day(), tape.perhaps_a_day())
        records = tuple(tape.record() for _ in range(tape.below(8)))
        rules = {rule.id: rule for rule in (tape.rule(dated) for _ in range(1 + tape.below(5)))}
        on, record, rule = tape.day(), tape.record(HAPPENINGS), tape.rule(dated)
        rules.pop(rule.id, None)
        return cls(item, records, tuple(rules.values()), on, record, rule)

    def seen(self) -> tuple[Record, ...]:
        """Return the records up to the day."""
        return tuple(record for record in self.records if record.done_on <= self.on)

    def asked(self, *more: Record, rules: Sequence[Rule] = ()) -> dict[str, date]:
        """Return the date of each task that is asked, before the end of service life drops any."""
        return dates(asked(self.item, [*self.records, *more], [*self.rules, *rules], self.on))

    def counting_from_passes(self) -> "World":
        """Return the world in which no row counts a pass from the date it was late or early for."""
        rules = tuple(
            replace(rule, clock=PLAIN) if rule.clock.chained else rule for rule in self.rules
        )
        return replace(self, rules=rules)

    def owed(self, *more: Record, rules: Sequence[Rule] = ()) -> tuple[Obligation, ...]:
        return obligations(self.item, [*self.records, *more], [*self.rules, *rules], self.on)


def dates(owed: Iterable[Obligation]) -> dict[str, date]:
    return {obligation.task: obligation.due_on or NO_DATE for obligation in owed}


def law(
    dated: bool = False, worlds_tried: int = 2000
) -> Callable[[Callable[[World], None]], Callable[[], None]]:
    """Try a law on many worlds; in dated ones the rules come into force and end."""
    often = settings(max_examples=worlds_tried, deadline=None, derandomize=True)
    return lambda test: often(given(worlds(dated))(test))


@st.composite
def worlds(draw: st.DrawFn, dated: bool) -> World:
    return World.read(Tape(draw(st.binary(min_size=80, max_size=80))), dated)


def brought_forward(
    before: dict[str, date], after: dict[str, date], rules: Iterable[Rule], passed: str
) -> set[str]:
    """Return the tasks that fall due earlier after a pass, those apart that it may start.

    A row whose events name the passed task asks for its own because of the pass, and a pass ends
    the later of two clocks where that runs from the item's birth. And a life
    or a second clock without a first day has a date only as long as it has failed.
    """
    started = {rule.task for rule in rules if passed in (*rule.after, rule.counts)}
    unknown = {SERVICE_LIFE} | {rule.task for rule in rules if rule.clock.other}
    started |= {task for task in unknown if after.get(task) == NO_DATE}
    started |= {rule.task for rule in rules if _later_at_first(rule)}
    return {task for task in {*before, *after} - started if due(after, task) < due(before, task)}


def _later_at_first(rule: Rule) -> bool:
    other = rule.clock.other
    return other is not None and other.later and other.start is not Start.RECORD


def due(dates: dict[str, date], task: str) -> date:
    return dates.get(task, NEVER)


@law()
def test_a_further_pass_never_brings_a_task_forward(world: World) -> None:
    """For passes not before the first period began (unknown: of today), without an older part.

    And for rows that count from the pass itself: where a late one counts back, a pass may
    make the one after it late.
    """
    world = world.counting_from_passes()
    start = max(world.item.made_on or world.on, world.item.in_service_on or NO_DATE)
    done_on = max(start, world.record.done_on)
    passed = replace(world.record, outcome=PASS, part_made_on=None, done_on=done_on)
    before, after = world.asked(), world.asked(passed)
    assert not brought_forward(before, after, world.rules, passed.task)


@law()
def test_a_pass_on_a_later_day_never_brings_its_task_forward(world: World) -> None:
    """Up to the day that is asked about, in rows that count from the pass itself."""
    world = world.counting_from_passes()
    done_on = min(world.record.done_on, world.on)
    passed = replace(world.record, outcome=PASS, part_made_on=None, done_on=done_on)
    later = replace(passed, done_on=world.on)
    before, after = world.asked(passed), world.asked(later)
    assert not brought_forward(before, after, world.rules, passed.task)


EVERY_YEAR = a_rule(1, "test", every=Duration(12), counted_from=Basis.IN_SERVICE)
BY_PART = a_rule(2, "test", every=Duration(12), counted_from=Basis.PART_MADE)
AFTER_CLEANING = a_rule(3, "test", after=("cleaning",))
FROM_MADE = a_rule(4, "test", every=Duration(12))
COUNTS_BACK = a_rule(5, "test", every=Duration(12), clock=Clock(late=Late(Duration(2))))
UNKNOWN_LIFE = a_rule(900, SERVICE_LIFE, life=Duration(14))
OLD, EARLIER = Record("test", date(2024, 1, 31), PASS), Record("fill", date(2023, 4, 1), PASS)


@pytest.mark.parametrize(
    ("rule", "record", "passed", "before", "after"),
    [
        pytest.param(EVERY_YEAR, EARLIER, Record("test", date(2023, 5, 1), PASS),
                     date(2025, 1, 1), date(2024, 5, 1), id="done before it was put into service"),
        pytest.param(BY_PART, OLD, Record("test", date(2024, 3, 1), PASS, date(2022, 1, 1)),
                     date(2025, 1, 31), date(2023, 1, 1), id="a part that lay on the shelf"),
        pytest.param(AFTER_CLEANING, OLD, Record("cleaning", date(2024, 3, 1), PASS),
                     NEVER, date(2024, 3, 1), id="cleaning makes a test due"),
        pytest.param(FROM_MADE, Record("test", date(2024, 5, 2), FAIL),
                     Record("test", date(2023, 1, 15), PASS),
                     date(2024, 5, 2), date(2024, 1, 15), id="an old pass found after a failure"),
        pytest.param(COUNTS_BACK, Record("test", date(2025, 3, 15), PASS),
                     Record("test", date(2024, 2, 15), PASS),
                     date(2026, 3, 15), date(2026, 1, 1), id="after it the next pass is late"),
        pytest.param(UNKNOWN_LIFE, Record(SERVICE_LIFE, date(2024, 3, 1), FAIL),
                     Record(SERVICE_LIFE, date(2024, 3, 2), PASS),
                     date(2024, 3, 1), NO_DATE, id="a life without a first day has failed"),
    ],
)  # fmt: skip
def test_a_pass_brings_a_task_forward_only_where_it_should(
    rule: Rule, record: Record, passed: Record, before: date, after: date
) -> None:
    made_on = None if rule in (FROM_MADE, UNKNOWN_LIFE) else date(2023, 1, 1)
    world = World(
        Item({}, made_on, date(2024, 1, 1)), (record,), (rule,), date(2025, 6, 1), passed, rule
    )
    assert due(world.asked(), rule.task) == before
    assert due(world.asked(passed), rule.task) == after


@law()
def test_counting_back_from_a_late_pass_only_brings_dates_forward(world: World) -> None:
    plain = world.counting_from_passes()
    without = plain.asked()
    for late in (Late(Duration(2)), Late(unless_out=True), Late()):
        back = replace(
            plain,
            rules=tuple(
                replace(rule, clock=Clock(late=late))
                if rule.every and rule.clock == PLAIN and rule.counted_from is not Basis.PART_MADE
                else rule
                for rule in plain.rules
            ),
        )
        with_it = back.asked()
        assert without.keys() == with_it.keys()
        assert not {task for task in without if with_it[task] > without[task]}


@law()
def test_another_rule_never_puts_a_task_off(world: World) -> None:
    before, after = world.asked(), world.asked(rules=[world.rule])
    for task, due_on in before.items():
        assert after[task] <= due_on, task
    # Of what is owed, the end of service life may drop a task; then it comes no later itself.
    owed = dates(world.owed(rules=[world.rule]))
    for task, due_on in dates(world.owed()).items():
        assert owed.get(task, owed.get(SERVICE_LIFE, NEVER)) <= due_on, task


@law()
def test_a_local_rule_never_makes_an_item_readier(world: World) -> None:
    """A local rule has no `satisfied_by`: the one key by which a row could free a failed item."""
    local = replace(world.rule, level=Level.LOCAL, satisfied_by=())
    rules = [*world.rules, local]
    ready_before = [o.state(world.on) for o in world.owed()]
    ready_after = [o.state(world.on) for o in world.owed(rules=[local])]
    bad = {State.OVERDUE, State.UNDETERMINED}
    assert not bad.intersection(ready_before) or bad.intersection(ready_after)
    assert standing(world.item, world.records, rules, world.on) == standing(
        world.item, world.records, world.rules, world.on
    )
    firsts = [min(dates(owed).values(), default=NEVER) for owed in (world.owed(), ())]
    assert min(dates(world.owed(rules=[local])).values(), default=NEVER) <= firsts[0]


@law()
def test_records_of_different_days_may_come_in_any_order(world: World) -> None:
    def any_order(record: Record) -> int:
        return record.done_on.toordinal() * 97 % (world.record.done_on.toordinal() % 89 + 2)

    # Sorting keeps the order of equals, so records of one day stay as they were entered.
    shuffled = sorted(sorted(world.records, key=lambda record: record.done_on), key=any_order)
    again = obligations(world.item, shuffled, world.rules[::-1], world.on)
    assert again == world.owed()
    assert standing(world.item, shuffled, world.rules, world.on) == standing(
        world.item, world.records, world.rules, world.on
    )


def test_records_of_one_day_count_in_the_order_entered() -> None:
    item, failed = Item({}, date(2023, 1, 1), None), replace(OLD, outcome=FAIL)
    for records, due_on in (([failed, OLD], date(2025, 1, 31)), ([OLD, failed], OLD.done_on)):
        owed = obligations(item, records, [EVERY_YEAR], date(2024, 6, 1))
        assert dates(owed) == {"test": due_on}, "due/README 2"


@law()
def test_the_due_day_is_still_good_and_notice_is_given_from_its_first_day(world: World) -> None:
    for owed in world.owed():
        if owed.due_on is None or owed.soon_from is None:
            assert {owed.state(day) for day in DAYS} == {State.UNDETERMINED}
            continue
        notice = relativedelta(months=owed.rule.notice.months, days=owed.rule.notice.days)
        assert owed.soon_from == owed.due_on - notice  # python-dateutil
        happened = owed.counted_from in ("event", "failure")
        assert owed.state(owed.due_on) is (State.OVERDUE if happened else State.DUE_SOON)
        assert owed.state(owed.due_on - ONE_DAY) is not State.OVERDUE
        assert owed.state(owed.due_on + ONE_DAY) is State.OVERDUE
        assert owed.state(owed.soon_from) is State.DUE_SOON
        assert owed.state(owed.soon_from - ONE_DAY) is State.CURRENT


@law()
def test_after_a_use_without_a_later_pass_the_item_is_not_ready_on_that_day(world: World) -> None:
    if (world.item.made_on or world.item.in_service_on or NO_DATE) > world.on:
        return
    use, asks = Record("use", world.on, PASS), a_rule(999, "test", after=("use",))
    owed = world.owed(use, rules=[asks])
    # At the end of its life that end is what is overdue; no date at all comes before any.
    bad = {State.OVERDUE, State.UNDETERMINED}
    assert bad.intersection(o.state(world.on) for o in owed), "due/README 7"


def test_of_records_of_one_day_the_order_entered_decides_whether_the_pass_came_after() -> None:
    item, use, day = (
        Item({}, date(2023, 1, 1), None),
        a_rule(1, "test", after=("use",)),
        OLD.done_on,
    )
    used = Record("use", day, PASS)
    for records, states in (([used, OLD], []), ([OLD, used], [State.OVERDUE])):
        owed = obligations(item, records, [use], day)
        assert [o.state(day) for o in owed] == states, "due/README 7"


def test_of_one_date_what_happened_governs_before_what_still_has_the_day() -> None:
    day = date(2025, 1, 31)
    yearly, after = EVERY_YEAR, a_rule(3, "test", after=("use",))
    owed = obligations(
        Item({}, date(2023, 1, 1), None), [OLD, Record("use", day, PASS)], [yearly, after], day
    )
    assert [(o.due_on, o.counted_from, o.state(day)) for o in owed] == [
        (day, CountedFrom.EVENT, State.OVERDUE)
    ], "due/README 7: a periodic date of today is no excuse for today's use"


def test_a_use_on_the_last_day_of_its_life_makes_an_item_not_ready_on_that_day() -> None:
    life, after = a_rule(900, SERVICE_LIFE, life=Duration(24)), a_rule(3, "test", after=("use",))
    item, day = Item({}, date(2023, 1, 1), None), date(2025, 1, 1)
    owed = obligations(item, [Record("use", day, PASS)], [life, after], day)
    assert {o.task: o.state(day) for o in owed} == {
        "test": State.OVERDUE,
        SERVICE_LIFE: State.DUE_SOON,
    }


@law()
def test_nothing_is_current_after_it_was_due(world: World) -> None:
    for owed in world.owed():
        for day in DAYS[::16]:
            stands = owed.state(day)
            happened = owed.counted_from in ("event", "failure")
            late = owed.due_on is not None and owed.due_on < day + ONE_DAY * happened
            assert (stands is State.OVERDUE) == late
            if stands is State.CURRENT:
                assert owed.soon_from
                assert day < owed.soon_from


@law()
def test_time_alone_moves_no_date(world: World) -> None:
    """Where no rule begins or ends, the item exists and nothing happens to it."""
    if (world.item.made_on or world.item.in_service_on or NO_DATE) > world.on:
        return
    owed = obligations(world.item, world.seen(), world.rules, world.on)
    for later in (ONE_DAY, timedelta(days=31), timedelta(days=400), timedelta(days=9000)):
        assert obligations(world.item, world.seen(), world.rules, world.on + later) == owed


@law(dated=True)
def test_a_condemned_item_owes_nothing_ever_after(world: World) -> None:
    condemned = replace(world.record, outcome=CONDEMNED)
    records = [*world.records, condemned, *world.records]
    for later in (0, 1, 31, 400, 9000):
        day = condemned.done_on + timedelta(days=later)
        assert obligations(world.item, records, world.rules, day) == ()
        assert standing(world.item, records, world.rules, day).word is StandingWord.CONDEMNED
    eve = condemned.done_on - ONE_DAY
    assert obligations(world.item, records, world.rules, eve) == obligations(
        world.item, [*world.records, *world.records], world.rules, eve
    )


@law()
def test_the_end_of_service_life_drops_what_falls_on_or_after_it(world: World) -> None:
    everything = dates(asked(world.item, world.records, world.rules, world.on))
    owed = dates(world.owed())
    end = everything.get(SERVICE_LIFE, NO_DATE)
    for task, due_on in everything.items():
        drops = end != NO_DATE and task != SERVICE_LIFE and due_on >= end
        if drops and due_on == end and task in owed:
            # What happens on its last good day is wanted on that day (due/README 7).
            drops = False
            assert {o.counted_from for o in world.owed() if o.task == task} <= HAPPENED
        assert owed.get(task) == (None if drops else due_on), task
    assert min(owed.values(), default=None) == min(everything.values(), default=None)


@law(dated=True)
def test_what_happens_after_the_day_does_not_matter(world: World) -> None:
    expected = situation(world.item, world.seen(), world.rules, world.on)
    later = [record for record in world.records if record.done_on > world.on]
    condemned = replace(world.record, done_on=world.on + ONE_DAY, outcome=CONDEMNED)
    for records in (world.records, [*later, *world.seen()], [condemned, *world.seen()]):
        assert situation(world.item, records, world.rules, world.on) == expected


@law()
def test_a_failure_is_due_at_once_until_a_pass(world: World) -> None:
    failed = replace(world.record, outcome=FAIL, done_on=world.on)
    due_on = world.asked(failed).get(failed.task, NEVER)
    assert due_on <= world.on or failed.task not in world.asked()
    records = [*world.records, failed]
    fit = StandingWord.IN_SERVICE
    assert standing(world.item, records, world.rules, world.on).word is not fit
    passed = [
        *records,
        *(replace(failed, task=task, outcome=PASS) for task in (*HAPPENINGS, "return-to-service")),
    ]
    assert standing(world.item, passed, world.rules, world.on).word is fit


@law(dated=True)
def test_every_date_can_be_traced_to_its_basis(world: World) -> None:
    stands = standing(world.item, world.records, world.rules, world.on)
    said = situation(world.item, world.records, world.rules, world.on)
    assert said == (stands, world.owed())
    own = {world.item.made_on, world.item.in_service_on}
    own |= {day for r in world.seen() for day in (r.done_on, r.part_made_on)}
    for owed in world.owed():
        assert owed.governing == min(owed.candidates, key=lambda candidate: candidate.order)
        for found in owed.candidates:
            assert found.rule in world.rules
            assert found.rule.in_force(world.on)
            assert (found.due_on is None) == (found.basis_on is None)
            if found.counted_from == "due-date":
                assert found.how in (How.LATE, How.EARLY)
                assert found.beside_on
                assert found.basis_on
                assert (found.beside_on > found.basis_on) == (found.how is How.LATE)
            else:
                assert found.how not in (How.LATE, How.EARLY)
                assert found.basis_on in own or found.basis_on is None
            if found.basis_on is None or found.counted_from is None:
                continue
            if found.counted_from in ("at-once", "event", "failure"):
                assert found.due_on == found.basis_on
            elif found.rule.clock.start:
                months = found.rule.every.months if found.rule.every else 0
                assert found.due_on
                assert found.due_on < found.basis_on + relativedelta(months=months)
            elif span := found.rule.every or found.rule.life:
                if found.how is How.OTHER and found.rule.clock.other:
                    span = found.rule.clock.other.every
                step = relativedelta(months=span.months, days=span.days)  # python-dateutil
                end = relativedelta(day=31) if found.rule.month_end else relativedelta()
                assert found.due_on == found.basis_on + step + end


@law(dated=True)
def test_the_span_that_holds_a_day_says_what_the_engine_says(world: World) -> None:
    found = spans(world.item, world.records, world.rules)
    latest = max((record.done_on for record in world.records), default=None)
    first = latest - LEEWAY if latest else None
    assert (found[0].start, found[-1].end) == (first, None)
    assert [span.end for span in found[:-1]] == [span.start for span in found[1:]]
    edges = {world.item.made_on, world.item.in_service_on, latest, *DAYS[::128], date(2060, 1, 1)}
    edges |= {day for rule in world.rules for day in (rule.valid_from, rule.valid_until)}
    near = {day + timedelta(days=n) for day in edges if day for n in (-1, 0)}
    for day in near:
        if first and day < first:
            continue
        held = [
            span for span in found
            if (span.start or date.min) <= day < (span.end or date.max)
        ]  # fmt: skip
        assert len(held) == 1
        said = situation(world.item, world.records, world.rules, day)
        assert said == (held[0].standing, held[0].obligations)


def test_the_worlds_reach_every_basis_state_and_standing() -> None:
    """Otherwise the laws would be kept by worlds in which little happens."""
    seen: set[object] = set()

    @law(worlds_tried=400)
    def look(world: World) -> None:
        stands: Standing = standing(world.item, world.records, world.rules, world.on)
        everything = asked(world.item, world.records, world.rules, world.on)
        seen.update((stands.word, len(everything) > len(world.owed())))
        for owed in everything:
            seen.update((owed.state(world.on), owed.counted_from, len(owed.candidates)))
            seen.update(candidate.how for candidate in owed.candidates)

    look()
    often = {How.PLAIN, How.LATE, How.EARLY, How.OTHER}  # test_against_oracle.py counts all
    # No world has anything marked on its item: a mark may bring a date forward (due/README 14).
    assert {*CountedFrom, *often, *State} - {CountedFrom.STAMP} <= seen
    assert {StandingWord.IN_SERVICE, StandingWord.OUT_OF_SERVICE} <= seen
    assert {True, False, 2, 3} <= seen

"""The forms in which laws count time: laws that hold for each, whatever the days.

`clocks.py` has the forms. The cases that a law's own sentence decides stand in
fixtures/published/germany.toml and its neighbours; `oracle.py` reads the same texts apart.
"""

from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest
from dateutil.relativedelta import relativedelta
from hypothesis import given, settings
from hypothesis import strategies as st

from servicing.due.pure.counting import after_pass
from servicing.due.pure.obligations import (
    CountedFrom,
    How,
    Item,
    Obligation,
    Record,
    obligations,
)
from servicing.rules.pure.clocks import Clock, Early, Late, MonthBefore, Other, Start
from servicing.rules.pure.durations import Duration, month_end
from servicing.rules.pure.rule import Basis, Condition, Level, Rule
from servicing.rules.pure.tables import rule_from_row

MADE = date(2011, 3, 31)
DAYS = st.dates(date(2012, 1, 1), date(2032, 12, 31))
PERIODS = st.sampled_from([24, 30, 60])
tried = settings(max_examples=1000, deadline=None, derandomize=True)


def row(every: int = 60, clock: Clock = Clock(), **more: Any) -> Rule:  # noqa: B008 (frozen)
    more = {"every": Duration(every), "month_end": True, "clock": clock, **more}
    return Rule("r", "t", "test", Level.LAW, Condition(()), "source", "text", **more)


def owed(rule: Rule, *records: Record, made: date | None = MADE) -> Obligation:
    item = Item({}, made, None)
    (found,) = obligations(item, records, [rule], date(2060, 1, 1))
    return found


def passed(day: date, task: str = "test") -> Record:
    return Record(task, day, "pass")


LATE, EARLY = Late(clause="sentence 2"), Early(Duration(2), "sentence 4")
GERMAN = Clock("sentence 1", Late(None, True, "sentences 2 and 5"), EARLY)


@tried
@given(DAYS, PERIODS, st.integers(0, 59))
def test_nobody_gets_more_time_by_being_late(first: date, every: int, months_late: int) -> None:
    """Among passes within the period after the due date, all give the date that it gives."""
    rule = row(every, Clock(late=LATE))
    due = owed(rule, passed(first)).due_on
    assert due
    on_time = owed(rule, passed(first), passed(due)).due_on
    late = due + timedelta(days=1) + relativedelta(months=months_late % every)
    if late < (due + relativedelta(months=every)).replace(day=1):
        assert owed(rule, passed(first), passed(late)).due_on == on_time


@tried
@given(DAYS, DAYS, PERIODS)
def test_a_late_pass_never_gives_more_than_its_period_nor_a_date_that_is_past(
    first: date, second: date, every: int
) -> None:
    rule = row(every, Clock(late=LATE))
    first, second = sorted((first, second))
    found = owed(rule, passed(first), passed(second))
    assert found.due_on
    assert second <= found.due_on <= month_end(second + relativedelta(months=every))


@tried
@given(DAYS, PERIODS, st.integers(1, 200))
def test_an_early_pass_keeps_the_month(first: date, every: int, days: int) -> None:
    rule = row(every, Clock(early=EARLY))
    due = owed(rule, passed(first)).due_on
    assert due
    early = due - timedelta(days=days)
    kept = owed(rule, passed(first), passed(early))
    opens = (due.replace(day=1) - relativedelta(months=2)).replace(day=1)
    counts_from = due if early >= opens else early
    assert kept.due_on == month_end(counts_from + relativedelta(months=every))


@tried
@given(DAYS, DAYS, DAYS)
def test_no_date_lies_further_from_its_pass_than_the_period_and_what_may_be_early(
    one: date, two: date, three: date
) -> None:
    days = sorted((one, two, three))
    found = owed(row(60, GERMAN), *map(passed, days))
    assert found.due_on
    assert found.due_on <= month_end(days[-1] + relativedelta(months=62))


@tried
@given(DAYS, st.integers(1, 600), st.integers(0, 40), st.integers(-40, 40))
def test_what_was_out_of_service_on_the_due_date_counts_from_the_pass(
    first: date, late: int, out: int, back: int
) -> None:
    """Withdrawn by the end of the due date, and not returned before the day of the pass."""
    rule = row(60, GERMAN)
    due = owed(rule, passed(first)).due_on
    assert due
    day = due + timedelta(days=late)
    withdrawn = passed(due - timedelta(days=out), "withdrawal")
    returned = passed(max(withdrawn.done_on, day + timedelta(days=back)), "return-to-service")
    found = owed(rule, passed(first), withdrawn, returned, passed(day))
    assert found.due_on
    stayed_out = returned.done_on >= day
    base = day if stayed_out else due
    assert found.due_on == month_end(base + relativedelta(months=60))
    assert found.governing.how is (How.OUT if stayed_out else How.LATE)


def test_withdrawn_the_day_after_it_was_due_it_was_in_use_on_that_date() -> None:
    records = [passed(date(2016, 4, 1), "withdrawal"), passed(date(2016, 9, 1))]
    assert owed(row(60, GERMAN), *records).due_on == date(2021, 3, 31)
    assert owed(row(60, GERMAN), passed(date(2016, 3, 31), "withdrawal"), records[1]).due_on == (
        date(2021, 9, 30)
    )


def test_what_has_failed_was_not_put_out_of_use_by_anybody() -> None:
    failed = Record("test", date(2016, 3, 30), "fail")
    assert owed(row(60, GERMAN), failed, passed(date(2016, 9, 1))).due_on == date(2021, 3, 31)


@pytest.mark.parametrize(
    ("days", "due_on", "how"),
    [
        # Known since 2016: however late, and late for the last date that went by.
        (["2016-03-10", "2024-05-02"], "2026-03-31", How.LATE),
        (["2016-03-10", "2026-05-02"], "2031-03-31", How.LATE),
        (["2016-03-10", "2026-02-02"], "2031-03-31", How.EARLY),
        # The first pass known, nearer to the second date than to the first: others may lie between.
        (["2018-09-28"], "2021-03-31", How.LATE),
        (["2018-10-02"], "2023-10-31", How.UNTOLD),
        (["2020-12-01"], "2025-12-31", How.UNTOLD),
    ],
)
def test_a_pass_that_is_years_late(days: list[str], due_on: str, how: How) -> None:
    found = owed(row(60, GERMAN), *(passed(date.fromisoformat(day)) for day in days))
    assert (found.due_on, found.governing.how) == (date.fromisoformat(due_on), how)


@tried
@given(DAYS, PERIODS)
def test_a_period_from_the_end_of_the_month_before_knows_no_day_of_the_month(
    day: date, every: int
) -> None:
    for counted in (False, True):
        rule = row(every, Clock(start=MonthBefore(counted)), month_end=False)
        found = owed(rule, passed(day)).due_on
        assert found
        assert found == owed(rule, passed(month_end(day))).due_on
        assert found < (day.replace(day=1) + relativedelta(months=every))
        assert found >= day.replace(day=1) + relativedelta(months=every, days=-5)
    assert owed(rule, passed(day)).basis_on == day


@tried
@given(DAYS, PERIODS, st.sampled_from([12, 48, 120]), st.sampled_from(list(Start)))
def test_of_two_clocks_the_sooner_or_the_later_governs(
    day: date, every: int, other: int, start: Start
) -> None:
    """From the day of birth in the first period alone, as a row's own `from` does."""
    choose: dict[bool, Callable[[list[date]], date]] = {False: min, True: max}
    for later, base in ((False, MADE), (True, MADE), (False, day), (True, day)):
        rule = row(every, Clock(other=Other(Duration(other), start, later)))
        dates = [month_end(base + relativedelta(months=span)) for span in (every, other)]
        if base == day and start is not Start.RECORD:
            dates = dates[:1]
        found = owed(rule, passed(day)) if base == day else owed(rule)
        assert found.due_on == choose[later](dates)


def test_a_clock_without_a_first_day_is_the_sooner_and_never_the_later() -> None:
    item = Item({}, None, date(2020, 5, 4))
    for later, due_on in ((False, None), (True, date(2025, 5, 31))):
        other = Clock(other=Other(Duration(120), Start.MADE, later))
        rule = row(60, other, counted_from=Basis.IN_SERVICE)
        (found,) = obligations(item, [], [rule], date(2060, 1, 1))
        assert found.due_on == due_on


def test_the_old_word_is_read_as_loaded_registers_have_it() -> None:
    """Of the same row in the new words, the engine says the same."""
    old: dict[str, Any] = {
        "id": "r",
        "task": "test",
        "level": "law",
        "when": {"kind": ["mask"]},
        "source": "s",
        "seen": "text",
        "every": "P5Y",
        "from": "made",
        "late_counts_back": "P2M",
    }
    new = {"late": {"counts_from": "due-date", "within": "P2M", "clause": "s"}}
    rules = [rule_from_row("t", old), rule_from_row("t", {**old, "clock": new})]
    for day in (date(2016, 3, 31), date(2016, 5, 31), date(2016, 6, 1)):
        found = [after_pass(rule, day, owed(row(60, month_end=False)).governing) for rule in rules]
        assert len({(each.due_on, each.counted_from) for each in found}) == 1
    assert replace(rules[1].clock.late or LATE, clause="") == rules[0].clock.late


def test_rows_with_two_clocks_count_from_what_governs() -> None:
    rule = row(144, Clock(other=Other(Duration(120), Start.MADE, False)))
    found = owed(rule)
    assert (found.counted_from, found.basis_on) == (CountedFrom.MADE, MADE)
    assert found.due_on == date(2021, 3, 31)

"""A late pass that counts from the date it was late for, and what it leaves as it was.

The German cylinder's rows in fixtures/published/germany.toml hold the same for the table itself.
"""

from datetime import date
from typing import Any

import pytest

from servicing.due.pure.obligations import (
    CountedFrom,
    Item,
    Record,
    StandingWord,
    capped,
    obligations,
    situation,
)
from servicing.rules.pure.clocks import Clock, Late
from servicing.rules.pure.durations import Duration
from servicing.rules.pure.rule import SERVICE_LIFE, Basis, Condition, Level, Rule

ON = date(2026, 11, 25)
LAW = "BetrSichV section 14(5), sentences 1, 2 and 6"
OURS = "DEVELOPERS.md, What a row of a rule table may say"


def back(months: int) -> Clock:
    return Clock(late=Late(Duration(months)))


def rule(task: str = "test", **form: Any) -> Rule:
    return Rule("r", "t", task, Level.LAW, Condition(()), "source", "text", **form)


YEARS_5 = rule(every=Duration(60), clock=back(2))
YEARS_5_END = rule(every=Duration(60), month_end=True, clock=back(2))
HALF_YEAR = rule(every=Duration(6), clock=back(1))


def passed(*days: str, task: str = "test") -> list[Record]:
    return [Record(task, date.fromisoformat(day), "pass") for day in days]


@pytest.mark.parametrize(
    ("row", "made", "days", "said", "source"),
    [
        (YEARS_5, "2016-05-20", ["2021-05-20"], "2026-05-20 from 2021-05-20 record", LAW),
        (YEARS_5, "2016-05-20", ["2021-05-21"], "2026-05-20 from 2021-05-20 due-date", LAW),
        (YEARS_5, "2016-05-20", ["2021-07-31"], "2026-05-20 from 2021-05-20 due-date", LAW),
        (YEARS_5, "2016-05-20", ["2021-08-01"], "2026-08-01 from 2021-08-01 record", LAW),
        # Due on 31 December: two months on is the end of February, whatever the year.
        (YEARS_5, "2015-12-31", ["2021-02-28"], "2025-12-31 from 2020-12-31 due-date", LAW),
        (YEARS_5, "2018-12-31", ["2024-02-29"], "2028-12-31 from 2023-12-31 due-date", LAW),
        (YEARS_5, "2018-12-31", ["2024-03-01"], "2029-03-01 from 2024-03-01 record", LAW),
        (YEARS_5_END, "2016-05-02", ["2021-05-31"], "2026-05-31 from 2021-05-31 record", OURS),
        (YEARS_5_END, "2016-05-02", ["2021-06-01"], "2026-05-31 from 2021-05-31 due-date", OURS),
        (YEARS_5_END, "2016-05-02", ["2021-07-31"], "2026-05-31 from 2021-05-31 due-date", OURS),
        # A base that was clamped to February stays there: the law counts on from the due date.
        (HALF_YEAR, "2023-08-31", ["2024-03-10"], "2024-08-29 from 2024-02-29 due-date", OURS),
        # Each due date rests on the one before it.
        (YEARS_5, "2011-05-20", ["2016-07-31", "2021-07-01"],
         "2026-05-20 from 2021-05-20 due-date", LAW),
        (YEARS_5, "2011-05-20", ["2016-08-01", "2021-07-01"],
         "2026-07-01 from 2021-07-01 record", LAW),
        # An early one begins a chain of its own.
        (YEARS_5, "2011-05-20", ["2015-02-03", "2020-03-31"],
         "2025-02-03 from 2020-02-03 due-date", LAW),
        # Twice on one day is once, so the second is not early beside the first.
        (YEARS_5, "2016-05-20", ["2021-06-15", "2021-06-15"],
         "2026-05-20 from 2021-05-20 due-date", OURS),
        # Entered late, out of order.
        (YEARS_5, "2011-05-20", ["2021-07-01", "2016-07-31"],
         "2026-05-20 from 2021-05-20 due-date", LAW),
    ],
)  # fmt: skip
def test_a_late_pass_counts_from_the_date_it_was_late_for(
    row: Rule, made: str, days: list[str], said: str, source: str
) -> None:
    item = Item({}, date.fromisoformat(made), None)
    (owed,) = obligations(item, passed(*days), [row], ON)
    assert f"{owed.due_on} from {owed.basis_on} {owed.counted_from}" == said, source


def test_the_first_date_a_row_gave_counts_too() -> None:
    """From the day it was put in service: by the period, or at once."""
    item, late = Item({}, date(2020, 1, 1), date(2020, 3, 31)), passed("2020-05-31")
    at_once = rule(every=Duration(12), counted_from=Basis.AT_ONCE, clock=back(2))
    assert obligations(item, late, [at_once], ON)[0].due_on == date(2021, 3, 31)
    first = rule(every=Duration(1), counted_from=Basis.IN_SERVICE, clock=back(2))
    assert obligations(item, late, [first], ON)[0].due_on == date(2020, 5, 30)


def test_without_a_first_day_the_first_pass_counts_from_itself() -> None:
    nobody_knows = Item({}, None, None)
    assert obligations(nobody_knows, [], [YEARS_5], ON)[0].due_on is None
    (owed,) = obligations(nobody_knows, passed("2021-06-15"), [YEARS_5], ON)
    assert (owed.due_on, owed.counted_from) == (date(2026, 6, 15), CountedFrom.RECORD)


def test_what_is_late_is_overdue_all_the_same_until_it_is_passed() -> None:
    item = Item({}, date(2016, 5, 20), None)
    assert obligations(item, [], [YEARS_5], date(2021, 5, 20))[0].state(date(2021, 5, 20)) == (
        "due-soon"
    )
    assert obligations(item, [], [YEARS_5], date(2021, 5, 21))[0].state(date(2021, 5, 21)) == (
        "overdue"
    )


def test_a_pass_of_what_satisfies_it_counts_back_too() -> None:
    row = rule(every=Duration(60), clock=back(2), satisfied_by=("overhaul",))
    records = passed("2021-06-15", task="overhaul")
    (owed,) = obligations(Item({}, date(2016, 5, 20), None), records, [row], ON)
    assert (owed.due_on, owed.counted_from) == (date(2026, 5, 20), CountedFrom.DUE_DATE)


def test_a_failure_is_due_at_once_and_the_pass_after_it_counts_back() -> None:
    item, failed = Item({}, date(2016, 5, 20), None), Record("test", date(2021, 5, 18), "fail")
    stands, (owed,) = situation(item, [failed], [YEARS_5], date(2021, 5, 19))
    assert (owed.due_on, owed.counted_from) == (failed.done_on, CountedFrom.FAILURE)
    assert stands.word is StandingWord.OUT_OF_SERVICE
    stands, (owed,) = situation(item, [failed, *passed("2021-06-22")], [YEARS_5], ON)
    assert (owed.due_on, owed.counted_from) == (date(2026, 5, 20), CountedFrom.DUE_DATE)
    assert stands.word is StandingWord.IN_SERVICE


def test_a_failure_after_the_date_counted_back_to_leaves_that_date() -> None:
    item, late = Item({}, date(2016, 5, 20), None), passed("2021-06-15")
    records = [*late, Record("test", date(2026, 6, 1), "fail")]
    (owed,) = obligations(item, records, [YEARS_5], ON)
    assert owed.due_on == date(2026, 5, 20), "never less late for having failed (due/README 6)"


def test_the_end_of_service_life_caps_a_date_counted_back_to() -> None:
    item, late = Item({}, date(2011, 6, 1), None), passed("2016-06-15", "2021-07-01")
    for months, tasks in ((180, {SERVICE_LIFE}), (181, {SERVICE_LIFE, "test"})):
        life = rule(SERVICE_LIFE, life=Duration(months))
        owed = obligations(item, late, [YEARS_5, life], date(2021, 11, 25))
        assert {each.task for each in capped(owed)} == tasks, "due 1 Jun 2026, not 1 Jul"

"""Hours run by the meter (due/README 15): laws, the words, and how records say them."""

from datetime import date, timedelta
from decimal import Decimal
from itertools import accumulate
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from servicing.due.pure.answer import answer
from servicing.due.pure.explain import arithmetic, how_often
from servicing.due.pure.hours import Run
from servicing.due.pure.obligations import (
    CountedFrom,
    Item,
    Obligation,
    Record,
    State,
    obligations,
    situation,
    standing,
)
from servicing.due.pure.owed import owed_of, warning_words
from servicing.due.pure.rule_words import counting
from servicing.due.pure.spans import spans
from servicing.ledger.pure.entry import Reading
from servicing.ledger.pure.meter import hours_in, meter_faults
from servicing.rules.pure.bars import Bars
from servicing.rules.pure.clocks import Clock, Hours, clock_faults
from servicing.rules.pure.durations import Duration
from servicing.rules.pure.rule import Basis, Condition, Level, Rule

BEGUN = date(2024, 1, 15)
ITEM = Item({}, BEGUN, BEGUN)
END = date(2040, 1, 1)
tried = settings(max_examples=300, deadline=None, derandomize=True)


def row(limit: int | None = 50, **more: Any) -> Rule:
    clock = Clock(hours=Hours(limit, "manual 5.2")) if limit else Clock()
    more = {"every": Duration(12), "counted_from": Basis.IN_SERVICE, "clock": clock, **more}
    return Rule("r", "t", "filter-change", Level.MAKER, Condition(()), "source", "text", **more)


def changed(day: date, shows: int | None = None) -> Record:
    return Record("filter-change", day, "pass", hours=_hours(shows))


def read(day: date, shows: int) -> Record:
    return Record("meter-reading", day, "pass", hours=_hours(shows))


def _hours(shows: int | None) -> Decimal | None:
    return None if shows is None else Decimal(shows)


def owed(rule: Rule, *records: Record, on: date = END) -> Obligation:
    (found,) = obligations(ITEM, records, [rule], on)
    return found


def _rising(steps: list[tuple[int, int]]) -> list[tuple[date, int]]:
    days = accumulate(days for days, _ in steps)
    shown = accumulate(hours for _, hours in steps)
    return [(BEGUN + timedelta(days=n), shows) for n, shows in zip(days, shown, strict=True)]


STEPS = st.tuples(st.integers(0, 500), st.integers(0, 40))
READINGS = st.lists(STEPS, min_size=1, max_size=8).map(_rising)
"""Days and what the meter showed, both rising."""


@tried
@given(READINGS, st.integers(0, 7), st.integers(1, 120))
def test_hours_never_make_a_date_later(
    readings: list[tuple[date, int]], change: int, limit: int
) -> None:
    records = [
        changed(*one) if n == change % len(readings) else read(*one)
        for n, one in enumerate(readings)
    ]
    plain, found = owed(row(None), *records), owed(row(limit), *records)
    assert found.due_on is None or (plain.due_on and found.due_on <= plain.due_on)
    fewer = owed(row(max(1, limit - 10)), *records)
    assert fewer.due_on is not None
    assert found.due_on is not None
    assert fewer.due_on <= found.due_on


@tried
@given(READINGS, st.integers(1, 120))
def test_the_day_of_the_first_reading_that_reaches_the_hours_is_overdue_itself(
    readings: list[tuple[date, int]], limit: int
) -> None:
    records = [changed(BEGUN, 0), *(read(*one) for one in readings)]
    found = owed(row(limit), *records)
    reached = next((day for day, shows in readings if shows >= limit), None)
    year = date(2025, 1, 15)
    if reached and reached <= year:
        assert (found.due_on, found.counted_from) == (reached, CountedFrom.EVENT)
        assert found.state(reached) is State.OVERDUE
        eve = reached - timedelta(days=1)
        before = obligations(ITEM, records, [row(limit)], eve)
        assert all(one.state(eve) is not State.OVERDUE for one in before)
    else:
        assert (found.due_on, found.counted_from) == (year, CountedFrom.RECORD)


@tried
@given(READINGS, st.integers(0, 7), st.integers(1, 120), st.integers(0, 3000))
def test_what_is_stored_is_what_the_engine_says_of_every_day(
    readings: list[tuple[date, int]], change: int, limit: int, later: int
) -> None:
    records = [
        changed(*one) if n == change % len(readings) else read(*one)
        for n, one in enumerate(readings)
    ]
    rules = [row(limit)]
    day = readings[-1][0] + timedelta(days=later)
    stored = next(
        span
        for span in spans(ITEM, records, rules)
        if (span.start is None or span.start <= day) and (span.end is None or day < span.end)
    )
    assert (stored.standing, stored.obligations) == situation(ITEM, records, rules, day)


CHANGED, READ = date(2025, 3, 3), date(2025, 4, 4)
UNTOLD = "nobody can say how many hours it has run since the last pass"


@pytest.mark.parametrize(
    ("records", "run"),
    [
        ([changed(CHANGED, 470), read(READ, 518)], Run(Decimal(48), READ)),
        ([changed(CHANGED, 470)], Run(Decimal(0), CHANGED)),
        # The record of the change says nothing: the last reading before it, which is safe.
        ([read(BEGUN, 440), changed(CHANGED), read(READ, 480)], Run(Decimal(40), READ)),
        # Nothing was changed yet: a meter counts from new.
        ([read(READ, 30)], Run(Decimal(30), READ)),
        ([changed(CHANGED)], Run()),
        ([changed(CHANGED), read(READ, 480)], Run()),
        ([], Run()),
        ([changed(CHANGED, 470), read(READ, 3)], Run(None, READ, back=True)),
    ],
)
def test_what_was_run_is_told_by_readings_and_by_nothing_else(
    records: list[Record], run: Run
) -> None:
    found = owed(row(), *records).governing
    assert found.run == run
    assert (found.due_on is None) == (run.hours is None)


def test_where_nobody_knows_the_hours_it_is_undetermined_in_words() -> None:
    records = [changed(CHANGED), read(READ, 480)]
    found = owed(row(), *records)
    assert found.state(READ) is State.UNDETERMINED
    assert arithmetic(found.governing).endswith(f"{UNTOLD}: its meter was not read then or before")
    said = answer("P1", standing(ITEM, records, [row()], READ), [found], READ)
    assert said.state == State.UNDETERMINED
    assert said.reason == f"{UNTOLD.capitalize()}: enter what its meter showed then."
    (practice,) = owed_of([owed(row(bars=Bars.NOTHING), *records)])
    assert warning_words(practice) == (
        "filter change can't be dated, and that only warns: enter what its meter showed then"
    )
    back = owed(row(), changed(CHANGED, 470), read(READ, 3)).governing
    assert arithmetic(back).endswith(": its meter showed less on 4 Apr 2025 than before")


def test_hours_that_were_run_are_explained_and_said() -> None:
    records = [changed(CHANGED, 470), read(READ, 522)]
    found = owed(row(), *records)
    told = arithmetic(found.governing)
    assert "ran its hours on 4 Apr 2025, due since that day" in told
    assert told.endswith("; 52 of 50 hours run by its meter on 4 Apr 2025 (manual 5.2)")
    said = answer("P1", standing(ITEM, records, [row()], READ), [found], READ, READ)
    assert said.sentence == ("P1 is not ready: ran its hours today, not yet given a new filter.")
    still = owed(row(), changed(CHANGED, 470), read(READ, 518)).governing
    assert arithmetic(still) == (
        "last passed 3 Mar 2025 + 1 year = 3 Mar 2026; "
        "48 of 50 hours run by its meter on 4 Apr 2025 (manual 5.2)"
    )
    assert how_often(row()) == "every 1 year (or at 50 hours run, whichever is the sooner)"
    assert "when 50 hours were run, read off its meter" in counting(row())


def test_what_is_wanted_at_once_is_wanted_whatever_the_meter_shows() -> None:
    rule = row(counted_from=Basis.AT_ONCE)
    assert owed(rule, read(READ, 30)).counted_from is CountedFrom.AT_ONCE
    assert owed(rule, read(READ, 30)).due_on == BEGUN


@pytest.mark.parametrize(
    ("readings", "hours"),
    [
        ([("hours-run", "512")], Decimal(512)),
        ([("hours-run", "512,4")], Decimal("512.4")),
        ([Reading("hours-run", "512", "h", "30720", "min")], Decimal(512)),
        ([Reading("hours-run", "30", "min", "30", "min")], Decimal("0.5")),
        ([("hours-run", "about 500")], None),
        ([("hours-run", "-3")], None),
        ([("hours-run", "NaN")], None),
        ([("fill_bar", "300")], None),
        ([], None),
    ],
)
def test_a_record_says_what_the_meter_showed(readings: list[Any], hours: Decimal | None) -> None:
    assert hours_in(readings) == hours
    told = any("hours-run" in str(one) for one in readings)
    assert bool(meter_faults(readings)) == (told and hours is None)


@pytest.mark.parametrize(
    ("clock", "words"),
    [
        ({"hours": {"limit": 50, "clause": "c"}}, ""),
        ({"hours": {"limit": 50}}, "names no clause"),
        ({"hours": {"limit": "50", "clause": "c"}}, "whole number of hours"),
        ({"hours": {"limit": 0, "clause": "c"}}, "whole number of hours"),
        ({"hours": {"clause": "c"}}, "is missing"),
        (
            {
                "hours": {"limit": 50, "clause": "c"},
                "early": {"within": "P1M", "clause": "c"},
            },
            "stands alone",
        ),
    ],
)
def test_a_row_says_its_hours_with_a_clause_and_alone(clock: dict[str, Any], words: str) -> None:
    faults = clock_faults({"every": "P1Y", "from": "in-service", "clock": clock})
    assert words in " ".join(remedy for _, _, remedy in faults)
    assert bool(faults) == bool(words)

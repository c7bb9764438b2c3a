"""Month ends and leap days, exact for every start day, against calendars that are not ours."""

import calendar
from collections.abc import Callable
from datetime import date, timedelta

import numpy as np
import numpy.typing as npt
import pytest
from dateutil.relativedelta import relativedelta

from servicing.rules.pure.durations import (
    PERIOD_MONTHS,
    Duration,
    DurationProblem,
    add,
    add_months,
    end_of_next_period,
    month_end,
    month_length,
    subtract,
)

FIRST, LAST = date(1996, 1, 1), date(2104, 12, 31)
DAYS = [
    date.fromordinal(number) for number in range(FIRST.toordinal(), date(2105, 1, 1).toordinal())
]
INTERVALS = (1, 3, 6, 12, 30, 60, 120, 180)

Days64 = npt.NDArray[np.datetime64]
DAYS64: Days64 = np.arange("1996-01-01", "2105-01-01", dtype="datetime64[D]")


def numpy_months_on(days: Days64, months: int) -> Days64:
    """Return days a number of months on, by numpy's own months, clamped to the last day."""
    month = days.astype("datetime64[M]")
    into = days - month.astype("datetime64[D]")
    end = (month + (months + 1)).astype("datetime64[D]") - np.timedelta64(1, "D")
    kept: Days64 = np.minimum((month + months).astype("datetime64[D]") + into, end)
    return kept


def test_every_day_of_a_hundred_and_nine_years_is_tried() -> None:
    assert (DAYS[0], DAYS[-1], len(DAYS)) == (FIRST, LAST, 39812)
    assert DAYS64.tolist() == DAYS
    assert sum(day.month == 2 and day.day == 29 for day in DAYS) == 27  # 2100 has none


@pytest.mark.parametrize("months", INTERVALS)
def test_months_on_are_those_of_dateutil_for_every_day(months: int) -> None:
    step = relativedelta(months=months)  # python-dateutil
    assert [add_months(day, months) for day in DAYS] == [day + step for day in DAYS]


@pytest.mark.parametrize("months", INTERVALS)
def test_months_on_and_back_are_those_of_numpy_for_every_day(months: int) -> None:
    on = [add_months(day, months) for day in DAYS]
    back = [subtract(day, Duration(months)) for day in DAYS]
    assert on == numpy_months_on(DAYS64, months).tolist()  # numpy datetime64[M]
    assert back == numpy_months_on(DAYS64, -months).tolist()  # numpy datetime64[M]


@pytest.mark.parametrize("text", ["P1D", "P10D", "P90D", "P1W", "P2W", "P6W", "P52W"])
def test_weeks_and_days_on_are_those_of_timedelta_for_every_day(text: str) -> None:
    number, unit = int(text[1:-1]), text[-1]
    step = timedelta(weeks=number) if unit == "W" else timedelta(days=number)  # Python datetime
    span = Duration.parse(text)
    assert [add(day, span) for day in DAYS] == [day + step for day in DAYS]
    assert [subtract(day, span) for day in DAYS] == [day - step for day in DAYS]


@pytest.mark.parametrize("weeks", [1, 2, 6])
def test_weeks_on_fall_on_the_same_weekday_of_a_later_iso_week(weeks: int) -> None:
    span = Duration.parse(f"P{weeks}W")
    for day in DAYS[::7] + DAYS[6::7]:  # ISO 8601 weeks: 52 or 53 to a year, by 28 December
        year, week, weekday = day.isocalendar()
        last = date(year, 12, 28).isocalendar().week
        later = (year, week + weeks) if week + weeks <= last else (year + 1, week + weeks - last)
        assert add(day, span) == date.fromisocalendar(*later, weekday), day


@pytest.mark.parametrize(
    ("text", "months", "days"), [("P1Y6M10D", 18, 10), ("P1M1W", 1, 7), ("P11M30D", 11, 30)]
)
def test_mixed_spans_go_months_first_as_dateutil_does(text: str, months: int, days: int) -> None:
    step = relativedelta(months=months, days=days)  # python-dateutil
    span = Duration.parse(text)
    some = DAYS[::5]
    assert [add(day, span) for day in some] == [day + step for day in some]
    assert [subtract(day, span) for day in some] == [day - step for day in some]


def test_a_month_is_as_long_as_the_calendar_of_python_and_numpy_say() -> None:
    for year in range(1, 10000):  # calendar.monthrange
        for month in range(1, 13):
            assert month_length(year, month) == calendar.monthrange(year, month)[1], (year, month)
    months = np.arange("1583-01", "3000-01", dtype="datetime64[M]")  # numpy datetime64[M]
    lengths = np.diff(months.astype("datetime64[D]")).astype(int).tolist()
    assert lengths == [month_length(y, m) for y in range(1583, 3000) for m in range(1, 13)][:-1]


def test_a_month_ends_where_the_calendar_says() -> None:
    for day in DAYS:  # calendar.monthrange
        assert month_end(day) == day.replace(day=calendar.monthrange(day.year, day.month)[1])
    last = relativedelta(day=31)  # python-dateutil
    assert [month_end(day) for day in DAYS] == [day + last for day in DAYS]


@pytest.mark.parametrize("period", PERIOD_MONTHS)
def test_the_next_period_ends_where_dateutil_says(period: str) -> None:
    months = {"month": 1, "quarter": 3, "half-year": 6, "year": 12}[period]
    two_periods_on = relativedelta(months=2 * months, days=-1)  # python-dateutil
    for day in DAYS:
        start = day.replace(day=1, month=day.month - (day.month - 1) % months)
        assert end_of_next_period(day, period) == start + two_periods_on, day


@pytest.mark.parametrize("period", PERIOD_MONTHS)
def test_the_next_period_is_the_one_numpy_counts_next(period: str) -> None:
    months = {"month": 1, "quarter": 3, "half-year": 6, "year": 12}[period]
    since_1970 = DAYS64.astype("datetime64[M]").astype(int)  # numpy counts from 1970-01
    next_but_one = ((since_1970 // months + 2) * months).astype("datetime64[M]")
    ends = next_but_one.astype("datetime64[D]") - np.timedelta64(1, "D")
    assert [end_of_next_period(day, period) for day in DAYS] == ends.tolist()


@pytest.mark.parametrize(
    ("start", "months", "expected", "source"),
    [
        (date(2025, 1, 31), 1, date(2025, 2, 28), "python-dateutil; X13"),
        (date(2025, 1, 31), 2, date(2025, 3, 31), "python-dateutil; X13: not 28 March"),
        (date(2025, 8, 31), 6, date(2026, 2, 28), "due/README 3"),
        (date(2023, 8, 31), 6, date(2024, 2, 29), "due/README 3"),
        (date(2024, 2, 29), 12, date(2025, 2, 28), "due/README 3"),
        (date(2096, 2, 29), 48, date(2100, 2, 28), "python-dateutil; X13: 2100 is no leap year"),
        (date(2096, 2, 29), 96, date(2104, 2, 29), "python-dateutil: the 29th is not lost"),
        (date(2024, 2, 29), 1, date(2024, 3, 29), "python-dateutil: the end is not kept"),
    ],
)
def test_a_clamped_day_is_clamped_once(
    start: date, months: int, expected: date, source: str
) -> None:
    assert add_months(start, months) == expected, source
    assert start + relativedelta(months=months) == expected, source


def test_chained_months_lose_days_that_one_step_keeps() -> None:
    """X13: so the engine must count from the base in one step, as python-dateutil does."""
    step = relativedelta(months=2)
    ends = [day for day in DAYS if day.day > 28]
    lost = {day for day in ends if add_months(add_months(day, 1), 1) != day + step}
    assert {(day.month, day.day) for day in lost} == {
        (1, 29),
        (1, 30),
        (1, 31),
        (3, 31),
        (5, 31),
        (8, 31),
        (10, 31),
    }
    assert [add_months(day, 2) for day in ends] == [day + step for day in ends]


@pytest.mark.parametrize("months", INTERVALS)
def test_a_later_start_never_ends_earlier(months: int) -> None:
    ends = [add_months(day, months) for day in DAYS]
    assert ends == sorted(ends)
    assert ends == sorted(numpy_months_on(DAYS64, months).tolist())  # numpy


@pytest.mark.parametrize(
    ("text", "months", "days", "source"),
    [
        ("P5Y", 60, 0, "ISO 8601: PnY"),
        ("P30M", 30, 0, "ISO 8601: PnM"),
        ("P2W", 0, 14, "ISO 8601: PnW, seven days each"),
        ("P10D", 0, 10, "ISO 8601: PnD"),
        ("P1Y6M", 18, 0, "ISO 8601: larger units first"),
        ("P1Y2M10D", 14, 10, "ISO 8601: larger units first"),
        ("P2Y3W", 24, 21, "ISO 8601-2:2019: weeks beside other units"),
        ("P05Y", 60, 0, "ISO 8601: leading zeros"),
        ("P1Y0M", 12, 0, "ISO 8601: a unit may be zero"),
    ],
)
def test_a_duration_is_read_as_the_standard_writes_it(
    text: str, months: int, days: int, source: str
) -> None:
    assert Duration.parse(text) == Duration(months, days), source


@pytest.mark.parametrize(
    ("text", "source"),
    [
        ("", "empty"),
        ("P", "ISO 8601: at least one unit"),
        ("P0D", "a span of nothing"),
        ("P0Y0M0W0D", "a span of nothing"),
        ("5Y", "ISO 8601: begins with P"),
        ("P5", "ISO 8601: a number has its unit"),
        ("PY", "ISO 8601: a unit has its number"),
        ("p5y", "ISO 8601: capital letters"),
        ("P-5Y", "no span back"),
        ("-P5Y", "no span back"),
        ("+P5Y", "no sign"),
        ("P1.5Y", "whole numbers only"),
        ("P1,5Y", "whole numbers only"),
        ("P1M1Y", "ISO 8601: larger units first"),
        ("P1D1W", "ISO 8601: larger units first"),
        ("P1Y1Y", "ISO 8601: each unit once"),
        ("PT24H", "no hours: a due date is a day"),
        ("P1DT12H", "no hours: a due date is a day"),
        ("P1Y ", "no space"),
        (" P1Y", "no space"),
        ("P1Y\n", "no line break"),
        ("P 1Y", "no space"),
        ("P\u0663Y", "ISO 8601: the digits 0 to 9, no others"),
        ("P\uff15Y", "ISO 8601: the digits 0 to 9, no others"),
        ("P10000Y", "beyond any calendar"),
        ("P0001-02-03", "ISO 8601 alternative form, not used here"),
        ("5 years", "words"),
        ("as-marked", "not a span"),
    ],
)
def test_a_duration_nobody_can_mean_is_refused(text: str, source: str) -> None:
    with pytest.raises(DurationProblem, match="write an ISO 8601 one such as P5Y"):
        Duration.parse(text)
    assert source


@pytest.mark.parametrize("move", [add, subtract])
def test_the_longest_spans_stay_within_the_calendar(
    move: Callable[[date, Duration], date],
) -> None:
    longest = Duration.parse("P999Y")
    assert move(date(2000, 2, 29), longest) == date(2000, 2, 29) + (
        relativedelta(years=999) if move is add else -relativedelta(years=999)  # python-dateutil
    )

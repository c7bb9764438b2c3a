"""ISO 8601 durations of whole years, months, weeks and days, and adding them to a day."""

import re
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Self

_FORM = re.compile(r"P(?:(\d{1,3})Y)?(?:(\d{1,4})M)?(?:(\d{1,4})W)?(?:(\d{1,5})D)?", re.ASCII)
_MONTH_DAYS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)


class DurationProblem(ValueError):
    """A duration nobody can mean; the text says what to write instead."""


@dataclass(frozen=True, slots=True)
class Duration:
    """A span as rule tables write it: `months` calendar months and then `days` days."""

    months: int = 0
    days: int = 0

    @classmethod
    def parse(cls, text: str) -> Self:
        """Read an ISO 8601 duration such as P5Y, P30M, P2W or P10D.

        Raises DurationProblem for anything else, an empty or zero span included.
        """
        found = _FORM.fullmatch(text)
        years, months, weeks, days = (
            (int(part or 0) for part in found.groups()) if found else (0,) * 4
        )
        span = cls(12 * years + months, 7 * weeks + days)
        if not span.months and not span.days:
            raise DurationProblem(
                "is not a duration; write an ISO 8601 one such as P5Y, P30M, P2W or P10D"
            )
        return span


def month_length(year: int, month: int) -> int:
    """Return the number of days of a month (1 to 12) in the Gregorian calendar."""
    if month == 2 and year % 4 == 0 and (year % 100 != 0 or year % 400 == 0):
        return 29
    return _MONTH_DAYS[month - 1]


def add_months(day: date, months: int) -> date:
    """Return the day `months` calendar months on, clamped to the month's last day.

    Always one step from the base, never chained: 31 January + 2 months is 31 March.
    """
    year, month0 = divmod(day.year * 12 + day.month - 1 + months, 12)
    number = day.day
    if number > 28:
        number = min(number, month_length(year, month0 + 1))
    return date(year, month0 + 1, number)


def add(day: date, span: Duration) -> date:
    """Return the day one span after `day`."""
    moved = add_months(day, span.months) if span.months else day
    return moved + timedelta(days=span.days) if span.days else moved


def subtract(day: date, span: Duration) -> date:
    """Return the day one span before `day`."""
    return add(day, Duration(-span.months, -span.days))


def month_end(day: date) -> date:
    """Return the last day of the month that holds `day`."""
    return day.replace(day=month_length(day.year, day.month))


PERIOD_MONTHS = {"month": 1, "quarter": 3, "half-year": 6, "year": 12}


def end_of_next_period(day: date, period: str) -> date:
    """Return the last day of the calendar period after the one that holds `day`.

    period: month, quarter, half-year or year.
    """
    size = PERIOD_MONTHS[period]
    start = (day.month - 1) // size * size + 1
    return month_end(add_months(date(day.year, start, 1), 2 * size - 1))

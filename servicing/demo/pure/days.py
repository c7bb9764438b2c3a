"""Days counted back from the day asked for, and draws that come out the same every time."""

from collections.abc import Mapping
from datetime import date, timedelta
from functools import cache
from random import Random

from dateutil.rrule import DAILY, FR, MO, TH, TU, WE, rrule

from servicing.rules.pure.durations import add_months

WORKDAYS = (MO, TU, WE, TH, FR)
"""The days on which the workshop and the filling point work."""
MONTH_DAYS = 30.4
"""A mean month, rounded down, so that so many of them never pass the calendar's."""


def ago(on: date, span: Mapping[str, int]) -> date:
    """Return the day so many calendar `months` and then `days` before `on`."""
    return add_months(on, -span.get("months", 0)) - timedelta(days=span.get("days", 0))


def first_of_month(on: date, months_back: int) -> date:
    """Return the first day of the calendar month so many months before that of `on`."""
    return add_months(on.replace(day=1), -months_back)


def newest(on: date) -> date:
    """Return the last day that records are drawn for.

    Not `on` itself: where the demo is looked at from another time zone that day may
    not have begun.
    """
    return on - timedelta(days=2)


@cache
def workday_before(day: date) -> date:
    """Return the day, or the Friday before where it falls on a weekend."""
    return rrule(DAILY, byweekday=WORKDAYS, dtstart=day - timedelta(days=2), until=day)[-1].date()


@cache
def workday_after(day: date) -> date:
    """Return the day, or the Monday after where it falls on a weekend."""
    return rrule(DAILY, byweekday=WORKDAYS, dtstart=day, count=1)[0].date()


def stream(*words: object) -> Random:
    """Return a source of draws that is the same whenever its words are.

    Each item and habit has its own, so a change to one doesn't stir the others.
    """
    return Random("/".join(map(str, words)))  # noqa: S311  an invented fleet, no secret

"""How long it is from one day to another, in words: ages, lateness, the time that is left.

Counted by the calendar: whole months first, then days, as `dateutil.relativedelta` does. No
due date is computed here: the engine has its own months (`servicing/rules/pure/durations.py`),
which the tests hold to those of relativedelta.
"""

from datetime import date

from dateutil.relativedelta import relativedelta


def how_many(number: int, one: str, many: str = "") -> str:
    """Return a number with its noun, such as 1 day or 3 days."""
    return f"{number} {one if number == 1 else many or one + 's'}"


def span_words(start: date, end: date) -> str:
    """Return the time from one day to a later one, exact to the day: 3 months 2 days.

    Where both are the same it is 0 days.
    """
    found = relativedelta(end, start)
    parts = ((found.years, "year"), (found.months, "month"), (found.days, "day"))
    return " ".join(how_many(n, word) for n, word in parts if n) or how_many(0, "day")


def age_words(made_on: date, on: date) -> str:
    """Return how old something is on a day, in whole months: 12 years 3 months.

    Younger than a month it is so many days old.
    """
    found = relativedelta(on, made_on)
    parts = ((found.years, "year"), (found.months, "month"))
    return " ".join(how_many(n, word) for n, word in parts if n) or how_many(found.days, "day")


def how_far(due_on: date, on: date) -> str:
    """Return how far off a due date is on a day: 3 months 2 days over, or in 12 days.

    The due date itself is the last good day.
    """
    if due_on == on:
        return "the last good day"
    return f"{span_words(due_on, on)} over" if due_on < on else f"in {span_words(on, due_on)}"

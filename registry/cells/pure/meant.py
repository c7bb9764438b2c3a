"""Which day or month a text may mean that names its month in letters: to suggest, not to read.

Asked only after our own refusals (`days.py`), and of texts alone that leave nothing open: the
month in letters, the year in four figures, and the same answer however the parser may put the
parts in order and whatever it may fill in. Nothing is ever accepted because of it.
"""

import re
from datetime import date, datetime

from dateutil.parser import parse

LONGEST = 40
_LETTERS = re.compile(r"[A-Za-z]{3}")
_YEAR = re.compile(r"(?<!\d)\d{4}(?!\d)", re.ASCII)
_WEEKDAY = re.compile(r"\b(mon|tue|wed|thu|fri|sat|sun)", re.IGNORECASE)
_FILLED_IN = (datetime(2001, 1, 1), datetime(2004, 12, 28))  # noqa: DTZ001  days, no moments
"""What the parser takes where the text is silent: two that share nothing."""


def day_meant(text: str) -> date | None:
    """Return the one day that a text can mean, or None."""
    found = _readings(text)
    return found.pop() if len(found) == 1 else None


def month_meant(text: str) -> date | None:
    """Return the first day of the one month that a text without a day can mean, or None."""
    found = _readings(text)
    months = {day.replace(day=1) for day in found}
    return months.pop() if len(found) > 1 and len(months) == 1 else None


def _readings(text: str) -> set[date]:
    """Return every day that the parser makes of a text; none where it, or we, can't read it."""
    years = _YEAR.findall(text)
    if len(text) > LONGEST or not text.isascii() or not _LETTERS.search(text) or len(years) != 1:
        return set()
    found = set()
    for filled_in in _FILLED_IN:
        for day_first in (False, True):
            try:
                read = parse(text, default=filled_in, dayfirst=day_first, ignoretz=True)
            except (ValueError, ArithmeticError, TypeError):
                return set()
            found.add(read.date())
    named = _WEEKDAY.search(text)
    told = {day for day in found if named is None or f"{day:%a}".lower() == named[1].lower()}
    return found if told == found and {str(day.year) for day in found} == set(years) else set()

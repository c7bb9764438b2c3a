"""Days in lists: ISO 8601 only, and for anything else the sentence that helps to write it.

A guess would often be wrong: 03/04/2025 is 4 March in one country and 3 April in another,
and both are good days for a retest.
"""

import re
from calendar import monthrange
from collections.abc import Callable
from datetime import date, timedelta

from registry.cells.pure.meant import day_meant, month_meant
from registry.cells.pure.values import ValueProblem
from registry.wording.pure.dates import MONTHS

FIRST_YEAR, LAST_YEAR = 1900, 2199
SERIAL_ZERO = date(1899, 12, 30)
WANTED = "write YYYY-MM-DD"
DAY = re.compile(r"(\d{4})-(\d{2})-(\d{2})", re.ASCII)
MONTH = re.compile(r"(\d{4})-(\d{2})", re.ASCII)
MONTH_LAST = re.compile(r"(\d{1,2})[./ -](\d{4})", re.ASCII)
YEAR = re.compile(r"\d{4}", re.ASCII)


def day(text: str) -> date:
    """Return the day written as YYYY-MM-DD, 1900 to 2199.

    Raises ValueProblem for any other way of writing, also where it could be guessed.
    """
    if found := DAY.fullmatch(text):
        return _real_day(int(found[1]), int(found[2]), int(found[3]))
    raise ValueProblem(_remedy(text))


def month_or_day(text: str) -> tuple[date, bool]:
    """Return the day, or the month's first day and True where only the month is written.

    Raises ValueProblem for anything but YYYY-MM-DD and YYYY-MM.
    """
    if found := MONTH.fullmatch(text):
        return _real_day(int(found[1]), int(found[2]), 1), True
    if found := MONTH_LAST.fullmatch(text):
        month = _real_day(int(found[2]), int(found[1]), 1)
        raise ValueProblem(f"has the year last; write YYYY-MM: {month:%Y-%m}")
    if YEAR.fullmatch(text):
        raise ValueProblem("has no month; write YYYY-MM, or YYYY-MM-DD")
    if (meant := month_meant(text)) and FIRST_YEAR <= meant.year <= LAST_YEAR:
        raise ValueProblem(f"is not in the form YYYY-MM; write {meant:%Y-%m}")
    return day(text), False


def _real_day(year: int, month: int, number: int) -> date:
    if not FIRST_YEAR <= year <= LAST_YEAR:
        raise ValueProblem(f"has the year {year}; write a year from {FIRST_YEAR} to {LAST_YEAR}")
    if not 1 <= month <= 12:
        raise ValueProblem(f"has the month {month}, and there are 12; {WANTED}")
    last = monthrange(year, month)[1]
    if not 1 <= number <= last:
        name = MONTHS[month - 1]
        raise ValueProblem(f"does not exist: {name} {year} has {last} days; {WANTED}")
    return date(year, month, number)


def _remedy(text: str) -> str:
    """Return what to write instead of something that isn't YYYY-MM-DD."""
    if not text:
        return f"is empty; {WANTED}"
    for form, remedy in OTHER_FORMS:
        if found := form.fullmatch(text):
            return remedy(found)
    if (meant := day_meant(text)) and FIRST_YEAR <= meant.year <= LAST_YEAR:
        return f"is not in the form YYYY-MM-DD; write {meant.isoformat()}"
    return f"is not a day; {WANTED}, such as 2026-03-05"


def _year_first(found: re.Match[str]) -> str:
    try:
        return (
            "is not in the form YYYY-MM-DD; write "
            f"{_real_day(*map(int, found.groups())).isoformat()}"
        )
    except ValueProblem as problem:
        return problem.remedy


def _year_last(found: re.Match[str]) -> str:
    """Say which days it can be: the day first, as in most countries, or the month first."""
    first, second, year = map(int, found.groups())
    readings = [(year, second, first), (year, first, second)]
    if second > 12:
        readings.reverse()
    real, why = [], ""
    for reading in readings:
        try:
            real.append(_real_day(*reading))
        except ValueProblem as problem:
            why = why or problem.remedy
    if not real:
        return why
    if len(set(real)) == 1:
        return f"has the year last; write YYYY-MM-DD: {real[0].isoformat()}"
    one, other = (f"{each.day} {MONTHS[each.month - 1]}" for each in real)
    return (
        f"can be {one} or {other}; write YYYY-MM-DD, {real[0].isoformat()} or {real[1].isoformat()}"
    )


def _serial(found: re.Match[str]) -> str:
    meant = SERIAL_ZERO + timedelta(days=int(found[1]))
    return f"is a spreadsheet's number for a day, perhaps {meant.isoformat()}; {WANTED}"


OTHER_FORMS: tuple[tuple[re.Pattern[str], Callable[[re.Match[str]], str]], ...] = tuple(
    (re.compile(form, re.ASCII), remedy)
    for form, remedy in (
        (r"\d{4}-\d{2}", lambda _: f"has no day; {WANTED}"),
        (
            r"(\d{4}-\d{2}-\d{2})[ T]\d{1,2}:\d{2}.{0,30}",
            lambda found: f"has a time of day; write the day alone: {found[1]}",
        ),
        (r"(\d{4})[./-](\d{1,2})[./-](\d{1,2})", _year_first),
        (r"(\d{4})(\d{2})(\d{2})", _year_first),
        (r"(\d{1,2})[./-](\d{1,2})[./-](\d{4})", _year_last),
        (
            r"\d{1,2}[./-]\d{1,2}[./-]\d{2}",
            lambda _: "has a year of two figures; write all four, YYYY-MM-DD",
        ),
        (r"(\d{5})(?:[.,]\d{1,12})?", _serial),
    )
)

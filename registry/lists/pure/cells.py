"""What a number in a workbook looks like to the person who reads the sheet.

A workbook keeps numbers, dates and percentages alike as floating-point numbers, and the
cell's format says what they look like. Only what a format certainly shows is followed:
dates, percentages, and zeros that fill up a number. Otherwise a number is written out plainly.
"""

import re
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from enum import StrEnum
from math import isfinite

from registry.wording.pure.dates import MONTHS

EPOCH_1900 = datetime(1899, 12, 30)  # noqa: DTZ001  a day at a desk, in no zone
EPOCH_1904 = datetime(1904, 1, 1)  # noqa: DTZ001
FALSE_LEAP_DAY = 60
"""Workbooks that count from 1900 have a 29 February 1900 at this number, which never was."""
PAST_ALL_DAYS = 2_950_000
"""In the year 9976 or 9980, by either epoch: still countable, and no day that can be meant."""
EXACT_BELOW = 10**15
"""Spreadsheets keep 15 digits; a longer whole number has been rounded."""

DATED_FORMATS = frozenset({*range(14, 23), *range(27, 37), 45, 46, 47, *range(50, 59)})
MONTH_FORMAT, YEARLESS_FORMAT = 17, 16
BUILT_IN = {1: "0", 2: "0.00", 9: "0%", 10: "0.00%"}
NOISE = re.compile(r'"[^"]*"|\[[^\]]*\]|[\\_*].')
ZEROS = re.compile(r"(0+)(?:\.(0+))?")


class Dated(StrEnum):
    """How much of a moment a format shows."""

    WHOLE = "whole"
    MONTH = "month"  # no day
    YEAR = "year"
    YEARLESS = "yearless"  # a day without its year, which the spreadsheet then has guessed


@dataclass(frozen=True, slots=True)
class Shape:
    """What a format makes of a number.

    dated: it shows a date or a time. whole, places: zeros that fill up to so many digits
    before and after the point.
    """

    dated: Dated | None = None
    percent: bool = False
    whole: int = 0
    places: int = 0


def shape_of(number: int, code: str) -> Shape:
    """Return the shape of a format by its number in the workbook and its code, if it has one."""
    if number in DATED_FORMATS:
        built_in = {MONTH_FORMAT: Dated.MONTH, YEARLESS_FORMAT: Dated.YEARLESS}
        return Shape(dated=built_in.get(number, Dated.WHOLE))
    plain = NOISE.sub("", (code or BUILT_IN.get(number, "")).split(";")[0]).lower()
    if plain != "general" and set(plain) & set("dmyhs"):
        return Shape(dated=_dated(set(plain)))
    if found := ZEROS.fullmatch(plain):
        return Shape(whole=len(found[1]), places=len(found[2] or ""))
    return Shape(percent="%" in plain)


def _dated(letters: set[str]) -> Dated:
    year = bool(letters & set("yeb"))  # e and b: years of eras and of the Buddhist calendar
    if "d" in letters:
        return Dated.WHOLE if year else Dated.YEARLESS
    if year and not letters & set("hs"):
        return Dated.MONTH if "m" in letters else Dated.YEAR
    return Dated.WHOLE


def text_as_shown(raw: str, shape: Shape, *, epoch: datetime) -> str:
    """Return a stored number as its cell shows it; a date as ISO 8601.

    More than 15 digits come out with an exponent, as the spreadsheet rounded them. Raises
    ValueError for what is no finite number.
    """
    number = float(raw)
    if not isfinite(number):
        raise ValueError(raw)
    if shape.dated and 0 <= number < PAST_ALL_DAYS:
        return _moment(number, shape, epoch)
    text = _written_out(number * 100 if shape.percent else number)
    if shape.percent:
        return text + "%"
    return _filled(text, shape) if shape.whole else text


def _written_out(number: float) -> str:
    if number.is_integer() and abs(number) < EXACT_BELOW:
        return str(int(number))
    text = f"{number:.15g}"
    return text if abs(number) >= EXACT_BELOW else f"{Decimal(text):f}"


def _filled(text: str, shape: Shape) -> str:
    """Fill up with zeros; never round, so a value that shows fewer digits keeps its own."""
    if "e" in text or text.startswith("-"):
        return text
    whole, _, places = text.partition(".")
    places = places.ljust(shape.places, "0")
    return whole.zfill(shape.whole) + (f".{places}" if places else "")


def _moment(number: float, shape: Shape, epoch: datetime) -> str:
    if epoch == EPOCH_1900 and number < FALSE_LEAP_DAY + 1:
        if number >= FALSE_LEAP_DAY:
            return "1900-02-29"
        number += number >= 1
    moment = epoch + timedelta(seconds=round(number * 86400))
    if number < 1:
        return moment.time().isoformat()
    if moment.time() != datetime.min.time():
        return moment.isoformat(sep=" ")
    return _day(moment, shape)


def _day(moment: datetime, shape: Shape) -> str:
    match shape.dated:
        case Dated.YEARLESS:
            return f"{moment.day} {MONTHS[moment.month - 1]}"
        case Dated.YEAR:
            return f"{moment:%Y}"
        case Dated.MONTH if moment.day == 1:
            return f"{moment:%Y-%m}"
    return f"{moment:%Y-%m-%d}"

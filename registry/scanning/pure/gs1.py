"""GS1 element strings: taken apart with biip, and refused where they have two readings.

Sources: GS1 Syntax Dictionary for 8003 (N1 zero, N13 with check digit, X..16), 8004 (X..30),
01 (N14 with check digit) and 21 (X..20); GS1 General Specifications 7.12 for dates, where day
00 is the month's last day and the century is the nearest to the year of reading.
"""

import calendar
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date

from biip import ParseError
from biip.checksums import gs1_standard_check_digit
from biip.gs1_application_identifiers import GS1ApplicationIdentifier
from biip.gs1_element_strings import GS1ElementString

GS = "\x1d"
GTIN, SERIAL, RETURNABLE, ASSET = "01", "21", "8003", "8004"
DATES = ("11", "12", "13", "15", "16", "17")
_DATE = re.compile(r"([0-9]{2})([0-9]{2})([0-9]{2})")


class Gs1Problem(ValueError):
    """An element string that can't be taken; it says why. readings: what it could mean."""

    def __init__(self, text: str, readings: Iterable[str] = ()) -> None:
        super().__init__("".join(one if one.isprintable() else "?" for one in text))
        self.readings = tuple(dict.fromkeys(readings))


@dataclass(frozen=True, slots=True)
class Element:
    """One part of a GS1 code: its application identifier, what that means, its value."""

    ai: str
    title: str
    value: str

    def on(self, year: int) -> date | None:
        """Return the day a date element means, read in `year`; None for other elements.

        Day 00 is the month's last day. A year more than 50 ahead lies in the century before,
        one 50 or more back in the next (GS1 General Specifications 7.12).
        """
        found = _DATE.fullmatch(self.value) if self.ai in DATES else None
        if found is None:
            return None
        short, month, day = (int(part) for part in found.groups())
        gap = short - year % 100
        century = year // 100 * 100 + (100 if gap <= -50 else -100 if gap > 50 else 0)
        last = calendar.monthrange(century + short, month)[1]
        return date(century + short, month, day or last)


@dataclass(frozen=True, slots=True)
class Identity:
    """What a GS1 code names.

    bracketed, plain: the identifying elements written out. values: asset numbers that may
    stand alone as a tag. serials: serial numbers, which count only beside what they belong
    to and so are offered. kind_only: it names a kind of thing, not one.
    """

    bracketed: str
    plain: str
    values: tuple[str, ...] = ()
    serials: tuple[str, ...] = ()
    kind_only: bool = False


def elements_of(text: str) -> tuple[Element, ...]:
    """Return the elements of an element string, with brackets or with GS (29) between.

    Raises Gs1Problem for a wrong check digit, a value its identifier does not allow, and
    for a missing separator: then with the readings it could have.
    """
    bare = text.strip(GS)
    if bare.startswith("("):
        return _bracketed(bare)
    found: list[Element] = []
    segments = bare.split(GS)
    for number, segment in enumerate(segments):
        found += _segment(segment, closed=number < len(segments) - 1)
    return tuple(found)


def identity_of(elements: tuple[Element, ...]) -> Identity | None:
    """Return what the elements name; None where none of them identifies anything.

    Raises Gs1Problem where they name two things.
    """
    by_ai: dict[str, str] = {}
    for element in elements:
        if by_ai.setdefault(element.ai, element.value) != element.value:
            raise Gs1Problem(f"The code gives ({element.ai}) twice with different values.")
    named = [ai for ai in (ASSET, RETURNABLE, GTIN) if ai in by_ai]
    if not named:
        return None
    if len(named) > 1:
        forms = [f"({ai}){by_ai[ai]}" for ai in named]
        raise Gs1Problem(f"The code names {' and '.join(forms)}; scan a code for one thing.", forms)
    ai, value = named[0], by_ai[named[0]]
    if ai == ASSET:
        return Identity(f"(8004){value}", f"8004{value}", values=(value,))
    if ai == RETURNABLE:
        serial = value[14:]
        bracketed, plain = f"(8003){value}", f"8003{value}"
        if not serial:
            return Identity(bracketed, plain, kind_only=True)
        return Identity(bracketed, plain, values=(value,), serials=(serial,))
    serial = by_ai.get(SERIAL, "")
    if not serial:
        return Identity(f"(01){value}", f"01{value}", kind_only=True)
    return Identity(f"(01){value}(21){serial}", f"01{value}21{serial}", serials=(serial,))


def _bracketed(text: str) -> tuple[Element, ...]:
    """Read what stands with its identifiers in brackets, as printed under a code."""
    parts = re.split(r"\(([0-9]{2,4})\)", text)
    found = []
    for ai, value in zip(parts[1::2], parts[2::2], strict=True):
        element, rest = _first(ai + value)
        if rest or element.ai != ai:
            raise Gs1Problem(f"{value[:40]} can't stand behind ({ai}); look at the printed text.")
        found.append(element)
    return tuple(found)


def _segment(text: str, *, closed: bool) -> Iterator[Element]:
    """Yield the elements up to a separator or the end. closed: a separator follows."""
    while text:
        element, rest = _first(text)
        needs = GS1ApplicationIdentifier.extract(element.ai).separator_required
        if needs and rest:
            raise Gs1Problem(
                f"The value behind ({element.ai}) is too long: the separator behind it was lost. "
                "Set the scanner to send it (GS, 29), or type the printed text with its brackets."
            )
        if needs and not closed and (other := _second_reading(element)):
            whole = f"({element.ai}){element.value}"
            raise Gs1Problem(
                f"The code can mean {whole} or {other}: a separator may have been lost. Type the "
                "printed text with its brackets.",
                (whole, other),
            )
        yield element
        text = rest


def _first(text: str) -> tuple[Element, str]:
    """Return the first element of a text and what stands behind it."""
    try:
        found = GS1ElementString.extract(text)
    except ParseError as problem:
        raise Gs1Problem(
            f"{text[:40]} is not a GS1 element: the identifier in front is unknown, or the value "
            "behind it is not allowed. Scan it again or type the printed text."
        ) from problem
    element = Element(found.ai.ai, found.ai.data_title, found.value)
    _check(element)
    return element, text[len(element.ai) + len(element.value) :]


def _check(element: Element) -> None:
    """Refuse a wrong check digit."""
    digits = {GTIN: element.value, RETURNABLE: element.value[:14]}.get(element.ai)
    if digits is None:
        return
    wanted = gs1_standard_check_digit(digits[:-1])
    if int(digits[-1]) != wanted:
        raise Gs1Problem(
            f"The check digit of ({element.ai}){digits} is wrong: it ends in {digits[-1]} and "
            f"would have to end in {wanted}. Scan it again, or read the printed number."
        )


def _second_reading(element: Element) -> str:
    """Return another reading of a value that stands last, where its tail is an element too.

    Only tails that are hardly there by chance count: a number with its check digit, a real
    date, an asset number.
    """
    value = element.value
    for cut in range(1, len(value) - 5):
        tail = value[cut:]
        if not tail.startswith((*DATES, GTIN, RETURNABLE, ASSET)):
            continue
        try:
            behind, rest = _first(tail)
        except Gs1Problem:
            continue
        if behind.ai in (*DATES, GTIN) and rest and not rest.startswith((SERIAL, *DATES, "10")):
            continue
        if behind.ai in (*DATES, GTIN, RETURNABLE, ASSET):
            return f"({element.ai}){value[:cut]}({behind.ai}){behind.value}" + (
                f" with {rest}" if rest else ""
            )
    return ""

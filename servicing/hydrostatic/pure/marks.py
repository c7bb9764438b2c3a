"""The mark of a retest as the standards lay it out, and reading one back.

The layout of the US mark and its suffixes: 49 CFR 180.213(d), (f), edition of 2015 [text].
The ISO form, year/month beside the body's own mark: ISO 13769 [memory]; UK manual [secondary].
Nothing here is a licence to mark: see CAUTION.
"""

import re
from dataclasses import dataclass
from datetime import date

from servicing.hydrostatic.pure.amounts import HydroProblem

CAUTION = (
    "Only a body approved by the authority may mark a cylinder, with its own number, and only "
    "after a retest that it has passed. This text shows how the mark is laid out; it marks nothing."
)
US_SIZE = "figures at least 6.35 mm (1/4 in) high, the body's number at least 3.18 mm (1/8 in)"

SUFFIXES = {
    "*": "ten years until the next test (star)",
    "+": "may be filled to 110 % of the marked service pressure",
    "S": "proof pressure test (or the shell of a DOT 8)",
    "E": "external visual inspection, no pressure test",
    "FS": "shell and filler of an acetylene cylinder",
    "AE": "acoustic emission",
    "UE": "ultrasonic examination",
    "VE": "eddy current examination of the neck, no pressure test",
}
NOT_PRESSURE_TESTS = ("E", "FS", "VE")
_RIN = re.compile(r"[A-Z0-9]{4}")
_US = re.compile(
    r"(1[0-2]|0?[1-9])\s*\[([A-Z0-9]{2})/([A-Z0-9]{2})\]\s*(\d{2})\s*"
    r"((?:[*+]|FS|AE|UE|VE|S|E)*)"
)
_SUFFIX = re.compile(r"[*+]|FS|AE|UE|VE|S|E")
_ISO = re.compile(r"(\d{4})[/-](\d{2})(?:\s+(\S.{0,19}))?")
_EITHER = re.compile(r"\d{1,2}[/.-]\d{2}")


@dataclass(frozen=True, slots=True)
class UsMark:
    """Month, the body's four characters (RIN), two-digit year, and what was done.

    year: all four figures, for sums; only two are stamped.
    """

    month: int
    year: int
    body: str
    suffixes: tuple[str, ...] = ()

    @property
    def lines(self) -> tuple[str, str, str]:
        """Three lines: the square's upper row, month and year, the square's lower row.

        The body's characters go clockwise from the upper left.
        """
        upper, lower = self._square
        between = f"{self.month:>2}    {self._year}"
        return (f"   {upper}", between, f"   {lower}")

    @property
    def is_pressure_test(self) -> bool:
        """Whether the mark stands for a hydrostatic test, not only for a look or a probe."""
        return not any(suffix in NOT_PRESSURE_TESTS for suffix in self.suffixes)

    def __str__(self) -> str:
        upper, lower = self._square
        return f"{self.month} [{upper}/{lower}] {self._year}"

    @property
    def _square(self) -> tuple[str, str]:
        return self.body[:2], self.body[:1:-1]

    @property
    def _year(self) -> str:
        return f"{self.year % 100:02d}{''.join(self.suffixes)}"


@dataclass(frozen=True, slots=True)
class IsoMark:
    """Year and month of the test, and the body's own mark where it is known."""

    year: int
    month: int
    body: str = ""

    def __str__(self) -> str:
        return f"{self.year}/{self.month:02d} {self.body}".strip()


def us_mark(tested: date, body: str, suffixes: tuple[str, ...] = ()) -> UsMark:
    """Return the US mark for a test's month. Raises HydroProblem for another body or suffix."""
    if _RIN.fullmatch(body) is None:
        raise HydroProblem(f"{body!r} is no number of a US body; it has four letters or figures.")
    for suffix in suffixes:
        if suffix not in SUFFIXES:
            raise HydroProblem(f"{suffix!r} is no suffix; there are {', '.join(SUFFIXES)}.")
    return UsMark(tested.month, tested.year, body, suffixes)


def read_us_mark(text: str, not_after: date) -> UsMark:
    """Read a mark written as 9 [A1/32] 06: the square's rows between brackets.

    not_after: the mark can't be from later; of the years that end in two figures the latest
    one up to then is meant. Raises HydroProblem where it can't be read.
    """
    found = _US.fullmatch(text.strip().upper())
    if found is None:
        raise HydroProblem(
            f"{text!r} can't be read; write month, the square's rows and the year, such as "
            "9 [A1/32] 06, with the suffix behind it."
        )
    month, upper, lower, year, tail = found.groups()
    full = not_after.year - (not_after.year - int(year)) % 100
    if (full, int(month)) > (not_after.year, not_after.month):
        full -= 100
    body = f"{upper}{lower[1]}{lower[0]}"
    return UsMark(int(month), full, body, tuple(_SUFFIX.findall(tail)))


def iso_mark(tested: date, body: str = "") -> IsoMark:
    """Return the mark of an ISO or EN cylinder for a test's month."""
    return IsoMark(tested.year, tested.month, body)


def read_iso_mark(text: str) -> IsoMark:
    """Read YYYY/MM with the body's mark behind it.

    Raises HydroProblem for 03/14 and its like: month and year, or year and month, or the day
    on which the test expires. The body that stamped it has to be asked.
    """
    text = text.strip()
    if (found := _ISO.fullmatch(text)) and 1 <= int(found[2]) <= 12:
        return IsoMark(int(found[1]), int(found[2]), found[3] or "")
    if _EITHER.fullmatch(text):
        raise HydroProblem(
            f"{text!r} may be month and year or year and month; ask who stamped it and write "
            "YYYY/MM."
        )
    raise HydroProblem(f"{text!r} can't be read; write YYYY/MM and the body's mark.")


def composite_label(
    tested: date, body: str, *, serial: str, test_pressure: str, us: bool
) -> tuple[str, ...]:
    """Return the lines of a retest label for a wrapped cylinder.

    It goes near the maker's label and under resin; a composite is never stamped
    (49 CFR 180.213(c)(3) [text]; for ISO 11623 from memory).
    """
    mark = str(us_mark(tested, body) if us else iso_mark(tested, body))
    return (mark, f"serial {serial}", f"tested at {test_pressure}")

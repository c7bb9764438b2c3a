"""Numbers and words in lists, read strictly.

Each parser takes the trimmed text of one cell and returns its value, or raises ValueProblem.
Nothing is guessed: 1,200 litres and 1.200 litres differ by a factor of a thousand.
"""

import difflib
import re
from collections.abc import Callable, Collection
from dataclasses import dataclass
from decimal import Decimal
from typing import TypeVar

T = TypeVar("T")

SHOWN_WORDS = 12
"""So many words of a vocabulary are listed in a message; of a longer one, the nearest."""
ASKED = 200
"""So many unknown words are compared with a vocabulary: each takes as long as the vocabulary."""
LONGEST_WORD = 64

DECIMAL = re.compile(r"[+-]?\d{1,12}(?:[.,]\d{1,9})?", re.ASCII)
AMBIGUOUS = re.compile(r"[+-]?([1-9]\d{0,2}),(\d{3})", re.ASCII)
WHOLE = re.compile(r"\d{1,9}", re.ASCII)
EXPONENT = re.compile(r"[+-]?\d{1,15}(?:[.,]\d{0,15})?[eE][+-]?\d{1,4}", re.ASCII)
GROUPED = re.compile(r"[+-]?\d{1,3}(?:[.,' \u00a0\u2009\u202f\u2019]\d{3})+(?:[.,]\d*)?", re.ASCII)
WITH_UNIT = re.compile(r"[+-]?[\d.,]{1,20}\s?[^\W\d][^\d]{0,20}|[+-]?[\d.,]{1,20}\s?[%°\"]\w?")


class ValueProblem(ValueError):
    """A cell's text can't be taken. remedy: a sentence that begins with the text itself."""

    def __init__(self, remedy: str) -> None:
        super().__init__(remedy)
        self.remedy = remedy


def decimal(text: str, unit: str = "") -> Decimal:
    """Return a number written with a decimal point or comma, without needless zeros.

    unit: what the column is in, for the message where a unit stands in the cell.
    Raises ValueProblem for thousands separators, exponents, units and what is no number.
    """
    if DECIMAL.fullmatch(text) is None or AMBIGUOUS.fullmatch(text):
        raise ValueProblem(_number_remedy(text, unit))
    number = Decimal(text.replace(",", "."))
    if number == number.to_integral_value():
        return number.quantize(Decimal(1)) + 0  # + 0: minus nought is nought
    return number.normalize()


@dataclass(frozen=True, slots=True)
class Measure:
    """What a measured value can be: from low to high, both good, to so many places."""

    low: Decimal
    high: Decimal
    unit: str
    places: int

    def read(self, text: str) -> Decimal:
        """Return the number; raises ValueProblem where it is none or can't be meant."""
        number = decimal(text, self.unit)
        if not self.low <= number <= self.high:
            raise ValueProblem(
                f"is not between {self.low} and {self.high} {self.unit}; "
                "check the figure and its unit"
            )
        if number != round(number, self.places):
            raise ValueProblem(
                f"is finer than {self.places} places after the point; round it to {self.unit} "
                f"with {self.places} places"
            )
        return number


def whole(text: str, low: int, high: int, unit: str) -> int:
    """Return a whole number that lies between two ends, both good."""
    if WHOLE.fullmatch(text) is None:
        if DECIMAL.fullmatch(text):
            raise ValueProblem(f"is not a whole number; write whole {unit}")
        raise ValueProblem(_number_remedy(text, unit))
    number = int(text)
    if not low <= number <= high:
        raise ValueProblem(f"is not between {low} and {high} {unit}; check the figure")
    return number


def _number_remedy(text: str, unit: str) -> str:
    """Return what to write instead of something that can't be read as a number."""
    if not text:
        return "is empty; write a number"
    if found := AMBIGUOUS.fullmatch(text):
        return (
            f"can be {found[1]}{found[2]} or {found[1]}.{found[2]}; "
            "write a decimal point and no thousands separator"
        )
    if GROUPED.fullmatch(text):
        return "has thousands separators; write the digits alone, such as 1234.5"
    if EXPONENT.fullmatch(text):
        return "has an exponent; write the number out, such as 1234.5"
    if WITH_UNIT.fullmatch(text):
        return f"has a unit in the cell; write the number alone{unit and ', in '}{unit}"
    return "is not a number; write digits, such as 6.8, or leave the cell empty if not known"


class Vocabulary:
    """The words one of which a cell must hold.

    what: what each is, with its article ("a kind"). exact: capitals matter, as in codes.
    """

    def __init__(self, words: Collection[str], what: str, *, exact: bool = False) -> None:
        self._fold = str if exact else str.casefold
        self._words = {self._fold(word): str(word) for word in sorted(words)}
        self._what = what
        self._asked: dict[str, str] = {}

    def pick(self, text: str) -> str:
        """Return the word as the vocabulary writes it; raises ValueProblem with the nearest."""
        if (word := self._words.get(self._fold(text))) is not None:
            return word
        raise ValueProblem(self._remedy(text))

    def nearest(self, text: str) -> str:
        """Return the word that looks most like a text, or nothing."""
        if text not in self._asked:
            if len(self._asked) >= ASKED or len(text) > LONGEST_WORD:
                return ""
            near = difflib.get_close_matches(self._fold(text), self._words, n=1, cutoff=0.6)
            self._asked[text] = self._words[near[0]] if near else ""
        return self._asked[text]

    def _remedy(self, text: str) -> str:
        if not text:
            return f"is empty; write {self._what}"
        if near := self.nearest(text):
            return f"is not {self._what}; write {near} if that is meant"
        if 0 < len(self._words) <= SHOWN_WORDS:
            return f"is not {self._what}; write one of {', '.join(self._words.values())}"
        return f"is not {self._what}; check the spelling"


class _Known(dict[str, T]):
    """What texts have been read as; asking for another one reads it."""

    def __init__(self, parse: Callable[[str], T]) -> None:
        super().__init__()
        self._parse = parse

    def __missing__(self, text: str) -> T:
        self[text] = value = self._parse(text)
        return value


def remembered(parse: Callable[[str], T]) -> Callable[[str], T]:
    """Return a parser that reads each text only once, for columns that repeat themselves."""
    return _Known(parse).__getitem__

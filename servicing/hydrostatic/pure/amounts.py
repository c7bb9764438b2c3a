"""Pressures and exact numbers: nothing here is a float, so a limit is met or it is not.

5/3 of a service pressure has no end as a decimal, so what is computed is kept as a fraction
and rounded only to be shown, or where a source asks for it.
"""

import re
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import total_ordering
from math import ceil
from typing import Self

PA_PER_BAR = Fraction(100_000)
PA_PER_PSI = Fraction("0.45359237") * Fraction("9.80665") / Fraction("0.0254") ** 2
"""A pound force on a square inch, in Pa: exact by the international pound and inch of 1959
and the standard acceleration of 1901; to six figures 6894.76 (NIST SP 811, appendix B.8)."""

_PER_UNIT = {"bar": PA_PER_BAR, "psi": PA_PER_PSI}
_WRITTEN = re.compile(r"(\d{1,6}(?:\.\d{1,6})?) ?(bar|psi|psig)", re.ASCII)

Number = Decimal | Fraction | int


class HydroProblem(ValueError):
    """Something that can't be computed as given; the text says why and what to do."""


@total_ordering
@dataclass(frozen=True, slots=True, eq=False)
class Pressure:
    """A gauge pressure in the unit it was written in, bar or psi; compared exactly."""

    value: Fraction
    unit: str

    @classmethod
    def of(cls, value: Number, unit: str) -> Self:
        """Return a pressure. Raises HydroProblem below nought or in another unit."""
        if unit not in _PER_UNIT:
            raise HydroProblem(f"{unit!r} is no unit of pressure here; write bar or psi.")
        if value < 0:
            raise HydroProblem("A gauge pressure in a test is not below 0; check the figure.")
        return cls(Fraction(value), unit)

    @classmethod
    def read(cls, text: str) -> Self:
        """Read a pressure such as 300 bar or 4500 psi; raises HydroProblem."""
        if (found := _WRITTEN.fullmatch(text.strip())) is None:
            raise HydroProblem(
                f"{text!r} is no pressure; write number and unit, such as 300 bar or 4500 psi."
            )
        return cls.of(Decimal(found[1]), found[2].removesuffix("g"))

    @property
    def pa(self) -> Fraction:
        """The same in Pa, exact."""
        return self.value * _PER_UNIT[self.unit]

    @property
    def bar(self) -> Fraction:
        """The same in bar, exact."""
        return self.pa / PA_PER_BAR

    @property
    def psi(self) -> Fraction:
        """The same in psi, exact."""
        return self.pa / PA_PER_PSI

    def times(self, factor: Number) -> "Pressure":
        """Return so many times this pressure, unrounded."""
        return Pressure(self.value * Fraction(factor), self.unit)

    def plus(self, other: "Pressure") -> "Pressure":
        """Return the sum in this pressure's unit, unrounded."""
        return Pressure(self.value + other.pa / _PER_UNIT[self.unit], self.unit)

    def rounded_up(self) -> "Pressure":
        """Return the next whole bar or psi that is not below: for what must be reached."""
        return Pressure(Fraction(ceil(self.value)), self.unit)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Pressure) and self.pa == other.pa

    def __lt__(self, other: "Pressure") -> bool:
        return self.pa < other.pa

    def __hash__(self) -> int:
        return hash(self.pa)

    def __str__(self) -> str:
        return f"{figure_text(self.value, 2)} {self.unit}"


def exact(*numbers: Number) -> tuple[Fraction, ...]:
    """Return plain numbers as fractions, which lose nothing."""
    return tuple(Fraction(number) for number in numbers)


def figure_text(number: Number, places: int) -> str:
    """Return a number for reading: rounded half to even, without needless zeros."""
    rounded = round(Fraction(number), places)
    text = f"{rounded.numerator / Decimal(rounded.denominator):.{places}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text

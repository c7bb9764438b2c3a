"""The words an item is described with. No Django, no clock."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import Self


class Kind(StrEnum):
    """What sort of thing an item is (design.md, section 2)."""

    CYLINDER = "cylinder"
    REDUCER = "reducer"
    DEMAND_VALVE = "demand-valve"
    MASK = "mask"
    FRAME = "frame"
    CONNECTOR = "connector"
    SET = "set"
    INSTRUMENT = "instrument"
    COMPRESSOR = "compressor"


class Construction(StrEnum):
    """How a cylinder is built, by the types of ISO 11119 and ISO 11623."""

    TYPE_1 = "type-1"  # seamless metal
    TYPE_2 = "type-2"  # hoop wrapped
    TYPE_3 = "type-3"  # fully wrapped, metal liner
    TYPE_4 = "type-4"  # fully wrapped, non-metal liner


class Fibre(StrEnum):
    """What a composite cylinder is wrapped with."""

    CARBON = "carbon"
    GLASS = "glass"
    ARAMID = "aramid"


class Breathing(StrEnum):
    """How a demand valve or a mask works: the pressure in the mask while breathing in."""

    NEGATIVE = "negative-pressure"
    POSITIVE = "positive-pressure"


@dataclass(frozen=True, slots=True)
class MeasuringRange:
    """From where to where an instrument shows, both ends included, in `unit`.

    unit: by its name in `servicing.bench.pure.units`. step: the finest it can be read to, in
    the unit; None where that is not stated. Raises ValueError where the ends can't be.
    """

    low: Decimal
    high: Decimal
    unit: str
    step: Decimal | None = None

    def __post_init__(self) -> None:
        if not self.low < self.high:
            raise ValueError(f"A range goes upwards; {self.low:f} to {self.high:f} does not.")
        if self.step is not None and not 0 < self.step <= self.high - self.low:
            raise ValueError(f"A step of {self.step:f} is none in {self.low:f} to {self.high:f}.")

    def __str__(self) -> str:
        steps = f" in steps of {self.step:f}" if self.step is not None else ""
        return f"{self.low:f} to {self.high:f} {self.unit}{steps}"

    @classmethod
    def from_json(cls, held: Mapping[str, str]) -> Self:
        """Return the range that `as_json` kept."""
        step = Decimal(held["step"]) if "step" in held else None
        return cls(Decimal(held["low"]), Decimal(held["high"]), held["unit"], step)

    def as_json(self) -> dict[str, str]:
        """Return it as JSON takes it: numbers as text, what is not stated left out."""
        step = {"step": f"{self.step:f}"} if self.step is not None else {}
        return {"low": f"{self.low:f}", "high": f"{self.high:f}", "unit": self.unit, **step}


@dataclass(frozen=True, slots=True)
class Serving:
    """What an instrument's type says of it. No word: it is not described yet.

    words: what it serves as, by the procedures' words, such as mask-test-bench.
    """

    words: tuple[str, ...] = ()
    ranges: tuple[MeasuringRange, ...] = ()

    def __str__(self) -> str:
        return f"{self.named}, {self.shown}" if self.shown else self.named

    @property
    def named(self) -> str:
        """What it serves as, in words."""
        return " and ".join(word.replace("-", " ") for word in self.words) or "not described yet"

    @property
    def shown(self) -> str:
        """How far it shows, in words; empty where that is not stated."""
        return "; ".join(map(str, self.ranges))

    def may_be(self, word: str) -> bool:
        """Say whether it serves as something, or nobody has said yet what it serves as."""
        return not self.words or word in self.words

"""The words an item is described with. No Django, no clock."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from enum import StrEnum
from typing import Self

from registry.wording.pure.dates import day_words, month_words
from registry.wording.pure.spans import age_words


class Kind(StrEnum):
    """What sort of thing an item is, in the words of the trade."""

    CYLINDER = "cylinder"
    REDUCER = "reducer"
    DEMAND_VALVE = "demand-valve"
    MASK = "mask"
    FRAME = "frame"
    CONNECTOR = "connector"
    SET = "set"
    INSTRUMENT = "instrument"
    COMPRESSOR = "compressor"
    ESCAPE_SET = "escape-set"
    ESCAPE_HOOD = "escape-hood"
    AIR_LINE = "air-line"
    MOTION_ALARM = "motion-alarm"
    CHEMICAL_SUIT = "chemical-suit"
    STORAGE_BANK = "storage-bank"
    CHARGING_HOSE = "charging-hose"
    SAFETY_VALVE = "safety-valve"
    REBREATHER = "rebreather"
    ABSORBENT = "absorbent"
    CYLINDER_VALVE = "cylinder-valve"


KIND_MEANS: Mapping[str, str] = {
    Kind.FRAME: "back plate, harness, hoses, gauge, warning device",
    Kind.CONNECTOR: "adapter, or tee for two cylinders",
    Kind.SET: "an assembled apparatus",
    Kind.INSTRUMENT: "gauge, test bench, reference cylinder",
    Kind.COMPRESSOR: "with its filter cartridge",
    Kind.ESCAPE_SET: "for escape, with its own air or oxygen",
    Kind.ESCAPE_HOOD: "for escape, with a filter",
    Kind.AIR_LINE: "hose that brings compressed air to a wearer",
    Kind.MOTION_ALARM: "sounds when its wearer lies still",
    Kind.CHEMICAL_SUIT: "gas-tight or against liquids",
    Kind.STORAGE_BANK: "rack, pipes and valves; its cylinders are items of their own",
    Kind.CHARGING_HOSE: "of a filling point",
    Kind.SAFETY_VALVE: "of a compressor or a storage bank",
    Kind.REBREATHER: "closed circuit, with compressed or chemical oxygen",
    Kind.ABSORBENT: "canister or filling that takes up carbon dioxide",
    Kind.CYLINDER_VALVE: "screwed into a cylinder, kept as an item of its own",
}
"""What some kinds mean, as a form says it; the others go by their name alone."""


def a_kind(kind: str) -> str:
    """Return a kind, written as it will be read, with its article: a mask, an escape set."""
    return f"{'an' if kind[:1] in 'aeiou' else 'a'} {kind}"


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


_PARTS = range(1, 5)
_GAS_CYLINDERS = ("7866", *(f"{number}-{part}" for number in (9809, 11119) for part in _PARTS))
_SEAMLESS = ("3A", "3AA", "3AX", "3AAX", "3AL", "3B", "3BN", "3HT")

SPECIFICATIONS = (
    # 49 CFR 180.209(a), Table 1, and the older stamps of the same designs (180.205(c)).
    *("DOT-3", *(f"DOT-{design}" for design in _SEAMLESS), "DOT-3E", "DOT-3T", "DOT-4E", "DOT-4L"),
    *("DOT-SP", "DOT-E", "DOT-CFFC"),
    *("ICC-3", *(f"ICC-{design}" for design in _SEAMLESS)),
    *(f"{body}-{design}" for body in ("CTC", "CRC", "BTC") for design in _SEAMLESS),
    *("CRC-3", "CRC-3T", "BTC-3", "BTC-3T"),
    # CSA B339 and B340, by the names in the Canadian regulations (SOR/2001-286, Part 5).
    *("TC-3AM", "TC-3AAM", "TC-3ALM", "TC-3ASM", "TC-3CCM", "TC-3FCM", "TC-3HTM", "TC-3HWM"),
    # The design standards themselves; UN marks by ADR 6.2.2.1 and 49 CFR 178.71.
    *("EN-1964-1", "EN-1964-2", "EN-1964-3", "EN-1975", "EN-12245", "EN-12257"),
    *(f"{body}-{number}" for body in ("ISO", "EN-ISO", "UN-ISO") for number in _GAS_CYLINDERS),
    "FOREIGN",  # 49 CFR 180.209(a), Table 1: a foreign cylinder without any of these
)
"""What cylinders for breathing air are stamped with, as the rule tables and limits know it."""

NOT_LIMITED = "nll"
"""The mark by which somebody says that a life is not limited, having read it on the item."""

OXYGEN = "oxygen"
"""The mark of what holds or carries oxygen; such a cylinder is never filled with air."""

MARKS = {
    "plus": "plus: may be filled to 110 % (US, 49 CFR 173.302a(b))",
    "star": "star: retest every 10 years (US, 49 CFR 180.209(b))",
    "6351": "6351: of the aluminium alloy 6351",
    "6351-t6": "6351-T6: of the aluminium alloy 6351-T6",
    NOT_LIMITED: "nll: its life is not limited, read on it",
    "internal-30-months": "internal-30-months: looked into every 30 months",
    "internal-with-retest": "internal-with-retest: looked into with the retest only",
    **{
        f"sp-{permit}-to-{years}": f"sp-{permit}-to-{years}: life extended to {years} years "
        f"(US, DOT-SP {permit})"
        for permit in (16320, 14232)
        for years in (20, 25, 30)
    },
    "ageing-tested": "ageing-tested: tested for ageing when it was made (France)",
    "airtight-packed": "airtight-packed: packed airtight after cleaning",
    "on-vehicle": "on-vehicle: carried on a vehicle",
    "diving": "diving: used for diving",
    "seldom-used": "seldom-used: seldom used",
    "battery": "battery: has a battery",
    "full-time": "full-time: of a full-time department",
    "tanker": "tanker: on board a tanker",
    OXYGEN: "oxygen: for oxygen and never for air",
    "gas-tight": "gas-tight: a chemical suit of type 1",
}
"""What is marked on an item or said of how it is kept, with the words a form says it by."""

CONNECTIONS = (
    # Outlets by EN 144-2 (the last figure is the nominal pressure in bar, or the class).
    *("G5/8-200", "G5/8-232", "G5/8-300", "EN-144-2-A1", "EN-144-2-A2", "EN-144-2-A3"),
    *("CGA-346", "CGA-347"),  # CGA V-1, from memory: air to 3000 and to 5500 psi
    *("EN-148-1", "EN-148-3"),  # mask threads
)
"""How parts are joined, in the words that the checks of a set know."""


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

    serves_as: what it serves as, by the procedures' words, such as mask-test-bench.
    """

    serves_as: tuple[str, ...] = ()
    ranges: tuple[MeasuringRange, ...] = ()

    def __str__(self) -> str:
        return f"{self.named}, {self.range_words}" if self.range_words else self.named

    @property
    def named(self) -> str:
        """What it serves as, in words."""
        return (
            " and ".join(word.replace("-", " ") for word in self.serves_as) or "not described yet"
        )

    @property
    def range_words(self) -> str:
        """How far it shows, in words; empty where that is not stated."""
        return "; ".join(map(str, self.ranges))

    def may_be(self, word: str) -> bool:
        """Say whether it serves as something, or nobody has said yet what it serves as."""
        return not self.serves_as or word in self.serves_as


def made_words(made_on: date | None, *, to_month: bool, on: date) -> str:
    """Return when something was made, and how old it is on a day where it was made by then.

    to_month: only the month is known; it is counted from its first day.
    """
    if made_on is None:
        return "not known"
    made = f"{month_words(made_on)}, day not known" if to_month else day_words(made_on)
    return f"{made}; {age_words(made_on, on)} old" if made_on <= on else made

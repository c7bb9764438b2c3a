"""How far an instrument shows, and what that says of a reading made with it."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from registry.items.pure import MeasuringRange
from servicing.bench.pure.procedure import Measure
from servicing.bench.pure.typed import Typed, TypedProblem, read_typed
from servicing.bench.pure.units import UNITS, Unit, UnitProblem, exact, unit_named

_RANGE = re.compile(
    r"(?P<low>.+?)\s*(?:\bto\b|\.\.\.|…|–)\s*(?P<high>[-+\u2212]?[0-9][0-9.,]*)\s*"
    r"(?P<unit>[^\s0-9,;]\S*?)"
    r"(?:[,;]?\s+(?:in\s+)?steps?\s+(?:of\s+)?(?P<step>[0-9.,]+)(?:\s*(?P=unit))?)?"
)


class RangeProblem(ValueError):
    """A range that can't be read; the text says how to write it."""


@dataclass(frozen=True, slots=True)
class Scale:
    """An instrument as a reading is held against it. called: its tag and type."""

    called: str
    ranges: tuple[MeasuringRange, ...] = ()

    def impossible(self, typed: Typed, measure: Measure) -> str:
        """Return why no reading of the instrument can be that, or nothing.

        Also a fall or a deviation, which is the difference of two readings, is never larger
        than the whole range.
        """
        found = _of_unit(self.ranges, measure.unit)
        if not found or any(_holds(one, typed) or _within_span(one, typed) for one in found):
            return ""
        return (
            f"{typed.value:f} {typed.unit.name} can't be read on {self.called}: it shows "
            f"{_listed(found)}. Correct the reading, or choose an instrument that reaches so far. "
            "Where a range of it is not described, a manager adds it on the page of its type."
        )

    def question(self, typed: Typed, measure: Measure) -> str:
        """Return what to ask about a reading that only a difference could be, or nothing.

        Where the usual span of what is measured holds it, it is one, and nothing is asked.
        """
        found = _of_unit(self.ranges, measure.unit)
        usual = measure.plausible is not None and measure.plausible.holds(typed.value, typed.unit)
        below = all(exact(typed.value, typed.unit) < _ends(one)[0] for one in found)
        if not found or any(_holds(one, typed) for one in found) or (usual and below):
            return ""
        return (
            f"{typed.value:f} {typed.unit.name} lies outside of what {self.called} shows: "
            f"{_listed(found)}. Correct it, or confirm that this is what was measured."
        )


def read_ranges(text: str) -> tuple[MeasuringRange, ...]:
    """Return the ranges that somebody typed as they stand on a plate, one in a line.

    Such as "0 to 400 bar" or "-30 to 30 mbar in steps of 0.1". Raises RangeProblem.
    """
    return tuple(_range(line.strip()) for line in text.splitlines() if line.strip())


def too_coarse(ranges: Sequence[MeasuringRange], measures: Iterable[Measure]) -> str:
    """Return why ranges are not fine enough for what is measured, or nothing.

    What is not stated, of the range or of the procedure, hinders nothing.
    """
    for measure in measures:
        found = _of_unit(ranges, measure.unit)
        steps = [exact(r.step, UNITS[r.unit]) for r in found if r.step is not None]
        if measure.resolution is None or not steps or len(steps) < len(found):
            continue
        if min(steps) > exact(measure.resolution, measure.unit):
            asked = f"{measure.resolution:f} {measure.unit.name}"
            return f"shows {_listed(found)}, and steps of {asked} are asked"
    return ""


def _of_unit(ranges: Sequence[MeasuringRange], unit: Unit) -> list[MeasuringRange]:
    """Return the ranges in a unit; where there is none, those of the same quantity."""
    same = [each for each in ranges if each.unit == unit.name]
    return same or [each for each in ranges if UNITS[each.unit].quantity is unit.quantity]


def _ends(one: MeasuringRange) -> tuple[Fraction, Fraction]:
    unit = UNITS[one.unit]
    return exact(one.low, unit), exact(one.high, unit)


def _holds(one: MeasuringRange, typed: Typed) -> bool:
    low, high = _ends(one)
    return low <= exact(typed.value, typed.unit) <= high


def _within_span(one: MeasuringRange, typed: Typed) -> bool:
    low, high = _ends(one)
    return abs(exact(typed.value, typed.unit)) <= high - low


def _listed(ranges: Iterable[MeasuringRange]) -> str:
    return " or ".join(map(str, ranges))


def _range(text: str) -> MeasuringRange:
    how = "write it such as 0 to 400 bar, or -30 to 30 mbar in steps of 0.1"
    shape = _RANGE.fullmatch(text)
    if shape is None:
        raise RangeProblem(f"{text!r} is no range; {how}.")
    try:
        unit = unit_named(shape["unit"])
        low, high = (_number(shape[end], unit) for end in ("low", "high"))
        step = _number(shape["step"], unit) if shape["step"] else None
        return MeasuringRange(low, high, unit.name, step)
    except (UnitProblem, TypedProblem, ValueError) as problem:
        raise RangeProblem(f"{text!r}: {problem}") from problem


def _number(text: str, unit: Unit) -> Decimal:
    typed = read_typed(text, unit)
    if typed.unit is not unit:
        raise TypedProblem("write the unit once, behind the range.")
    return typed.value

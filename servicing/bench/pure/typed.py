"""A reading as somebody typed it: the text kept, the number and the unit understood."""

import re
from dataclasses import dataclass
from decimal import Decimal

from servicing.bench.pure.units import Unit, UnitProblem, convert, exact, unit_named

LONGEST = 40
_SPACES = "\u0020\u00a0\u2007\u2009\u202f"
_SIGNS = {"-": "-", "\u2212": "-", "\u2013": "-", "+": "", "": ""}
_SHAPE = re.compile(rf"([-+\u2212\u2013]?)[{_SPACES}]*([0-9][0-9.,'’{_SPACES}]*|[.,][0-9]+)(.*)")
_GROUPED = re.compile(r"[0-9]{1,3}(?:G[0-9]{3})+")


class TypedProblem(ValueError):
    """A text that is no reading; it says what to write instead."""


class Ambiguous(TypedProblem):
    """A text with two meanings that are both plausible; `readings`: with decimals, whole."""

    def __init__(self, text: str, readings: tuple[Decimal, Decimal]) -> None:
        small, whole = readings
        super().__init__(
            f"{text} can mean {small:f} or {whole:f}. Write {whole:f} without a mark for the "
            f"whole number, or {small:f}0 for the other."
        )
        self.readings = readings


@dataclass(frozen=True, slots=True)
class Plausible:
    """The span in which readings usually lie. What lies outside is asked about, not refused."""

    low: Decimal
    high: Decimal
    unit: Unit

    def holds(self, value: Decimal, unit: Unit) -> bool:
        """Say whether a value lies in the span, its ends included."""
        at = exact(value, unit)
        return exact(self.low, self.unit) <= at <= exact(self.high, self.unit)


@dataclass(frozen=True, slots=True)
class Typed:
    """A reading: the text exactly as typed, the number with its digits, and the unit."""

    text: str
    value: Decimal
    unit: Unit

    def into(self, unit: Unit) -> Decimal:
        """Return the value in another unit of the same quantity; see `units.convert`."""
        return convert(self.value, self.unit, unit)


def read_typed(text: str, unit: Unit, plausible: Plausible | None = None) -> Typed:
    """Return what somebody typed into a field for readings in `unit`.

    A comma or a point marks decimals; spaces (thin and unbreakable ones too) part thousands; a
    unit of the same quantity may follow. "1,234" is read by the plausible span where only one
    of its meanings lies inside. Raises Ambiguous where both or none do, and TypedProblem for
    anything else that is no number, with a sentence that says what to write.
    """
    trimmed = text.strip()
    if not trimmed:
        raise TypedProblem("Write the reading, such as 1.5.")
    if len(trimmed) > LONGEST:
        raise TypedProblem("That is too long for a reading; write the number only, such as 1.5.")
    shape = _SHAPE.fullmatch(trimmed)
    if shape is None:
        raise TypedProblem(f"{trimmed} is not a number; write digits, such as 1.5 or 1,5.")
    sign, number, rest = shape.groups()
    given = _unit_of(rest, unit, trimmed)
    readings = [Decimal(_SIGNS[sign] + one) for one in _meanings(number.strip(_SPACES), trimmed)]
    return Typed(text, _one_of(readings, trimmed, given, plausible), given)


def question(typed: Typed, plausible: Plausible | None) -> str:
    """Return what to ask about a reading outside the plausible span, or nothing.

    "300 typed for 30.0?" It is a question: whoever measured may say yes, that is what it was.
    """
    if plausible is None or plausible.holds(typed.value, typed.unit):
        return ""
    near = [
        shifted
        for places in (-1, 1, -2, 2, -3, 3)
        if plausible.holds(shifted := typed.value.scaleb(places), typed.unit)
    ]
    usual = f"{plausible.low:f} to {plausible.high:f} {plausible.unit.name}"
    meant = f" Did you mean {near[0]:f} {typed.unit.name}?" if near and typed.value else ""
    return (
        f"{typed.value:f} {typed.unit.name} is unusual here; readings lie from {usual}.{meant}"
        " Correct it, or confirm that this is what was measured."
    )


def _unit_of(rest: str, unit: Unit, text: str) -> Unit:
    if not (name := rest.strip(_SPACES)):
        return unit
    try:
        given = unit_named(name)
    except UnitProblem as problem:
        raise TypedProblem(f"{text} is not a number in {unit.name}. {problem}") from problem
    if given.quantity is not unit.quantity:
        raise TypedProblem(
            f"{given.name} measures {given.quantity}; this reading is a {unit.quantity}, "
            f"write it in {unit.name}."
        )
    return given


def _meanings(number: str, text: str) -> list[str]:
    """Return the number as Decimal takes it, twice where a mark has two meanings."""
    plain = re.sub(rf"[{_SPACES}'’]", "G", number)
    marks = [sign for sign in plain if sign in ".,"]
    whole, _, decimals = plain.rpartition(marks[-1]) if marks else (plain, "", "")
    if not marks or len(set(marks)) == 1 < len(marks):
        return [_whole(plain, marks[:1], text)]
    if not decimals.isdecimal():
        raise TypedProblem(f"{text} ends in the middle; write it such as 1.5.")
    if len(marks) > 1:
        return [f"{_whole(whole, marks[:1], text)}.{decimals}"]
    first = f"{_whole(whole, [], text) if whole else '0'}.{decimals}"
    grouping = len(decimals) == 3 and re.fullmatch(r"[1-9][0-9]{0,2}", whole)
    return [first, whole + decimals] if grouping else [first]


def _whole(digits: str, mark: list[str], text: str) -> str:
    """Return whole digits without their thousands marks, which must stand every three."""
    with_g = digits.replace(mark[0], "G") if mark else digits
    if "," in with_g or "." in with_g or ("G" in with_g and not _GROUPED.fullmatch(with_g)):
        raise TypedProblem(
            f"{text} has marks where none belong; write it such as 1234.5 or 1 234,5."
        )
    if mark and "G" in digits:
        raise TypedProblem(f"{text} mixes two marks for thousands; write it such as 1234.5.")
    return with_g.replace("G", "")


def _one_of(readings: list[Decimal], text: str, unit: Unit, plausible: Plausible | None) -> Decimal:
    if len(readings) == 1:
        return readings[0]
    usual = [one for one in readings if plausible is not None and plausible.holds(one, unit)]
    if len(usual) == 1:
        return usual[0]
    raise Ambiguous(text, (readings[0], readings[1]))

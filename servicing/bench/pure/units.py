"""Quantities and their units: exact conversion, and showing a value with the right digits.

Factors are exact fractions, for a pound per square inch has no finite number of bar. Each
follows from definitions that are exact (1 in = 0.0254 m, 1 lb = 0.45359237 kg, standard
gravity 9.80665 m/s2): NIST SP 811 (2008), appendix B, and ISO 80000-1.
"""

from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Context, Decimal
from enum import StrEnum
from fractions import Fraction

SI = "ISO 80000-1, prefixes and decimal multiples; exact"
SP_811 = "NIST SP 811 (2008), appendix B, from definitions; exact"
DIGITS = 34
"""Significant digits of a canonical value that has no finite decimal form."""


class Quantity(StrEnum):
    """What a unit measures. Values of different quantities are never compared."""

    PRESSURE = "pressure"
    VOLUME = "volume"
    MASS = "mass"
    TIME = "time"
    FLOW = "flow"
    TEMPERATURE = "temperature"
    FRACTION = "fraction"
    CONCENTRATION = "concentration"
    LENGTH = "length"


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit of measurement.

    A value v in it is (v + offset) * factor in the canonical unit of its quantity.
    source: where the factor is laid down. All of them are exact.
    """

    name: str
    quantity: Quantity
    factor: Fraction
    source: str
    offset: Fraction = Fraction(0)
    also: tuple[str, ...] = ()


class UnitProblem(ValueError):
    """A unit that can't be used here; the text says which can."""


_POUND_FORCE_N = Fraction("0.45359237") * Fraction("9.80665")
_PSI_BAR = _POUND_FORCE_N / Fraction("0.0254") ** 2 / 100_000
_FOOT3_L = Fraction("0.3048") ** 3 * 1000
_P, _V, _F = Quantity.PRESSURE, Quantity.VOLUME, Quantity.FLOW

_ALL = (
    Unit("bar", _P, Fraction(1), SI, also=("bars",)),
    Unit("mbar", _P, Fraction(1, 1000), SI, also=("hPa",)),
    Unit("psi", _P, _PSI_BAR, SP_811, also=("psig", "lbf/in2")),
    Unit("Pa", _P, Fraction(1, 100_000), SI),
    Unit("kPa", _P, Fraction(1, 100), SI),
    Unit("MPa", _P, Fraction(10), SI),
    # The conventional millimetre of water: 1 kg/m2 under standard gravity, at no temperature.
    Unit("mmH2O", _P, Fraction("9.80665") / 100_000, SP_811, also=("mmH₂O", "mm H2O")),
    Unit("inH2O", _P, Fraction("249.08891") / 100_000, SP_811, also=("inH₂O", "in H2O")),
    Unit("L", _V, Fraction(1), SI, also=("l", "ltr", "litre", "litres", "dm3")),
    Unit("mL", _V, Fraction(1, 1000), SI, also=("ml", "cc")),
    Unit("cm3", _V, Fraction(1, 1000), SI, also=("cm³",)),
    Unit("ft3", _V, _FOOT3_L, SP_811, also=("ft³", "cuft", "cu ft")),
    Unit("kg", Quantity.MASS, Fraction(1), SI),
    Unit("g", Quantity.MASS, Fraction(1, 1000), SI),
    Unit("lb", Quantity.MASS, Fraction("0.45359237"), SP_811, also=("lbs",)),
    Unit("min", Quantity.TIME, Fraction(1), SI, also=("mins", "minutes")),
    Unit("h", Quantity.TIME, Fraction(60), SI, also=("hours", "hrs")),
    Unit("s", Quantity.TIME, Fraction(1, 60), SI, also=("sec", "seconds")),
    Unit("L/min", _F, Fraction(1), SI, also=("l/min", "lpm")),
    Unit("mL/min", _F, Fraction(1, 1000), SI, also=("ml/min", "cm3/min")),
    Unit("ft3/min", _F, _FOOT3_L, SP_811, also=("cfm",)),
    Unit("degC", Quantity.TEMPERATURE, Fraction(1), SI, also=("°C", "C")),
    Unit("degF", Quantity.TEMPERATURE, Fraction(5, 9), SP_811, Fraction(-32), ("°F", "F")),
    Unit("%", Quantity.FRACTION, Fraction(1), SI, also=("vol-%", "vol%", "percent")),
    Unit("ppm", Quantity.FRACTION, Fraction(1, 10_000), SI, also=("ppmv", "mL/m3", "ml/m3")),
    Unit("mg/m3", Quantity.CONCENTRATION, Fraction(1), SI, also=("mg/m³",)),
    Unit("mm", Quantity.LENGTH, Fraction(1), SI),
    Unit("in", Quantity.LENGTH, Fraction("25.4"), SP_811, also=("inch", "inches", '"')),
)
UNITS = {unit.name: unit for unit in _ALL}
CANONICAL = {unit.quantity: unit for unit in reversed(_ALL) if unit.factor == 1 and not unit.offset}
"""The unit in which a quantity is stored: bar, L, kg, min, L/min, degC, %, mg/m3, mm."""

_EXACT = {name: unit for unit in _ALL for name in (unit.name, *unit.also)}
_FOLDED = {name.casefold(): unit for name, unit in _EXACT.items()}


def unit_named(text: str) -> Unit:
    """Return the unit that a text names, by its name or a common other spelling.

    Raises UnitProblem for an unknown one. Capitals count only where they must.
    """
    name = " ".join(text.split())
    found = _EXACT.get(name) or _FOLDED.get(name.casefold())
    if found is None:
        raise UnitProblem(f"{name[:20]!r} is no unit known here; write one of {', '.join(UNITS)}.")
    return found


def exact(value: Decimal, unit: Unit) -> Fraction:
    """Return a value in the canonical unit of its quantity, without any rounding."""
    return (Fraction(value) + unit.offset) * unit.factor


def convert(value: Decimal, unit: Unit, to: Unit) -> Decimal:
    """Return a value in another unit of the same quantity.

    Exact where the result has a finite decimal form, else to 34 significant digits; verdicts
    are never worked out from it but from the exact fraction. Raises UnitProblem for units
    of different quantities.
    """
    if unit.quantity is not to.quantity:
        raise UnitProblem(f"{unit.name} is a {unit.quantity} and {to.name} a {to.quantity}.")
    return value if unit == to else as_decimal(exact(value, unit) / to.factor - to.offset)


def canonical(value: Decimal, unit: Unit) -> Decimal:
    """Return a value in the canonical unit of its quantity, as `convert` does."""
    return convert(value, unit, CANONICAL[unit.quantity])


def as_decimal(value: Fraction) -> Decimal:
    """Return a fraction as a decimal: exact where it is finite, else to 34 digits."""
    rest, twos, fives = value.denominator, 0, 0
    while rest % 2 == 0:
        rest, twos = rest // 2, twos + 1
    while rest % 5 == 0:
        rest, fives = rest // 5, fives + 1
    if rest != 1:
        context = Context(prec=DIGITS, rounding=ROUND_HALF_EVEN)
        return context.divide(Decimal(value.numerator), Decimal(value.denominator))
    places = max(twos, fives)
    whole = value.numerator * 10**places // value.denominator
    return Decimal(whole).scaleb(-places, Context(prec=len(str(whole)) + 1))


def quantity_text(value: Decimal, unit: Unit, to: Unit | None = None) -> str:
    """Return a value as text in a unit, with as many digits as the original deserves.

    In its own unit the digits stay as they are (1.10 stays 1.10). In another one the last
    digit shown is worth no more than the last digit given: 310 bar is 4496 psi, as 1 bar is
    14.5 psi and a step of 10 psi would hide what a step of 1 shows.
    """
    if to is None or to == unit:
        return f"{value:f} {unit.name}"
    converted = convert(value, unit, to)
    step = as_decimal(Fraction(Decimal(1).scaleb(_last_place(value))) * unit.factor / to.factor)
    place = min(step.adjusted(), 0)
    rounded = converted.quantize(Decimal(1).scaleb(place), ROUND_HALF_EVEN, Context(prec=60))
    return f"{rounded:f} {to.name}"


def _last_place(value: Decimal) -> int:
    place = value.as_tuple().exponent
    return place if isinstance(place, int) else 0

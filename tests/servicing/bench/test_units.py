"""Quantities: exact factors, round trips, and the digits that are shown. A3."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicing.bench.pure.units import (
    CANONICAL,
    UNITS,
    Quantity,
    Unit,
    UnitProblem,
    as_decimal,
    canonical,
    convert,
    exact,
    quantity_text,
    unit_named,
)

SP_811 = "NIST SP 811 (2008), appendix B.8, printed to seven figures"
VALUES = st.decimals("-10000", "10000", places=3, allow_nan=False)


@pytest.mark.parametrize(
    ("given", "to", "printed", "source"),
    [
        ("psi", "Pa", "6894.757", SP_811),
        ("ft3", "L", "28.31685", SP_811),
        ("lb", "kg", "0.4535924", SP_811),
        ("mmH2O", "Pa", "9.80665", SP_811),
        ("inH2O", "Pa", "249.0889", SP_811),
        ("ft3/min", "L/min", "28.31685", SP_811),
        ("in", "mm", "25.4", SP_811),
        ("bar", "kPa", "100", SP_811),
        ("MPa", "bar", "10", "ISO 80000-1, prefixes"),
        ("cm3", "mL", "1", "ISO 80000-3: 1 L = 1 dm3"),
        ("min", "s", "60", "ISO 80000-3"),
        ("%", "ppm", "10000", "parts of a hundred and of a million"),
    ],
)
def test_a_factor_is_the_published_one(given: str, to: str, printed: str, source: str) -> None:
    found = convert(Decimal(1), UNITS[given], UNITS[to])
    assert found.quantize(Decimal(printed)) == Decimal(printed), source


@pytest.mark.parametrize(
    ("fahrenheit", "celsius"), [("32", "0"), ("212", "100"), ("-40", "-40"), ("-50", "-45.56")]
)
def test_temperatures_have_their_own_zero(fahrenheit: str, celsius: str) -> None:
    """NIST SP 811, B.8: t/degC = (t/degF - 32)/1.8; -50 F as in 29 CFR 1910.134(i)(4)(iii)."""
    found = convert(Decimal(fahrenheit), UNITS["degF"], UNITS["degC"])
    assert found.quantize(Decimal(celsius)) == Decimal(celsius)


@given(VALUES, st.sampled_from(list(UNITS.values())))
def test_there_and_back_is_the_same_number(value: Decimal, unit: Unit) -> None:
    back = exact(value, unit) / unit.factor - unit.offset
    assert back == Fraction(value)
    there = canonical(value, unit)
    again = convert(there, CANONICAL[unit.quantity], unit)
    assert abs(again - value) <= Decimal("1e-25")


@given(VALUES)
def test_a_result_with_a_finite_form_is_not_rounded(value: Decimal) -> None:
    for name in ("mbar", "Pa", "ft3", "lb", "mmH2O", "in"):
        unit = UNITS[name]
        assert Fraction(as_decimal(exact(value, unit))) == exact(value, unit)


def test_every_quantity_has_a_canonical_unit() -> None:
    assert set(CANONICAL) == set(Quantity)
    wanted = {"bar", "L", "kg", "min", "L/min", "degC", "%", "mg/m3", "mm"}
    assert {unit.name for unit in CANONICAL.values()} == wanted


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("BAR", "bar"),
        ("hPa", "mbar"),
        ("PSI", "psi"),
        ("l/min", "L/min"),
        ("°C", "degC"),
        ("mm H2O", "mmH2O"),
        ("ft³", "ft3"),
        ("cu ft", "ft3"),
        ("mpa", "MPa"),
        ("lbs", "lb"),
    ],
)
def test_other_spellings_are_understood(text: str, name: str) -> None:
    assert unit_named(text).name == name


@pytest.mark.parametrize("text", ["", "bra", "torr", "m", "x" * 500])
def test_an_unknown_unit_is_answered_with_the_known_ones(text: str) -> None:
    with pytest.raises(UnitProblem, match="write one of bar, mbar, psi"):
        unit_named(text)


def test_a_pressure_is_no_mass() -> None:
    with pytest.raises(UnitProblem, match="bar is a pressure and kg a mass"):
        convert(Decimal(1), UNITS["bar"], UNITS["kg"])


@pytest.mark.parametrize(
    ("value", "unit", "to", "text"),
    [
        ("1.10", "bar", "bar", "1.10 bar"),
        ("310", "bar", "psi", "4496 psi"),
        ("4500", "psi", "bar", "310.26 bar"),
        ("-50", "degF", "degC", "-45.6 degC"),
        ("1E+2", "bar", "bar", "100 bar"),
        ("6.8", "L", "mL", "6800 mL"),
    ],
)
def test_a_value_is_shown_with_the_digits_it_deserves(
    value: str, unit: str, to: str, text: str
) -> None:
    assert quantity_text(Decimal(value), UNITS[unit], UNITS[to]) == text

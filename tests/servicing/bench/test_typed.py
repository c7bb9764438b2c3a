"""Readings as typed: kept to the sign, understood or asked about, never guessed. A3, D22."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicing.bench.pure.typed import Ambiguous, Plausible, TypedProblem, question, read_typed
from servicing.bench.pure.units import UNITS

BAR, MBAR = UNITS["bar"], UNITS["mbar"]


@pytest.mark.parametrize(
    ("text", "value", "unit"),
    [
        ("1,10", "1.10", "bar"),
        ("1.10", "1.10", "bar"),
        ("1 234,5", "1234.5", "bar"),
        ("1\u00a0234,5", "1234.5", "bar"),
        ("1\u202f234", "1234", "bar"),
        ("1\u2009234.567", "1234.567", "bar"),
        ("1'234", "1234", "bar"),
        ("1,234.5", "1234.5", "bar"),
        ("1.234,5", "1234.5", "bar"),
        ("1,234,567", "1234567", "bar"),
        ("0,234", "0.234", "bar"),
        ("12,5 bar", "12.5", "bar"),
        ("12,5\u00a0bar", "12.5", "bar"),
        ("4500psi", "4500", "psi"),
        ("-7.5 mbar", "-7.5", "mbar"),
        ("\u22123", "-3", "bar"),
        ("+2", "2", "bar"),
        (".5", "0.5", "bar"),
        ("  60  ", "60", "bar"),
        ("007", "7", "bar"),
    ],
)
def test_a_reading_is_understood_and_kept_as_typed(text: str, value: str, unit: str) -> None:
    typed = read_typed(text, BAR)
    assert (str(typed.value), typed.unit.name, typed.text) == (value, unit, text)


@pytest.mark.parametrize("text", ["1,234", "1.234", "12,345", "999.000", "-1,234"])
def test_a_mark_with_two_meanings_is_asked_about(text: str) -> None:
    with pytest.raises(Ambiguous, match="can mean") as caught:
        read_typed(text, BAR)
    small, whole = caught.value.readings
    assert read_typed(f"{small:f}0", BAR).value == small
    assert read_typed(f"{whole:f}", BAR).value == whole
    with pytest.raises(Ambiguous):
        read_typed(text, BAR, Plausible(Decimal(0), Decimal(1_000_000), BAR))


def test_the_plausible_span_settles_which_of_two_meanings() -> None:
    small = Plausible(Decimal(0), Decimal(20), BAR)
    assert read_typed("1,234", BAR, small).value == Decimal("1.234")
    assert read_typed("1,234", BAR, Plausible(Decimal(500), Decimal(2000), BAR)).value == 1234


@pytest.mark.parametrize(
    ("text", "say"),
    [
        ("", "Write the reading"),
        ("   ", "Write the reading"),
        ("about 5", "is not a number; write digits"),
        ("1e5", "is not a number in bar"),
        ("1 23", "marks where none belong"),
        ("1.2.3", "marks where none belong"),
        ("1,23,4", "marks where none belong"),
        ("1.234.5", "marks where none belong"),
        ("5.", "ends in the middle"),
        ("12 kg", "kg measures mass; this reading is a pressure, write it in bar"),
        ("\u0661\u0662", "is not a number"),
        ("NaN", "is not a number"),
        ("--3", "is not a number"),
        ("1" * 41, "too long"),
        ("1,2,3,4" * 10_000, "too long"),
    ],
)
def test_what_is_no_reading_is_told_what_to_write(text: str, say: str) -> None:
    with pytest.raises(TypedProblem, match=say):
        read_typed(text, BAR)


@given(st.text(max_size=60))
def test_any_text_gives_a_number_or_a_sentence(text: str) -> None:
    try:
        typed = read_typed(text, BAR)
    except TypedProblem as caught:
        said = str(caught)
    else:
        said = f"{typed.text}." if typed.text == text and typed.value.is_finite() else ""
    assert said.endswith(".")


@given(st.decimals("-99999", "99999", places=4, allow_nan=False))
def test_a_number_with_four_decimals_is_that_number(value: Decimal) -> None:
    assert read_typed(str(value), BAR).value == value
    assert read_typed(str(value).replace(".", ","), BAR).value == value


def test_300_typed_for_30_0_is_asked_about_and_not_blocked() -> None:
    usual = Plausible(Decimal(0), Decimal(50), MBAR)
    asked = question(read_typed("300", MBAR), usual)
    assert "Did you mean 30.0 mbar?" in asked
    assert "0 to 50 mbar" in asked
    assert question(read_typed("30.0", MBAR), usual) == ""
    assert question(read_typed("0.03 bar", MBAR), usual) == ""
    assert question(read_typed("50", MBAR), usual) == question(read_typed("300", MBAR), None) == ""

"""Verdicts: the edge counts as the limit says, and nothing is rounded before. Tightening."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicing.bench.pure.limits import (
    Limit,
    LimitProblem,
    LooserThanBase,
    NoLimit,
    Nominal,
    judge,
    share_of,
    tighten,
)
from servicing.bench.pure.units import UNITS

MBAR, BAR, PSI = UNITS["mbar"], UNITS["bar"], UNITS["psi"]
EDGES = st.decimals("-100", "100", places=2, allow_nan=False)


def limit(low: str | None, high: str | None, *strict: str, unit: str = "mbar") -> Limit:
    return Limit(
        Decimal(low) if low else None,
        Decimal(high) if high else None,
        UNITS[unit],
        "a page",
        "practice",
        "low" in strict,
        "high" in strict,
    )


@st.composite
def limits(draw: st.DrawFn) -> Limit:
    low, high = sorted((draw(EDGES), draw(EDGES)))
    low_strict, high_strict = draw(st.booleans()), draw(st.booleans())
    if low == high:
        low_strict = high_strict = False
    shape = draw(st.sampled_from(["both", "low", "high"]))
    return Limit(
        None if shape == "high" else low,
        None if shape == "low" else high,
        MBAR,
        "a page",
        "practice",
        low_strict and shape != "high",
        high_strict and shape != "low",
    )


@pytest.mark.parametrize(
    ("value", "unit", "at", "good"),
    [
        ("1.0", "mbar", limit(None, "1.0"), True),
        ("1.00", "mbar", limit(None, "1.0"), True),
        ("1.1", "mbar", limit(None, "1.0"), False),
        ("1.0000000000000000000000000000000000001", "mbar", limit(None, "1.0"), False),
        ("1.0", "mbar", limit(None, "1.0", "high"), False),
        ("0.9999999999999999999999999999999999999", "mbar", limit(None, "1.0", "high"), True),
        ("0.001", "bar", limit(None, "1.0"), True),
        ("100", "Pa", limit(None, "1.0"), True),
        ("101", "Pa", limit(None, "1.0"), False),
        # 0.1 + 0.2 is 0.3 here, and 300 bar are between 4351 and 4352 psi.
        (str(Decimal("0.1") + Decimal("0.2")), "mbar", limit(None, "0.3"), True),
        ("4351", "psi", limit("300", None, unit="bar"), False),
        ("4352", "psi", limit("300", None, unit="bar"), True),
    ],
)
def test_the_edge_counts_as_the_limit_says(value: str, unit: str, at: Limit, good: bool) -> None:
    assert judge(Decimal(value), UNITS[unit], at).passed is good


def test_a_verdict_names_number_limit_unit_and_source() -> None:
    reason = judge(Decimal("1.3"), MBAR, limit(None, "1.0")).reason
    assert reason == "1.3 mbar is outside the limit: at most 1.0 mbar (a page)."


@pytest.mark.parametrize(
    ("shape", "words"),
    [
        (limit(None, "10", "high", unit="bar"), "less than 10 bar"),
        (limit("50", "60", unit="bar"), "50 to 60 bar"),
        (limit("270", None, unit="bar"), "at least 270 bar"),
        (limit("0", "3.9", "low"), "more than 0 and at most 3.9 mbar"),
    ],
)
def test_a_limit_reads_as_people_say_it(shape: Limit, words: str) -> None:
    assert shape.words == words


@given(limits(), EDGES, EDGES)
def test_a_reading_further_inside_never_fails_where_one_nearer_the_edge_passed(
    at: Limit, one: Decimal, other: Decimal
) -> None:
    lower, upper = min(one, other), max(one, other)
    if at.low is None and judge(upper, MBAR, at).passed:
        assert judge(lower, MBAR, at).passed
    if at.high is None and judge(lower, MBAR, at).passed:
        assert judge(upper, MBAR, at).passed
    if judge(lower, MBAR, at).passed and judge(upper, MBAR, at).passed:
        assert judge((lower + upper) / 2, MBAR, at).passed


@given(limits(), limits(), EDGES)
def test_tightening_never_passes_what_the_base_fails(
    base: Limit, special: Limit, value: Decimal
) -> None:
    try:
        tight = tighten(base, special)
    except LimitProblem:
        return
    passed = judge(value, MBAR, tight).passed
    assert not passed or judge(value, MBAR, base).passed
    assert not passed or judge(value, MBAR, special).passed
    for edge in (base.low, base.high, special.low, special.high):
        if edge is not None and judge(edge, MBAR, tight).passed:
            assert judge(edge, MBAR, base).passed


@pytest.mark.parametrize(
    ("base", "special"),
    [
        (limit(None, "1.0"), limit(None, "1.1")),
        (limit(None, "1.0", "high"), limit(None, "1.0")),  # the edge would become good
        (limit("50", "60", unit="bar"), limit("49.9", "60", unit="bar")),
        (limit("0", None, "low"), limit("0", None)),
        (limit(None, "1.0"), limit(None, "101", unit="Pa")),
    ],
)
def test_a_looser_limit_is_refused(base: Limit, special: Limit) -> None:
    with pytest.raises(LooserThanBase, match="can only be stricter"):
        tighten(base, special)


def test_a_stricter_edge_keeps_the_other_one() -> None:
    tight = tighten(limit("50", "60", unit="bar"), limit(None, "58", unit="bar"))
    assert (tight.low, tight.high, tight.low_strict) == (Decimal(50), Decimal(58), False)
    assert tighten(limit(None, "1.0"), limit(None, "1.0", "high")).high_strict
    assert tighten(limit(None, "1.0"), limit(None, "99", unit="Pa")).unit.name == "Pa"


def test_an_edge_that_has_no_finite_form_in_the_other_unit_is_not_rounded() -> None:
    with pytest.raises(LimitProblem, match="Write the limit in bar"):
        tighten(limit("50", "60", unit="bar"), limit(None, "850", unit="psi"))


def test_ninety_per_cent_of_the_marked_pressure() -> None:
    """vfdb 0804: ready charge at least 90 %: 270 of 300, 180 of 200 bar (secondary)."""
    share = limit("90", None, unit="%")
    for nominal, least in (("300.00", "270"), ("200.00", "180")):
        found = share_of(share, Nominal(Decimal(nominal), "cylinder C117"), BAR)
        assert found.low == Decimal(least)
        whose = f"90 % of {nominal.removesuffix('.00')} bar, cylinder C117"
        assert found.words == f"at least {least} bar: {whose}"
        assert tighten(found, limit(None, "320", unit="bar")).words.endswith(whose)
        assert not tighten(found, limit("290", None, unit="bar")).share
    with pytest.raises(NoLimit, match="Nobody knows"):
        share_of(share, Nominal(None, "Nobody knows."), BAR)


@pytest.mark.parametrize("edges", [(None, None), ("2", "1"), ("NaN", None), ("1", "1")])
def test_a_limit_nothing_can_meet_is_refused(edges: tuple[str | None, str | None]) -> None:
    with pytest.raises(LimitProblem):
        limit(*edges, "high")


def test_units_of_another_quantity_are_not_judged() -> None:
    with pytest.raises(LimitProblem, match="kg can't be judged by a limit in mbar"):
        judge(Decimal(1), UNITS["kg"], limit(None, "1.0"))
    with pytest.raises(LimitProblem, match="can't become one in"):
        tighten(limit(None, "1.0"), limit(None, "1", unit="kg"))

"""Laws of the verdict that hold for any test, not only for the published ones."""

from dataclasses import replace
from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from servicing.hydrostatic.pure.amounts import HydroProblem, Pressure
from servicing.hydrostatic.pure.expansion import Expansion, direct_expansion, direct_reading
from servicing.hydrostatic.pure.limits import least_test_pressure
from servicing.hydrostatic.pure.outcome import LEDGER_WORDS, ledger_outcome, stricter
from servicing.hydrostatic.pure.verdict import (
    STRICTNESS,
    Subject,
    Word,
    judge,
    pre_check_pressure,
    repeat_pressure,
)
from tests.servicing.hydrostatic.made import LIMITS, run, subject

SPECIFICATIONS = st.sampled_from(
    ["DOT-3A", "DOT-3AA", "DOT-3AL", "DOT-4E", "DOT-3HT", "DOT-SP", "EN-12245", "UN-ISO-7866"]
)
ML = st.fractions(min_value=Fraction(1, 10), max_value=500, max_denominator=1000)
SHARE = st.fractions(min_value=0, max_value=1, max_denominator=2000)
WORDS = st.sampled_from(list(Word))
PSI = st.integers(1, 20_000).map(lambda value: Pressure.of(value, "psi"))


@st.composite
def cylinders(draw: st.DrawFn) -> Subject:
    made = subject(draw(SPECIFICATIONS), permit=Fraction(5))
    ree = draw(st.none() | ML)
    return replace(made, ree_ml=ree, plus=draw(st.booleans()), life_over=draw(st.booleans()))


@given(cylinders(), ML, SHARE, SHARE)
def test_more_permanent_expansion_never_turns_a_fail_into_a_pass(
    cylinder: Subject, total: Fraction, one: Fraction, other: Fraction
) -> None:
    """By the permanent share alone: an elastic limit (REE) is its own matter, see below."""
    cylinder = replace(cylinder, ree_ml=Fraction(1000))
    less, more = sorted((one, other))
    before = judge(cylinder, run(found=Expansion(total, total * less)))
    after = judge(cylinder, run(found=Expansion(total, total * more)))
    assert before.word is Word.PASS or after.word is not Word.PASS


@given(cylinders(), ML, ML, SHARE)
def test_more_permanent_at_the_same_elastic_never_turns_a_fail_into_a_pass(
    cylinder: Subject, elastic: Fraction, permanent: Fraction, more: Fraction
) -> None:
    before = judge(cylinder, run(found=Expansion(elastic + permanent, permanent)))
    worse = permanent * (1 + more)
    after = judge(cylinder, run(found=Expansion(elastic + worse, worse)))
    assert before.word is Word.PASS or after.word is not Word.PASS


@given(cylinders(), ML, SHARE, st.integers(0, 60), st.integers(0, 60))
def test_a_shorter_hold_never_helps(
    cylinder: Subject, total: Fraction, share: Fraction, one: int, other: int
) -> None:
    short, long = sorted((one, other))
    found = Expansion(total, total * share)
    kept = judge(cylinder, run(found=found, held=long))
    cut = judge(cylinder, run(found=found, held=short))
    assert kept.word is Word.PASS or cut.word is not Word.PASS


@given(cylinders(), ML, SHARE)
def test_every_verdict_has_a_reason_a_clause_and_how_it_was_seen(
    cylinder: Subject, total: Fraction, share: Fraction
) -> None:
    verdict = judge(cylinder, run(found=Expansion(total, total * share)))
    assert verdict.governing.word is verdict.word
    for reason in verdict.reasons:
        assert reason.says
        assert reason.clause
        assert reason.seen in ("text", "secondary", "memory", "practice")


@given(PSI)
def test_pressures_stand_in_order(test_pressure: Pressure) -> None:
    assert pre_check_pressure(test_pressure) < test_pressure < repeat_pressure(test_pressure)
    assert repeat_pressure(test_pressure) <= test_pressure.plus(Pressure.of(100, "psi"))


@given(SPECIFICATIONS.filter(lambda name: name != "DOT-SP"), PSI)
def test_what_is_asked_is_never_below_the_sources_least(name: str, working: Pressure) -> None:
    found = least_test_pressure(LIMITS, name, working)
    assert found.asked >= found.minimum > working
    assert found.asked.value == int(found.asked.value)


@given(PSI, PSI)
def test_more_working_pressure_asks_for_no_less_from_500_psig(
    one: Pressure, other: Pressure
) -> None:
    low, high = sorted((one, other))
    if low.psi >= 500:
        least = least_test_pressure(LIMITS, "DOT-3AL", low).minimum
        assert least <= least_test_pressure(LIMITS, "DOT-3AL", high).minimum


@given(
    st.fractions(50, 3000, max_denominator=10),
    SHARE,
    st.fractions(1, 60, max_denominator=10),
    st.integers(6, 26),
    st.integers(1, 690),
)
def test_the_correction_makes_the_share_larger_and_the_handbook_the_most(
    forced: Fraction, share: Fraction, water: Fraction, t: int, bar: int
) -> None:
    reading = direct_reading(
        forced_in_ml=forced,
        expelled_ml=forced * (1 - share / 20),
        water_kg=water,
        temperature_c=t,
        pressure_bar=bar,
    )
    try:
        found = direct_expansion(reading)
    except HydroProblem:
        return  # the water alone takes up what was forced in
    assert found.handbook is not None
    assert found.iapws.total_ml < forced
    assert found.handbook.percent >= found.iapws.percent
    assert found.stricter.percent == found.handbook.percent


@given(WORDS, WORDS, st.booleans())
def test_the_stricter_of_two_is_one_of_them_whoever_says_it(
    one: Word, other: Word, may_condemn: bool
) -> None:
    assert stricter(one, other) is stricter(other, one)
    assert STRICTNESS[stricter(one, other)] == max(STRICTNESS[one], STRICTNESS[other])
    entered = ledger_outcome(one, other, may_condemn=may_condemn)
    if entered == "pass":
        assert one is other is Word.PASS
    if entered == "condemned":
        assert may_condemn, "only a manager condemns"
    if one is other and may_condemn:
        assert entered == LEDGER_WORDS[one]
    elif one is not other:
        assert entered == "fail", "a condemnation in dispute is not yet one"

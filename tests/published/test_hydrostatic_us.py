"""Hydrostatic arithmetic against 49 CFR 178 and 180, the agency's letters and the facts' rows.

Flags stand in the rows: [text] the document's own words, [secondary], [memory], [derived]
worked out by hand from a [text] rule, with invented inputs.
"""

from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest

from servicing.hydrostatic.pure.amounts import HydroProblem, Pressure, figure_text
from servicing.hydrostatic.pure.equipment import (
    DailyCheck,
    daily_check,
    device_good,
    expansion_readable,
    expansion_tolerance_ml,
    gauge_readable,
    gauge_use,
    within_range,
    within_reading,
)
from servicing.hydrostatic.pure.expansion import expansion
from servicing.hydrostatic.pure.limits import least_test_pressure
from servicing.hydrostatic.pure.marks import read_us_mark, us_mark
from servicing.hydrostatic.pure.stress import (
    rejection_expansion_3ht_ml,
    stress_cap_3aa_psi,
    stress_cap_3al_psi,
    stress_cap_3ht_psi,
    wall_stress_psi,
)
from servicing.hydrostatic.pure.suffixes import (
    StarFacts,
    plus_allowed,
    plus_asked,
    plus_fill_pressure,
    star_asked,
    suffixes,
)
from servicing.hydrostatic.pure.verdict import (
    Word,
    is_very_small,
    judge,
    pre_check_pressure,
    repeat_pressure,
)
from tests.servicing.hydrostatic.made import LIMITS, run, subject

I_IV = "49 CFR 180.205(i)(1)(iv): exceeds 10 % [text]"
I_V = "49 CFR 180.205(i)(1)(v), 178.44(r)(2) [text]"
G5 = "49 CFR 180.205(g)(5) [text]"
TABLE_1 = "49 CFR 180.209(a), Table 1 [text]"
AL_3 = "49 CFR 178.46(g)(3) [text]"
TRADE = "trade and training pages [secondary]"


def unmet(asked: tuple[tuple[bool | None, str], ...]) -> tuple[str, ...]:
    return tuple(says for met, says in asked if not met)


def psi(text: str) -> Pressure:
    return Pressure.read(f"{text} psi")


# Worked examples, published (A) ------------------------------------------------------------


def test_a1_a_gauge_to_1100_psig_is_good_from_550_psig() -> None:
    use = gauge_use(psi("1100"), Decimal("0.5"))
    assert use.error == psi("5.5"), "letter 13-0131 (2013-09-24) [text]"
    assert use.lowest_test_pressure == psi("550"), "letter 13-0131 (2013-09-24) [text]"


@pytest.mark.parametrize(("error", "at", "by_range"), [("40", "5000", True), ("70", "8000", False)])
def test_a2_conflicts_with_a1_and_both_readings_are_there(
    error: str, at: str, by_range: bool
) -> None:
    assert not within_reading(psi(error), psi(at)), "letter 14-0144 (2014-09-16) [text]"
    assert within_range(psi(error), psi("11000")) is by_range, "letter 13-0131's way [text]"


def test_a3_a_device_of_six_tenths_per_cent_cannot_be_used() -> None:
    with pytest.raises(HydroProblem, match="letter 15-0055"):  # 2015-11-25 [text]
        gauge_use(psi("10000"), Decimal("0.6"))


def test_a4_the_mark_of_a123_in_september_2006() -> None:
    mark = us_mark(date(2006, 9, 14), "A123")
    assert str(mark) == "9 [A1/32] 06", "49 CFR 180.213(d) [text]"
    assert mark.lines == ("   A1", " 9    06", "   32"), "49 CFR 180.213(d) [text]"
    assert read_us_mark("9 [A1/32] 06", date(2026, 11, 1)) == mark, "49 CFR 180.213(d) [text]"


@pytest.mark.parametrize(
    ("service", "test"), [("4500", "7500"), ("3000", "5000"), ("2250", "3750")]
)
def test_a6_the_test_pressure_is_five_thirds(service: str, test: str) -> None:
    found = least_test_pressure(LIMITS, "DOT-3AA", psi(service))
    assert found.minimum == psi(test), TRADE
    assert found.asked == psi(test), TRADE


@pytest.mark.parametrize(("permanent", "word"), [("21", Word.CONDEMN), ("7", Word.PASS)])
def test_a7_one_of_a_pair_fails_with_21_per_cent(permanent: str, word: Word) -> None:
    verdict = judge(subject(), run(total="100", permanent=permanent))
    assert verdict.word is word, "owner's report [secondary]"


def test_a8_a_faulty_rig_never_silently_becomes_a_verdict() -> None:
    everything_stayed = judge(subject(), run(total="80", permanent="80"))
    assert everything_stayed.word is Word.REPEAT, "letter 12-0176, question [text]"
    leaking = run(total="80", permanent="9", reached="4700", malfunction="O-ring of the adapter")
    verdict = judge(subject(), leaking)
    # 11.25 %: the letter's answer was not seen, so the words of (g)(5) stand, and the rig is named.
    assert verdict.word is Word.CONDEMN, f"letter 12-0176, question [text]; {G5}"
    assert any("O-ring of the adapter" in reason.says for reason in verdict.reasons)


# Computed from the text (B) ----------------------------------------------------------------


@pytest.mark.parametrize(
    ("total", "permanent", "elastic", "percent", "ten", "five"),
    [
        ("60.0", "3.0", "57.0", "5", Word.PASS, Word.PASS),  # B1
        ("60.0", "6.0", "54.0", "10", Word.PASS, Word.CONDEMN),  # B2
        ("152.4", "14.9", "137.5", "9.7769", Word.PASS, Word.CONDEMN),  # B4
        ("210.0", "10.6", "199.4", "5.0476", Word.PASS, Word.CONDEMN),  # B6
    ],
)
def test_b_expansions(
    *, total: str, permanent: str, elastic: str, percent: str, ten: Word, five: Word
) -> None:
    found = expansion(Decimal(total), Decimal(permanent))
    assert found.elastic_ml == Fraction(elastic), "49 CFR 180.203 [text], figures [derived]"
    assert figure_text(found.percent, 4) == percent, (
        "49 CFR 180.215(b)(2) [text], figures [derived]"
    )
    one = run(total=total, permanent=permanent)
    assert judge(subject(), one).word is ten, I_IV
    by_permit = subject("DOT-SP", permit=Fraction(5))
    assert judge(by_permit, one).word is five, "(i)(1)(vii) [text]; 5 % a permit's [memory]"


def test_the_share_is_never_rounded_before_it_is_compared() -> None:
    over = judge(subject(), run(total="1000", permanent="100.3"))
    assert over.word is Word.CONDEMN, f"{I_IV}, trap 7: 10.03 % is over"
    hair = judge(subject(), run(total="100000", permanent="10000.001"))
    assert hair.word is Word.CONDEMN, I_IV
    assert "just over 10 %" in hair.governing.says


@pytest.mark.parametrize(
    ("service", "test", "pre", "repeat", "one", "plus"),
    [
        ("1800", "3000", "2700", "3100", "30", "1980"),
        ("2015", "3358.33", "3022.5", "3458.33", "33.58", "2216.5"),
        ("2216", "3693.33", "3324", "3793.33", "36.93", "2437.6"),
        ("2250", "3750", "3375", "3850", "37.5", "2475"),
        ("3000", "5000", "4500", "5100", "50", "3300"),
        ("4500", "7500", "6750", "7600", "75", "4950"),
        ("5500", "9166.67", "8250", "9266.67", "91.67", "6050"),
    ],
)
def test_b_pressures(
    *, service: str, test: str, pre: str, repeat: str, one: str, plus: str
) -> None:
    least = least_test_pressure(LIMITS, "DOT-3AA", psi(service))
    assert figure_text(least.minimum.value, 2) == test, f"{TABLE_1}, figures [derived]"
    assert least.asked >= least.minimum, "a minimum is rounded up [derived]"
    assert least.asked.value - least.minimum.value < 1
    assert figure_text(pre_check_pressure(least.minimum).value, 2) == pre, G5
    assert figure_text(repeat_pressure(least.minimum).value, 2) == repeat, G5
    assert figure_text(least.minimum.times(Fraction(1, 100)).value, 2) == one, "(g)(2) [text]"
    assert figure_text(plus_fill_pressure(psi(service)).value, 2) == plus, "180.213(f)(3) [text]"


@pytest.mark.parametrize(("test", "repeat"), [("450", "495"), ("1000", "1100"), ("1100", "1200")])
def test_ten_per_cent_and_100_psig_cross_at_1000_psig(test: str, repeat: str) -> None:
    assert repeat_pressure(psi(test)) == psi(repeat), f"{G5}, figures [derived]"


@pytest.mark.parametrize(
    ("service", "test"),
    [
        ("200", "450"),
        ("225", "450"),
        ("300", "600"),
        ("499", "998"),
        ("500", "834"),
        ("540", "900"),
    ],
)
def test_3al_is_tested_at_the_greatest_of_three(service: str, test: str) -> None:
    assert least_test_pressure(LIMITS, "DOT-3AL", psi(service)).asked == psi(test), AL_3


@pytest.mark.parametrize(
    ("specification", "service", "test"),
    [
        ("DOT-3HT", "1850", "3084"),
        ("DOT-3T", "2400", "4000"),
        ("DOT-3", "1800", "3000"),
        ("DOT-3B", "480", "960"),
        ("DOT-4E", "240", "480"),
    ],
)
def test_each_specification_has_its_sum(specification: str, service: str, test: str) -> None:
    assert least_test_pressure(LIMITS, specification, psi(service)).asked == psi(test), TABLE_1


def test_whatever_stamp_the_us_rules_know_is_tested_as_its_design() -> None:
    """49 CFR 180.205(c) (DOT, CRC, BTC, CTC) and 173.301(a)(1), as quoted, which names ICC too."""
    for design in ("3AA", "3AL", "3HT", "3B"):
        asked = {
            least_test_pressure(LIMITS, f"{body}-{design}", psi("2015")).asked
            for body in ("DOT", "ICC", "CTC", "CRC", "BTC")
        }
        assert len(asked) == 1, design


@pytest.mark.parametrize("specification", ["DOT-3E", "DOT-4L"])
def test_some_are_never_tested(specification: str) -> None:
    with pytest.raises(HydroProblem, match="not retested"):
        least_test_pressure(LIMITS, specification, psi("1800"))


def test_a_permit_has_to_be_read() -> None:
    with pytest.raises(HydroProblem, match="permit"):
        least_test_pressure(LIMITS, "DOT-SP", psi("4500"))
    given = least_test_pressure(LIMITS, "DOT-SP", psi("4500"), psi("7500"))
    assert given.asked == psi("7500"), TABLE_1
    with pytest.raises(HydroProblem, match="as the permit says"):
        judge(subject("DOT-SP"), run())


def test_a_foreign_cylinders_mark_is_not_below_five_thirds() -> None:
    assert least_test_pressure(LIMITS, "FOREIGN", psi("3000"), psi("5200")).asked == psi("5200")
    with pytest.raises(HydroProblem, match="below 5000 psi"):
        least_test_pressure(LIMITS, "FOREIGN", psi("3000"), psi("4500"))


@pytest.mark.parametrize(
    ("pressure", "outside", "inside", "stress", "row"),
    [
        ("3750", "6.900", "6.560", "64821.51", "B8"),
        ("3750", "6.900", "6.620", "78675.86", "B9"),
        ("3000", "9.000", "8.500", "46011.43", "B12"),
    ],
)
def test_b_wall_stress(pressure: str, outside: str, inside: str, stress: str, row: str) -> None:
    found = wall_stress_psi(psi(pressure), Decimal(outside), Decimal(inside))
    assert figure_text(found, 2) == stress, f"{row}, 49 CFR 178.37(f)(3) [text], figures [derived]"


def test_a_3aa_wall_bears_70000_psi_at_most() -> None:
    clause = "49 CFR 178.37(f)(1)-(2) [text]"
    assert stress_cap_3aa_psi(psi("2250"), 120_000) == 70_000, clause
    assert stress_cap_3aa_psi(psi("2250"), 100_000) == 67_000, clause
    assert stress_cap_3aa_psi(psi("899"), 120_000) == 24_000, clause


def test_a_3al_wall_bears_the_less_of_80_per_cent_of_yield_and_67_per_cent_of_tensile() -> None:
    clause = "49 CFR 178.46(d) [text]; 6061-T6 by Table 2 [text], figures [derived]"
    assert stress_cap_3al_psi() == 25_460, clause
    assert stress_cap_3al_psi(30_000, 38_000) == 24_000, clause
    assert stress_cap_3al_psi(40_000, 42_000) == 28_140, clause


def test_a_3ht_wall_bears_105000_psi_at_most() -> None:
    clause = "49 CFR 178.44(f) [text], figures [derived]"
    assert stress_cap_3ht_psi(130_000) == 97_500, clause
    assert stress_cap_3ht_psi(140_000) == 105_000, clause
    assert stress_cap_3ht_psi(165_000) == 105_000, clause


def test_the_plus_mark_asks_for_stress_and_elastic_limit() -> None:
    assert plus_allowed("alloy-3AA", 67_000, 80_000), "67 000 average [secondary]"
    assert plus_allowed("alloy-3AA", 68_000, 73_000), "73 000 maximum [secondary]"
    assert not plus_allowed("alloy-3AA", 67_001, 73_001), "[secondary]"
    assert not plus_allowed("alloy-3AA", 67_001), "the maximum is not known"
    with pytest.raises(HydroProblem, match="only steel"):
        plus_allowed("aluminium", 1, 1)
    for steel, average, maximum in (
        ("carbon", 53_000, 58_000),
        ("medium-manganese", 53_000, 58_000),
        ("carbon-old", 45_000, 48_000),
        ("alloy-3T", 87_000, 94_000),
    ):
        table = "AFMAN 24-604, figure A3.2, repeating 49 CFR 173.302a(b) [secondary]"
        assert plus_allowed(steel, average, maximum + 1), table
        assert plus_allowed(steel, average + 1, maximum), table
        assert not plus_allowed(steel, average + 1, maximum + 1), table
    good = unmet(plus_asked("DOT-3AA", stress_kept=True, elastic_ml=80, ree_ml=80))
    assert good == (), "173.302a(b): stress [secondary], elastic limit [memory]"
    assert unmet(plus_asked("DOT-3AL", stress_kept=True, elastic_ml=80, ree_ml=80)), (
        "never 3AL [text]"
    )
    assert unmet(plus_asked("DOT-3AA", stress_kept=True, elastic_ml=81, ree_ml=80)), "REE [memory]"
    assert unmet(plus_asked("DOT-3AA", stress_kept=None, elastic_ml=80, ree_ml=80)), "[secondary]"


@pytest.mark.parametrize(("retest", "word"), [("84.0", Word.PASS), ("84.1", Word.CONDEMN)])
def test_3ht_is_condemned_over_its_elastic_limit(retest: str, word: Word) -> None:
    ree = rejection_expansion_3ht_ml(Decimal("80.0"))
    assert ree == 84, I_V
    one = run(total=retest, permanent="0")
    assert judge(subject("DOT-3HT", ree=ree), one).word is word, I_V


@pytest.mark.parametrize(
    ("years", "fills", "word"),
    [
        (23, 4379, Word.PASS),
        (24, 0, Word.CONDEMN),
        (5, 4380, Word.CONDEMN),
        (25, 5000, Word.CONDEMN),
    ],
)
def test_3ht_ends_at_24_years_or_4380_fills(years: int, fills: int, word: Word) -> None:
    old = subject("DOT-3HT", ree=Fraction(84), years=years, fills=fills)
    assert judge(old, run(total="80", permanent="1")).word is word, I_V


def test_4e_may_keep_twelve_per_cent() -> None:
    clause = "49 CFR 180.205(i)(1)(vi) [text]"
    four_e = subject("DOT-4E")
    assert judge(four_e, run(total="100", permanent="12")).word is Word.PASS, clause
    assert judge(four_e, run(total="100", permanent="12.01")).word is Word.CONDEMN, clause


def test_over_its_elastic_limit_a_plus_cylinder_is_not_passed() -> None:
    marked = subject(ree=Fraction(50), plus=True)
    verdict = judge(marked, run(total="60", permanent="1"))
    assert verdict.word is Word.REJECT, "letter 13-0042, question [text]; 173.302a(b) [memory]"


# The run itself ----------------------------------------------------------------------------


def test_thirty_seconds_are_enough_and_twenty_nine_are_not() -> None:
    assert judge(subject(), run(held=30)).word is Word.PASS, G5
    assert judge(subject(), run(held=29)).word is Word.REJECT, G5


def test_a_run_that_stopped_at_90_per_cent_may_be_done_again() -> None:
    verdict = judge(subject(), run(reached="4500"))
    assert verdict.word is Word.REPEAT, G5
    assert verdict.next_pressure == psi("5000"), G5
    assert judge(subject(), run(reached="4501")).word is Word.REJECT, G5


def test_a_repeat_comes_only_after_a_failure_of_the_rig_and_at_raised_pressure() -> None:
    verdict = judge(subject(), run(reached="4900", malfunction="pump stalled"))
    assert verdict.word is Word.REPEAT, G5
    assert verdict.next_pressure == psi("5100"), G5
    third = judge(subject(), run(reached="4900", malfunction="pump stalled", number=3))
    assert third.word is Word.REJECT, "at most two repeats, handbook [memory]"


def test_no_repeat_saves_a_cylinder_that_must_be_condemned() -> None:
    leak = run(reached="4900", malfunction="pump stalled", leaks=True)
    assert judge(subject(), leak).word is Word.CONDEMN, G5
    over = run(total="60", permanent="12", malfunction="reader stuck")
    assert judge(subject(), over).word is Word.CONDEMN, G5


@pytest.mark.parametrize(
    ("permanent", "word"), [("6", Word.REPEAT), ("6.01", Word.CONDEMN), ("9", Word.CONDEMN)]
)
@pytest.mark.parametrize(
    "broken_off", [{"held": 20}, {"reached": "4900"}, {"reached": "4500"}, {"number": 2, "held": 0}]
)
def test_a_broken_off_run_over_the_limit_is_condemned_and_not_repeated(
    broken_off: dict[str, Any], permanent: str, word: Word
) -> None:
    verdict = judge(
        subject(), run(total="60", permanent=permanent, malfunction="pump stalled", **broken_off)
    )
    assert verdict.word is word, f"{G5}: no repeat for what must be condemned; {I_IV}"
    assert (verdict.next_pressure is None) is (word is Word.CONDEMN)


def test_a_broken_off_3ht_over_its_elastic_limit_is_condemned() -> None:
    old = subject("DOT-3HT", ree=Fraction(84))
    over = run(total="85", permanent="0.9", held=20, malfunction="pump stalled")
    assert judge(old, over).word is Word.CONDEMN, f"{G5}; {I_V}"
    kept = run(total="84", permanent="0", held=20, malfunction="pump stalled")
    assert judge(old, kept).word is Word.REPEAT, G5


def test_more_than_90_per_cent_beforehand_spoils_the_test() -> None:
    assert judge(subject(), run(before="4500")).word is Word.PASS, G5
    assert judge(subject(), run(before="4501")).word is Word.REJECT, G5


def test_far_too_much_pressure_is_no_pass() -> None:
    assert judge(subject(), run(reached="5500")).word is Word.PASS, "common practice"
    assert judge(subject(), run(reached="5501")).word is Word.REJECT, "common practice"
    low = subject(at=psi("900"))
    assert repeat_pressure(psi("900")) == psi("990")
    assert judge(low, run(reached="990", number=2)).word is Word.PASS, f"{G5}: the repeat itself"


def test_a_proof_test_counts_only_where_no_expansion_is_asked() -> None:
    proof = run("proof")
    assert judge(subject(), proof).word is Word.REJECT, "180.209(a), Table 1 [memory]"
    small = subject(no_volumetric=is_very_small(Fraction(2), Fraction(23)))
    assert judge(small, proof).word is Word.PASS, "180.209(a), Table 1, footnote 1 [text]"
    assert not is_very_small(Fraction("2.01"), Fraction(23)), "footnote 1 [text]"
    assert not is_very_small(Fraction(2), Fraction(24)), "footnote 1 [text]"


# The rig -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("total", "tolerance"), [("5", "0.1"), ("10", "0.1"), ("10.1", "0.101"), ("60", "0.6")]
)
def test_one_per_cent_and_a_tenth_of_a_cc_cross_at_ten(total: str, tolerance: str) -> None:
    clause = "49 CFR 180.205(g)(2), (3)(ii) [text], crossing [derived]"
    assert expansion_tolerance_ml(Decimal(total)) == Fraction(tolerance), clause
    assert expansion_readable(Decimal(total), Decimal(tolerance)).good, clause
    coarser = Decimal(tolerance) + Decimal("0.001")
    assert not expansion_readable(Decimal(total), coarser).good, clause


def test_an_analogue_gauge_is_read_to_half_a_division() -> None:
    clause = "49 CFR 180.205(g)(2) [text]"
    assert gauge_readable(psi("5000"), psi("100")).good, clause
    assert not gauge_readable(psi("5000"), psi("101")).good, clause
    assert not gauge_readable(psi("5000"), psi("51"), analogue=False).good, clause


def test_an_expansion_device_is_within_half_a_per_cent_of_its_scale() -> None:
    assert device_good(Decimal("1.5"), 300).good, "49 CFR 180.205(g)(3)(ii) [text]"
    assert not device_good(Decimal("1.51"), 300).good, "49 CFR 180.205(g)(3)(ii) [text]"


@pytest.mark.parametrize(
    ("test", "at", "shows", "read", "left", "good"),
    [
        ("5000", "5000", "5000", "100", "0", True),
        ("5000", "4500", "4500", "100", "0", True),
        ("5000", "4499", "4499", "100", "0", False),
        ("3000", "2500", "2500", "100", "0", True),
        ("2900", "2610", "2610", "100", "0", True),
        ("2900", "2609", "2609", "100", "0", False),
        ("5000", "5000", "5050", "101", "0", True),
        ("5000", "5000", "5051", "100", "0", False),
        ("5000", "5000", "5000", "101.1", "0", False),
        ("5000", "5000", "5000", "100", "0.1", False),
    ],
)
def test_the_calibrated_cylinder_tells_whether_the_rig_is_good(
    *, test: str, at: str, shows: str, read: str, left: str, good: bool
) -> None:
    check = DailyCheck("CAL-7", psi(at), psi(shows), Fraction(100), Fraction(read), Fraction(left))
    found = all(finding.good for finding in daily_check(check, psi(test)))
    assert found is good, "49 CFR 180.205(g)(3)-(4) [text]"


# Marks -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "year", "body", "suffixes", "pressure_test"),
    [
        ("9 [A1/32] 06", 2006, "A123", (), True),
        ("12 [B4/65] 21+*", 2021, "B456", ("+", "*"), True),
        ("3 [C7/98] 24S", 2024, "C789", ("S",), True),
        ("3 [C7/98] 24VE", 2024, "C789", ("VE",), False),
        ("3 [C7/98] 24E", 2024, "C789", ("E",), False),
        ("3 [C7/98] 24UE", 2024, "C789", ("UE",), True),
        ("1 [A1/32] 98", 1998, "A123", (), True),
    ],
)
def test_a_us_mark_reads_back(
    text: str, year: int, body: str, suffixes: tuple[str, ...], pressure_test: bool
) -> None:
    mark = read_us_mark(text, date(2026, 11, 25))
    clause = "49 CFR 180.213(d), (f) [text]; century by the day of reading"
    assert (mark.year, mark.body, mark.suffixes) == (year, body, suffixes), clause
    assert mark.is_pressure_test is pressure_test, "trap 10: a VE mark is no hydrostatic test"
    assert str(mark) == text


def test_a_mark_from_next_month_is_a_hundred_years_old() -> None:
    assert read_us_mark("12 [A1/32] 26", date(2026, 11, 25)).year == 1926


# Plausibility ------------------------------------------------------------------------------


def test_the_star_asks_for_all_of_its_conditions() -> None:
    facts = StarFacts("DOT-3AA", Decimal(14), 2010, True, False, True, True, True)
    assert unmet(star_asked(facts)) == (), (
        "180.209(b)(1), letter 16-0147 [text]; size, age [memory]"
    )
    diving = StarFacts("DOT-3AL", None, 1940, False, True, False, False, False)
    assert len(unmet(star_asked(diving))) == 8, "180.209(b)(1) [text] and [memory]"


STEEL: dict[str, Any] = {
    "marks": (),
    "water_capacity_l": Decimal(7),
    "made_year": 2010,
    "service_bar": Decimal(200),
    "ree_ml": Decimal(60),
}


@pytest.mark.parametrize(
    ("change", "star", "plus", "source"),
    [
        ({}, "allowed only where", "allowed only where", "180.209(b)(1), 180.213(f)(3) [text]"),
        (
            {"elastic_ml": Decimal(61)},
            "allowed only",
            "not allowed, for it is not so that the elastic",
            "REE [memory]",
        ),
        ({"elastic_ml": Decimal(60)}, "allowed only", "allowed only", "REE [memory]"),
        (
            {"water_capacity_l": Decimal(57)},
            "not allowed, for it is not so that it holds 125 lb",
            "allowed only",
            "[memory]",
        ),
        (
            {"made_year": 1945},
            "not allowed, for it is not so that it was made after 1945",
            "allowed only",
            "[memory]",
        ),
        (
            {"marks": ("diving",)},
            "not allowed, for it is not so that nobody breathes",
            "allowed only",
            "[memory]",
        ),
        (
            {"specification": "DOT-3T"},
            "not allowed, for it is not so that it is a 3A or 3AA",
            "allowed only",
            "[text]",
        ),
        (
            {"specification": "DOT-3AL", "marks": ("star", "plus")},
            "not allowed, for it is not so that it is a 3A or 3AA [text]; the register has",
            "not allowed, for it is not so that it is a 3A, 3AX, 3AA, 3AAX or 3T [text]; the",
            "Table 1: the star does not exist for aluminium [text]",
        ),
    ],
)
def test_star_and_plus_are_allowed_or_not_with_the_reason(
    change: dict[str, Any], star: str, plus: str, source: str
) -> None:
    found = suffixes(**{"specification": "DOT-3AA", **STEEL, **change})
    for each, words in zip(found, (star, plus), strict=True):
        assert each.says.startswith(words), source
    assert found[1].named == "Plus (+): 220 bar", "110 % of 200 bar, 180.213(f)(3) [text]"


def test_of_what_never_carries_star_or_plus_nothing_is_said() -> None:
    assert suffixes(specification="EN-12245", **STEEL) == ()
    assert suffixes(specification="DOT-3AL", **STEEL) == ()

"""Direct expansion, proof test and marks as ISO and EN have them, by the facts' rows."""

from datetime import date
from decimal import Decimal
from fractions import Fraction

import pytest

from servicing.hydrostatic.pure.amounts import HydroProblem, Pressure, figure_text
from servicing.hydrostatic.pure.expansion import Expansion, direct_expansion, direct_reading
from servicing.hydrostatic.pure.limits import least_test_pressure
from servicing.hydrostatic.pure.marks import composite_label, iso_mark, read_iso_mark
from servicing.hydrostatic.pure.verdict import Word, judge
from servicing.hydrostatic.pure.water import compression_ml, handbook_compression_ml
from tests.servicing.hydrostatic.made import LIMITS, run, subject

H1 = "H1, the ISO-type example [memory], arithmetic reproduced [computed]"
H2 = "H2 [computed], formula [memory]"
H5 = "H5 [computed], IAPWS-95"
HALF_1 = "1.5 x working pressure [secondary]; SOR/2010-120 s.142(4) [text]"
FIVE = "ISO 18119 and its like: 5 % [memory], 10 % [secondary]"
HOLD = "ISO 18119, ISO 6406/10461: 30 s at least, no drop [secondary]"


def bar(number: int) -> Pressure:
    return Pressure.of(number, "bar")


def test_h1_a_cylinder_of_113_8_kg_of_water_passes_with_0_58_per_cent() -> None:
    reading = direct_reading(
        forced_in_ml=1745,
        expelled_ml=1742,
        water_kg=Decimal("113.8"),
        temperature_c=15,
        pressure_bar=232,
    )
    assert reading.water_at_pressure_kg == Fraction("115.545"), H1
    found = direct_expansion(reading)
    assert found.handbook is not None
    assert found.handbook_correction_ml is not None
    assert figure_text(found.handbook_correction_ml, 1) == "1224.3", H1
    assert figure_text(found.handbook.total_ml, 1) == "520.7", H1
    assert found.handbook.permanent_ml == 3, H1
    assert figure_text(found.handbook.percent, 2) == "0.58", H1
    assert figure_text(found.iapws_correction_ml, 1) == "1210.8", "H1b, IAPWS-95 [computed]"
    assert figure_text(found.iapws.total_ml, 1) == "534.2", "H1b, IAPWS-95 [computed]"
    assert figure_text(found.iapws.percent, 2) == "0.56", "H1b, IAPWS-95 [computed]"
    assert found.stricter is found.handbook, "the verdict goes by the larger share"


def test_h2_a_cylinder_of_6_8_litres_at_450_bar() -> None:
    water = Fraction("6.9875")
    by_form = handbook_compression_ml(water, 20, 450)
    ours = compression_ml(water, 20, 450)
    assert figure_text(by_form, 2) == "136.72", H2
    assert abs(ours - Fraction("135.34")) <= Fraction("0.01"), H2
    for correction, total, percent in ((by_form, "63.28", "3.16"), (ours, "64.66", "3.09")):
        found = Expansion(200 - correction, Fraction(2))
        assert abs(found.total_ml - Fraction(total)) <= Fraction("0.01"), H2
        assert figure_text(found.percent, 2) == percent, H2
        assert judge(
            subject("EN-12245", at=bar(450)), run(found=found, reached="450 bar")
        ).word is (Word.PASS), H2


@pytest.mark.parametrize(
    ("t", "correction"), [(10, "140.47"), (15, "137.58"), (20, "135.34"), (25, "133.66")]
)
def test_h5_a_few_degrees_shift_the_correction(t: int, correction: str) -> None:
    ours = compression_ml(Fraction("6.9875"), t, 450)
    assert abs(ours - Fraction(correction)) <= Fraction("0.01"), H5


@pytest.mark.parametrize(("working", "test"), [(300, 450), (200, 300), (232, 348)])
def test_the_test_pressure_is_half_as_much_again(working: int, test: int) -> None:
    assert least_test_pressure(LIMITS, "EN-12245", bar(working)).asked == bar(test), HALF_1


def test_a_marked_test_pressure_counts_where_it_is_higher() -> None:
    found = least_test_pressure(LIMITS, "EN-ISO-9809-1", bar(200), bar(310))
    assert found.asked == bar(310), "the mark is never undercut; " + HALF_1


def test_five_per_cent_stands_unless_the_design_standard_says_ten() -> None:
    over = run(total="100", permanent="5.1")
    assert judge(subject("EN-1964-1"), run(total="100", permanent="5")).word is Word.PASS, FIVE
    assert judge(subject("EN-1964-1"), over).word is Word.CONDEMN, FIVE
    wider = subject("EN-1964-1", permit=Fraction(10))
    assert judge(wider, over).word is Word.PASS, FIVE
    with pytest.raises(HydroProblem, match="no limit over 10 %"):
        judge(subject("EN-1964-1", permit=Fraction(11)), over)


def test_a_proof_test_holds_thirty_seconds_without_a_drop() -> None:
    cylinder = subject("EN-12245", at=bar(450))
    assert judge(cylinder, run("proof", reached="450 bar")).word is Word.PASS, HOLD
    assert judge(cylinder, run("proof", reached="450 bar", held=29)).word is Word.REJECT, HOLD
    fell = run("proof", reached="450 bar", dropped=True)
    assert judge(cylinder, fell).word is Word.REJECT, HOLD
    short = run("proof", reached="449 bar")
    assert judge(cylinder, short).word is Word.REJECT, HOLD


def test_the_end_of_its_life_beats_a_good_test() -> None:
    over = subject("EN-12245", life_over=True)
    source = "Finnish safety agency 2015 [secondary]; AS 2337.3 cl. 4 [text]"
    assert judge(over, run()).word is Word.CONDEMN, source


def test_the_iso_mark_is_year_and_month() -> None:
    source = "UK instructor manual 2017 [secondary]; ISO 13769 [memory]"
    assert str(iso_mark(date(2021, 6, 30), "XY12")) == "2021/06 XY12", source
    assert read_iso_mark("2021/06 XY12") == iso_mark(date(2021, 6, 1), "XY12"), source


@pytest.mark.parametrize("text", ["03/14", "3-14", "14.03"])
def test_a_mark_that_can_be_read_two_ways_is_asked_about(text: str) -> None:
    with pytest.raises(HydroProblem, match="ask who stamped it"):  # trap 5
        read_iso_mark(text)


@pytest.mark.parametrize("text", ["2021/13", "2021", "June 2021"])
def test_what_is_no_mark_is_refused(text: str) -> None:
    with pytest.raises(HydroProblem, match="YYYY/MM"):
        read_iso_mark(text)


def test_a_composite_gets_a_label_and_no_stamp() -> None:
    label = composite_label(
        date(2026, 3, 4), "A123", serial="K-77", test_pressure="7500 psi", us=True
    )
    assert label == ("3 [A1/32] 26", "serial K-77", "tested at 7500 psi"), "180.213(c)(3) [text]"

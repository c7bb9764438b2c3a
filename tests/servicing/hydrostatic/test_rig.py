"""Gauge and expansion reader of a rig of one's own, held to 49 CFR 180.205(g)(2) and (3).

The clauses are of the edition of 2015 [text]; letters where they are named.
"""

from decimal import Decimal
from fractions import Fraction

import pytest

from servicing.hydrostatic.pure.amounts import HydroProblem, Pressure
from servicing.hydrostatic.pure.rig import Rig

G2, G3 = "180.205(g)(2) [text]", "180.205(g)(3) [text]"
FULL = Rig(
    Pressure.read("11000 psi"),
    Pressure.read("100 psi"),
    Pressure.read("40 psi"),
    reader_range_ml=Decimal(200),
    reader_step_ml=Decimal("0.1"),
    reader_off_ml=Decimal(1),
)


def good(rig: Rig, test: str = "5000 psi") -> list[bool]:
    return [finding.good for finding in rig.gauge(Pressure.read(test))]


@pytest.mark.parametrize(
    ("step", "digital", "test", "readable", "source"),
    [
        # 1 % of 5000 is 50: half a division of 100 with a pointer, the last step of a digital one.
        ("100 psi", False, "5000 psi", True, G2),
        ("101 psi", False, "5000 psi", False, G2),
        ("50 psi", True, "5000 psi", True, G2),
        ("100 psi", True, "5000 psi", False, G2),
        ("9 bar", False, "450 bar", True, G2),
        ("10 bar", False, "450 bar", False, G2),
    ],
)
def test_a_gauge_is_read_to_one_per_cent_of_test_pressure(
    *, step: str, digital: bool, test: str, readable: bool, source: str
) -> None:
    rig = Rig(gauge_step=Pressure.read(step), gauge_digital=digital)
    assert good(rig, test) == [readable], source


@pytest.mark.parametrize(
    ("full", "off", "found", "source"),
    [
        ("11000 psi", "40 psi", [True, True, True], "0.5 % of 11 000 is 55; letter 13-0131"),
        ("11000 psi", "55 psi", [True, True, False], "1 % of 5000 is 50: good from 5500"),
        ("11000 psi", "56 psi", [True, False], "letter 13-0131 (2013-09-24)"),
        ("5499 psi", "1 psi", [False, True, True], f"90 to 110 %, {G3}"),
        ("5500 psi", "1 psi", [True, True, True], f"90 to 110 %, {G3}"),
        ("11000 psi", "0 psi", [True, True], "exact"),
    ],
)
def test_how_far_off_a_gauge_may_be(full: str, off: str, found: list[bool], source: str) -> None:
    rig = Rig(gauge_range=Pressure.read(full), gauge_off=Pressure.read(off))
    assert good(rig) == found, source


def test_where_two_letters_disagree_both_are_said() -> None:
    """Letter 14-0144 (2014-09-16) finds 40 at 5000 too much; 13-0131 reads it of the range."""
    words = [each.says for each in FULL.gauge(Pressure.read("5000 psi"))]
    assert any("letter 14-0144" in each for each in words)
    closer = Rig(gauge_range=FULL.gauge_range, gauge_off=Pressure.read("25 psi"))
    assert not any("14-0144" in e.says for e in closer.gauge(Pressure.read("5000 psi")))


@pytest.mark.parametrize(
    ("total", "step", "off", "found", "source"),
    [
        ("60", "0.6", "1", [True, True], "1 % of total (g)(2); 0.5 % of 200 mL (g)(3)(ii)"),
        ("60", "0.7", "1", [False, True], G2),
        ("5", "0.1", "1", [True, True], f"0.1 mL where 1 % is less, {G2}"),
        ("60", "0.6", "1.1", [True, False], G3),
    ],
)
def test_a_reader_is_fine_and_true_enough(
    total: str, step: str, off: str, found: list[bool], source: str
) -> None:
    rig = Rig(
        reader_range_ml=Decimal(200), reader_step_ml=Decimal(step), reader_off_ml=Decimal(off)
    )
    assert [each.good for each in rig.reader(Fraction(total))] == found, source


def test_what_nobody_said_is_named_and_not_judged() -> None:
    assert Rig().gauge(Pressure.read("450 bar")) == Rig().reader(Fraction(60)) == ()
    assert len(Rig().not_known(volumetric=True)) == 6
    assert len(Rig().not_known(volumetric=False)) == 3
    assert FULL.not_known(volumetric=True) == ()


def test_a_gauge_that_shows_nothing_is_asked_about() -> None:
    with pytest.raises(HydroProblem, match="full range"):
        Rig(gauge_range=Pressure.read("0 bar")).gauge(Pressure.read("450 bar"))

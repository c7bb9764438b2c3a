"""The table of limits: what it refuses, and that every row says where it is from."""

from decimal import Decimal
from fractions import Fraction

import pytest

from servicing.hydrostatic.pure.amounts import HydroProblem, Pressure, figure_text
from servicing.hydrostatic.pure.content import ISO_RECORD, US_RECORD, Facts, not_said, record_lines
from servicing.hydrostatic.pure.limits import read_limits
from tests.published.cases import FIXTURES
from tests.servicing.hydrostatic.made import LIMITS

ROW = """
[[acceptance]]
id = "one"
specification = ["DOT-3AA"]
methods = ["jacket"]
permanent_percent = "10"
over = "condemn"
source = "a clause"
edition = "2015"
seen = "text"
"""


def test_every_row_names_its_source_its_edition_and_how_it_was_seen() -> None:
    said = [(row.source, row.edition, row.seen) for row in LIMITS.pressures]
    said += [(row.source, row.edition, row.seen) for row in LIMITS.acceptances]
    for source, edition, seen in said:
        assert source
        assert edition
        assert seen in ("text", "secondary", "memory", "practice")


def test_every_specification_that_a_rule_names_has_a_limit_and_a_test_pressure() -> None:
    named = {
        word.strip('",]')
        for path in FIXTURES.glob("*.toml")
        for word in path.read_text("utf-8").replace("[", " ").split()
        if word.startswith(('"DOT-', '"CTC-', '"TC-', '"EN-', '"ISO-', '"UN-'))
    }
    assert "DOT-3AA" in named
    for specification in sorted(named):
        assert LIMITS.acceptance(specification)
        assert LIMITS.pressure_rule(specification)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (('seen = "text"', 'seen = "heard"'), "seen is one of"),
        (('source = "a clause"', ""), "source is missing"),
        (('"jacket"', '"guess"'), "methods are"),
        (('over = "condemn"', 'over = "shrug"'), "condemn or reject"),
        (('"10"', '"ten"'), "not a number"),
        (('over = "condemn"', 'over = "condemn"\nlmit = 3'), "lmit is no key"),
        (("[[acceptance]]", "[[acceptance"), "not TOML"),
    ],
)
def test_a_bad_row_is_refused_by_name(change: tuple[str, str], says: str) -> None:
    with pytest.raises(HydroProblem, match=says):
        read_limits(ROW.replace(*change))


def test_a_specification_stands_in_one_row_only() -> None:
    with pytest.raises(HydroProblem, match="another row"):
        read_limits(ROW + ROW.replace('"one"', '"two"'))


def test_an_unknown_specification_says_what_to_do() -> None:
    with pytest.raises(HydroProblem, match=r"add a row to fixtures/hydrostatic/limits\.toml"):
        LIMITS.acceptance("XX-1")


@pytest.mark.parametrize(
    ("text", "bar"), [("300 bar", "300"), ("4500 psi", "310.26"), ("4500 psig", "310.26")]
)
def test_pressures_are_read_with_their_unit(text: str, bar: str) -> None:
    assert figure_text(Pressure.read(text).bar, 2) == bar, "NIST SP 811, 1 psi = 6894.757 Pa"


@pytest.mark.parametrize("text", ["300", "300 kPa", "-3 bar", "1e3 bar", "300,5 bar", ""])
def test_a_pressure_without_its_unit_is_refused(text: str) -> None:
    with pytest.raises(HydroProblem, match="such as 300 bar or 4500 psi"):
        Pressure.read(text)


def test_pressures_of_two_units_are_compared_exactly() -> None:
    one = Pressure.of(1, "psi")
    assert one == Pressure.of(one.bar, "bar")
    assert one < Pressure.of(one.bar + Fraction(1, 10**40), "bar")
    assert max(Pressure.of(100, "psi"), Pressure.of(7, "bar")).unit == "bar", "6.8948 bar"
    assert str(Pressure.of(Decimal("4500.0"), "psi")) == "4500 psi"


def test_a_record_says_what_it_lacks() -> None:
    missing = {each.field for each in not_said(Facts(method="jacket"), US_RECORD)}
    assert {"serial", "total", "operator", "calibration", "by_eye"} <= missing
    assert "earlier_test" not in missing
    assert "owner" not in missing
    proof = {each.field for each in not_said(Facts(method="proof"), ISO_RECORD)}
    assert "percent" not in proof
    assert len(record_lines(Facts(serial="S-1"), US_RECORD)) == len(US_RECORD)


def test_a_reason_is_asked_only_of_what_did_not_pass() -> None:
    assert "reason" not in {e.field for e in not_said(Facts(disposition="pass"), US_RECORD)}
    assert "reason" in {e.field for e in not_said(Facts(disposition="condemn"), US_RECORD)}

"""Every fact and trap of fixtures/published/, row by row; the page prints the same rows.

The expected answer of every row was worked out by hand from the clause it names.
"""

from collections.abc import Mapping
from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from servicing.filling.pure.air import Charge, air_sheet
from servicing.filling.pure.settling import settled_bar
from servicing.hydrostatic.pure.amounts import Pressure
from servicing.hydrostatic.pure.expansion import direct_expansion, direct_reading, expansion
from servicing.hydrostatic.pure.limits import least_test_pressure, read_limits
from servicing.hydrostatic.pure.stress import wall_stress_psi
from servicing.hydrostatic.pure.suffixes import plus_fill_pressure
from servicing.hydrostatic.pure.verdict import (
    pre_check_pressure,
    repeat_pressure,
)
from servicing.rules.pure.published import AREAS, Fact, Published, Trap, proofs, read_published
from servicing.rules.pure.rule import Rule
from tests.published.cases import FIXTURES, Row, check, rules_of

ROOT = FIXTURES.parents[1]
FILES = sorted((FIXTURES.parent / "published").glob("*.toml"))
TABLES = sorted(path.stem for path in FIXTURES.glob("*.toml"))


def read(path: Path) -> Published:
    found, problems = read_published(path.name, path.read_text("utf-8"))
    assert not problems, "\n".join(map(str, problems))
    return found


PUBLISHED = [read(path) for path in FILES]
FACTS: list[Fact] = [fact for one in PUBLISHED for fact in one.facts]
TRAPS: list[Trap] = [trap for one in PUBLISHED for trap in one.traps]
CASES = [fact for fact in FACTS if fact.case is not None]
RULES: dict[str, tuple[Rule, ...]] = {name: rules_of(name) for name in TABLES}


@pytest.mark.parametrize("fact", CASES, ids=[fact.id for fact in CASES])
def test_the_tables_answer_as_the_source_says(fact: Fact) -> None:
    case = fact.case
    assert case is not None
    row = Row(fact.says, case.item, case.history, str(case.on), case.task, case.answer, fact.clause)
    check(row, [rule for name in case.tables for rule in RULES[name]])


def test_no_two_facts_share_an_id() -> None:
    ids = [fact.id for fact in FACTS]
    assert len(ids) == len(set(ids))


def test_every_row_of_every_table_is_argued_for() -> None:
    shown_only = {"adr-cyl-outer-limit", "uk-outer-limit", "sea-cyl-ten-years"}
    counted = {"us-cyl-3ht-fillings", "ca-cyl-3htm-fillings"}
    ids = {rule.id for rules in RULES.values() for rule in rules}
    assert ids - proofs(FACTS).keys() <= shown_only | counted, "tests/published/test_tables.py"


@pytest.mark.parametrize(
    "proof", sorted({fact.proved_by for fact in FACTS if fact.proved_by}), ids=str
)
def test_a_proof_that_is_named_is_there(proof: str) -> None:
    file, _, name = proof.partition("::")
    assert f"def {name}(" in (ROOT / file).read_text("utf-8")


@pytest.mark.parametrize("trap", TRAPS, ids=[trap.id for trap in TRAPS])
def test_every_trap_is_answered(trap: Trap) -> None:
    answered = [fact for fact in FACTS if fact.trap == trap.id and not fact.left_out]
    assert answered or trap.elsewhere


def test_the_traps_of_both_collections_are_all_there() -> None:
    us, others = ({f"{name}-{n}" for n in range(1, end)} for name, end in (("us", 13), ("int", 11)))
    assert {trap.id for trap in TRAPS} >= us | others
    assert {fact.trap for fact in FACTS if fact.trap} <= {trap.id for trap in TRAPS}


SOUND = (
    'id = "one"\nsays = "s"\nvalue = "v"\nclause = "c"\nedition = "e"\nseen = "text"\n'
    'checked_on = 2026-11-25\nleft_out = "why"\n'
)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        *(
            (f"{key} = ", f"# {key} = ", f"{key}")
            for key in ("id", "says", "value", "clause", "edition", "seen", "checked_on")
        ),
        ('left_out = "why"', "", "exactly one of answer, proved_by, left_out"),
        ("left_out", 'proved_by = "x"\nleft_out', "exactly one of"),
        ('"text"', '"heard"', "must be one of text, secondary, memory, practice"),
        ("2026-11-25", '"today"', "must be a day without quotes"),
        ("left_out", "answer", "tables"),
        ("id =", "colour = 3\nid =", "is not a key of a fact"),
    ],
)
def test_a_fact_without_its_source_can_not_be_written(old: str, new: str, words: str) -> None:
    assert read_published("a.toml", f"[[fact]]\n{SOUND}")[1] == []
    found, problems = read_published("a.toml", f"[[fact]]\n{SOUND.replace(old, new, 1)}")
    assert found.facts == ()
    assert any(words in str(problem) for problem in problems)


def test_every_row_of_the_tables_says_what_edition_was_read_and_when() -> None:
    for rules in RULES.values():
        for rule in rules:
            assert rule.edition, rule.id
            assert rule.checked_on is not None, rule.id
            from_memory = rule.edition.startswith("none: from memory")
            assert not from_memory or rule.seen == "memory", rule.id


# Worked examples ---------------------------------------------------------------------------

LIMITS = read_limits((FIXTURES.parent / "hydrostatic" / "limits.toml").read_text("utf-8"))
WORKED = [fact for fact in FACTS if fact.gives]
THIS = "tests/published/test_facts.py::test_a_worked_example_gives_its_figures"
Figures = Mapping[str, Decimal]


def expanded(given: Figures) -> dict[str, Any]:
    found = expansion(given["total_ml"], given["permanent_ml"])
    return {"elastic_ml": found.elastic_ml, "percent": found.percent}


def pressures(given: Figures) -> dict[str, Any]:
    service = Pressure.of(given["service_psi"], "psi")
    test = least_test_pressure(LIMITS, "DOT-3AA", service).minimum
    return {
        "test_psi": test.value,
        "before_psi": pre_check_pressure(test).value,
        "repeat_psi": repeat_pressure(test).value,
        "plus_fill_psi": plus_fill_pressure(service).value,
    }


def stressed(given: Figures) -> dict[str, Any]:
    at = Pressure.of(given["pressure_psi"], "psi")
    return {"stress_psi": wall_stress_psi(at, given["outside_in"], given["inside_in"])}


def directly(given: Figures) -> dict[str, Any]:
    found = direct_expansion(
        direct_reading(
            forced_in_ml=given["forced_in_ml"],
            expelled_ml=given["expelled_ml"],
            water_kg=given["water_kg"],
            temperature_c=given["water_c"],
            pressure_bar=given["pressure_bar"],
        )
    )
    assert found.handbook is not None
    return {
        "handbook_correction_ml": found.handbook_correction_ml,
        "handbook_percent": found.handbook.percent,
        "iapws_correction_ml": found.iapws_correction_ml,
        "iapws_percent": found.iapws.percent,
    }


def held(given: Figures) -> dict[str, Any]:
    sizes = (float(given[name]) for name in ("water_capacity_l", "gauge_bar", "at_c"))
    sheet = air_sheet(Charge(*sizes))
    return {
        "ideal_l": sheet.ideal_l,
        "free_l_at_15_c": sheet.free_l_at_15_c,
        "charge_kg": sheet.charge_kg,
        "to_empty_min": sheet.lasting.to_empty_min,
        "to_warning_min": sheet.lasting.to_warning_min,
        "ideal_to_empty_min": sheet.ideal_lasting.to_empty_min,
    }


def settled(given: Figures) -> dict[str, Any]:
    filled, warm, at_c = (float(given[name]) for name in ("filled_bar", "filled_at_c", "at_c"))
    return {"gauge_bar": settled_bar(filled, warm, at_c)}


WAYS = {
    "total_ml": expanded,
    "service_psi": pressures,
    "outside_in": stressed,
    "forced_in_ml": directly,
    "water_capacity_l": held,
    "filled_bar": settled,
}


@pytest.mark.parametrize("fact", WORKED, ids=[fact.id for fact in WORKED])
def test_a_worked_example_gives_its_figures(fact: Fact) -> None:
    assert fact.given
    assert fact.gives
    assert fact.proved_by == THIS, "the figures of a row are computed here"
    given = {name: Decimal(text) for name, text in fact.given.items()}
    way = next(way for name, way in WAYS.items() if name in given)
    found = way(given)
    for name, text in fact.gives.items():
        places = len(text.partition(".")[2])
        assert shown_to(found[name], places) == text, f"{name}: {fact.clause}, {fact.edition}"


def shown_to(value: Any, places: int) -> str:
    """Return a number with so many decimals, rounded half up; right to the last one."""
    exact = Fraction(value)
    step = Decimal(1).scaleb(-places)
    return str((Decimal(exact.numerator) / exact.denominator).quantize(step, ROUND_HALF_UP))


def test_every_area_has_its_facts() -> None:
    assert {fact.area for fact in FACTS} == set(AREAS)
    assert [trap.id for trap in TRAPS if trap.elsewhere] == [], "each trap has a row that answers"

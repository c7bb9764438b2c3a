"""Every fact and trap of fixtures/published/, row by row; the page prints the same rows.

The expected answer of every row was worked out by hand from the clause it names.
"""

from pathlib import Path

import pytest

from servicing.rules.pure.published import Fact, Published, Trap, proofs, read_published
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

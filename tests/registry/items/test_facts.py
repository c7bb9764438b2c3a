"""What a good item is, said once: the table, the columns, and the words that rules go by."""

import re
import tomllib
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from django.db import models

from registry.cells.pure.values import ValueProblem
from registry.items.facts import (
    ATTRIBUTES,
    CHOSEN,
    FACTS,
    NAMES,
    RULE_KEYS,
    TO_MONTH,
    Fact,
    Kept,
    misfits,
    revived,
    whole_version,
)
from registry.items.models import Item, ItemType
from registry.items.pure import CONNECTIONS, MARKS, SPECIFICATIONS, Kind, a_kind
from registry.lists.pure.register import HEADER
from registry.sets.pure.compatibility import outlet_class
from servicing.rules.pure.tables import ATTRIBUTES as MAY_STAND_IN_WHEN

ROOT = Path(__file__).resolve().parents[3]
NO_FACTS = {"id", "type", "site", "tag_short", "tag_whole", "serial_short"}
"""What the register keeps of an item beside its facts: where, and what codes are misread as."""
COLUMNS: dict[Kept, Any] = {
    Kept.TEXT: models.CharField,
    Kept.WORDS: models.JSONField,
    Kept.NUMBER: models.DecimalField,
    Kept.WHOLE: models.PositiveSmallIntegerField,
    Kept.DAY: models.DateField,
}


def column_of(fact: Fact) -> Any:
    model = ItemType if fact.name in ("kind", "model") else Item
    return model._meta.get_field(fact.name)


def test_the_columns_of_an_item_are_the_facts_and_no_others() -> None:
    columns = {field.name for field in Item._meta.concrete_fields}
    assert columns - NO_FACTS == {"tag", "maker", *ATTRIBUTES}
    assert {*NAMES, *ATTRIBUTES} == {*FACTS, TO_MONTH}


@pytest.mark.parametrize("fact", FACTS.values(), ids=lambda fact: fact.name)
def test_a_column_holds_whatever_its_fact_may_be(fact: Fact) -> None:
    column = column_of(fact)
    assert isinstance(column, COLUMNS[fact.kept])
    if fact.longest:
        assert column.max_length == fact.longest
    if fact.closed:
        assert {value for value, _ in column.choices} == {*fact.words}
    if fact.measure is not None:
        assert column.decimal_places == fact.measure.places
        assert fact.measure.high < Decimal(10) ** (column.max_digits - column.decimal_places)
    if not fact.needed:
        assert column.blank


@pytest.mark.parametrize("fact", FACTS.values(), ids=lambda fact: fact.name)
def test_a_number_says_its_unit_in_its_name(fact: Fact) -> None:
    if fact.unit:
        assert fact.name.endswith(f"_{fact.unit.lower()}")


def test_readme_names_the_columns_of_a_list_as_the_table_does() -> None:
    row = re.search(r"^\| register \|(.*)\|$", (ROOT / "README.md").read_text(), re.MULTILINE)
    assert row is not None
    named = [name for cell in re.findall(r"`([a-z_,]+)`", row[1]) for name in cell.split(",")]
    assert list(dict.fromkeys(named)) == list(HEADER)


def test_rules_go_by_every_fact_but_those_that_tell_one_item_from_another() -> None:
    assert FACTS.keys() - RULE_KEYS == {"tag", "serial", "made_on", "in_service_on"}
    assert {*RULE_KEYS, "site"} == MAY_STAND_IN_WHEN


# ── Words ───────────────────────────────────────────────────────────────────────────────────────


def used(name: str, held: Any) -> Iterator[str]:
    """Yield the words that stand under a name anywhere in a parsed table."""
    if isinstance(held, dict):
        for key, value in held.items():
            if key == name:
                yield from value.split(";") if isinstance(value, str) else value
            else:
                yield from used(name, value)
    elif isinstance(held, list):
        for each in held:
            yield from used(name, each)


@pytest.mark.parametrize("fact", CHOSEN, ids=lambda fact: fact.name)
def test_the_known_words_are_all_that_rules_procedures_limits_and_the_demo_use(fact: Fact) -> None:
    found = {
        word
        for path in (ROOT / "fixtures").rglob("*.toml")
        if path.parent.name != "published"
        for word in used(fact.name, tomllib.loads(path.read_text(encoding="utf-8")))
    }
    assert found - {""} - {*fact.words} == set(), "add it to registry/items/pure.py"


@pytest.mark.parametrize("fact", CHOSEN, ids=lambda fact: fact.name)
def test_every_known_word_reads_as_itself_and_fits_its_column(fact: Fact) -> None:
    for word in fact.words:
        assert fact.words_of(fact.read(word)) in ((word,), [word])
        assert not fact.longest or len(word) <= fact.longest
    assert len({*fact.words}) == len(fact.words)


def test_the_outlets_that_are_offered_are_those_that_sets_are_judged_by() -> None:
    european = [word for word in CONNECTIONS if word.startswith(("G5/8", "EN-144"))]
    assert [word for word in european if not outlet_class(word)] == []


@pytest.mark.parametrize(
    ("name", "text", "word"),
    [
        # The words of 49 CFR 180.209(a), Table 1, as people write them who read the shoulder.
        ("specification", "dot-3ht", "DOT-3HT"),
        ("specification", "DOT 3HT", "DOT-3HT"),
        ("specification", "DOT3HT", "DOT-3HT"),
        ("specification", "dot3ht", "DOT-3HT"),
        ("specification", "D.O.T.-3HT", "DOT-3HT"),
        ("specification", "3HT", "DOT-3HT"),
        ("specification", "DOT-3HT1850", "DOT-3HT"),
        ("specification", "DOT-3HT-1850", "DOT-3HT"),
        ("specification", "3HT1850", "DOT-3HT"),
        ("specification", "DOT-3AA2015+", "DOT-3AA"),
        ("specification", "DOT-3-3000", "DOT-3"),
        ("specification", "DOT-SP10915-4500", "DOT-SP"),
        ("specification", "DOT-E-7235", "DOT-E"),
        ("specification", "TC-3ALM207", "TC-3ALM"),
        ("specification", "ISO-11119-2:2012", "ISO-11119-2"),
        ("specification", "EN12245", "EN-12245"),
        ("marks", "on-vehicle;air-tight-packed", "airtight-packed"),
        ("marks", "6351t6", "6351-t6"),
    ],
)
def test_a_known_word_in_other_signs_is_refused_with_the_word_that_is_meant(
    name: str, text: str, word: str
) -> None:
    with pytest.raises(ValueProblem) as refusal:
        FACTS[name].read(text)
    assert word in refusal.value.remedy


@pytest.mark.parametrize(
    ("name", "text"),
    [
        # Other designs there are: taken, and asked about.
        ("specification", "EN-1964-1999"),
        ("specification", "DOT-39"),
        ("specification", "EN-13322-1"),
        ("specification", "ISO-11119-20"),
        ("marks", "brigade-spare"),
        ("connection", "M18x1.5"),
    ],
)
def test_a_word_that_nobody_knows_is_taken(name: str, text: str) -> None:
    fact = FACTS[name]
    assert list(fact.words_of(fact.read(text))) == [text]
    assert text not in fact.words


# ── Together, and as versions keep them ─────────────────────────────────────────────────────────


def test_only_what_is_no_cylinder_is_told_that_it_has_what_cylinders_have() -> None:
    said = {"specification", "marks", "tare_kg"}
    found = {
        kind: [name for name, _ in misfits({"kind": kind}, said, today=None, site="")]
        for kind in Kind
    }
    assert found.pop(Kind.CYLINDER) == []
    assert set(map(tuple, found.values())) == {("specification", "tare_kg")}


def test_a_version_of_today_revives_to_what_was_known() -> None:
    told: dict[str, Any] = {
        "tag": "1",
        "maker": "Ferrowane",
        "serial": "F1",
        "marks": ["plus"],
        "water_capacity_l": Decimal("6.800"),
        "design_life_years": 15,
        "size": "M",
    }
    item = Item(type=ItemType(kind="cylinder", maker="Ferrowane", model="R6"), site_id=1, **told)
    found = revived(item.known())
    assert {name: found[name] for name in told} == {**told, "marks": ("plus",)}
    assert found["made_on"] is None


@pytest.mark.parametrize("name", [*FACTS, TO_MONTH])
def test_what_a_version_of_an_earlier_release_lacks_is_not_known(name: str) -> None:
    fresh = Item(type=ItemType(kind="", maker="", model=""), site_id=1).known()
    assert whole_version({"site": 1})[name] == fresh[name]


def test_every_specification_and_mark_is_named_once_over_all() -> None:
    assert not {*SPECIFICATIONS} & {*MARKS}


def test_a_kind_is_said_with_its_article() -> None:
    said = [a_kind(kind.replace("-", " ")) for kind in ("mask", "escape-set", "air-line", "set")]
    assert said == ["a mask", "an escape set", "an air line", "a set"]

"""What `check_rules` doubts, and that it leaves sound tables alone."""

from io import StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from servicing.rules.pure.check import doubts, tasks_without_a_rule
from servicing.rules.pure.tables import rule_from_row

SOUND: dict[str, object] = {
    "id": "one",
    "task": "overhaul",
    "level": "law",
    "source": "invented",
    "seen": "practice",
    "when": {"kind": ["mask"]},
    "every": "P1Y",
    "from": "made",
    "edition": "first",
    "checked_on": "2026-11-25",
}


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"unless": {"kind": ["mask", "frame"]}}, "can never match: `unless` takes away all"),
        (
            {"when": {"water_capacity_l": {"min": 9, "max": 3}}},
            "can never match: water_capacity_l has min above max",
        ),
        ({"satisfied_by": ["overhoul"]}, "satisfied_by names overhoul, which nothing asks for"),
        ({"satisfied_by": ["overhaul"]}, "satisfied_by names its own task"),
        (
            {"when": {"kind": ["mask"], "construction": ["type-1"]}},
            "can never match: only cylinders have a construction",
        ),
        ({"late_counts_back": "P12M"}, "a late pass may be due again at once"),
        ({"every": "P60D", "late_counts_back": "P1M"}, "a late pass may be due again at once"),
        ({"edition": ""}, "says not which edition was read"),
        ({"checked_on": None}, "says not which edition was read, or on which day"),
        ({"valid_until": "2020-01-01"}, "ends on 2020-01-01 and nothing asks the same"),
    ],
)
def test_a_doubtful_row_is_named(change: dict[str, object], words: str) -> None:
    found = doubts([rule_from_row("t", {**SOUND, **change})], frozenset())
    assert [doubt.rule for doubt in found] == ["one"]
    assert words in found[0].what


def test_two_rows_of_one_level_that_disagree_are_named() -> None:
    other = {**SOUND, "id": "two", "every": "P2Y"}
    found = doubts([rule_from_row("t", SOUND), rule_from_row("t", other)], frozenset())
    assert "asks the same items as two and disagrees" in found[0].what


def test_rows_that_are_taken_along_are_held_against_those_beside_them() -> None:
    own = rule_from_row("t", SOUND)
    other = rule_from_row("u", {**SOUND, "id": "two", "every": "P2Y"})
    assert doubts([own, other], frozenset()) == []
    found = doubts([own, other], frozenset(), {"t": ("u",)})
    assert [doubt.what for doubt in found] == [
        "asks the same items as two and disagrees; the shorter governs"
    ]  # and not that `two` never governs: where its own table alone is followed it does
    idle = {"t": ("u",), "v": ("u",)}
    longer = rule_from_row("t", {**SOUND, "every": "P3Y", "unless": {"marks": ["star"]}})
    assert "never governs: two asks the same sooner" in {
        doubt.what for doubt in doubts([longer, other], frozenset(), idle)
    }


def test_two_rows_that_differ_only_in_what_a_late_pass_counts_from_are_named() -> None:
    other = {**SOUND, "id": "two", "late_counts_back": "P2M"}
    found = doubts([rule_from_row("t", SOUND), rule_from_row("t", other)], frozenset())
    assert "asks the same items as two and disagrees" in found[0].what


@pytest.mark.parametrize(
    "other",
    [
        {**SOUND, "id": "two"},
        {**SOUND, "id": "two", "every": "P2Y", "level": "maker"},
        {**SOUND, "id": "two", "every": "P2Y", "when": {"kind": ["frame"]}},
        {**SOUND, "id": "two", "every": "P6M", "unless": {"marks": ["packed"]}},
    ],
)
def test_rows_that_agree_or_mean_others_are_left_alone(other: dict[str, object]) -> None:
    assert doubts([rule_from_row("t", SOUND), rule_from_row("t", other)], frozenset()) == []


LONGER = {**SOUND, "id": "long", "every": "P2Y", "when": {"kind": ["mask"], "marks": ["packed"]}}


@pytest.mark.parametrize("change", [{}, {"when": SOUND["when"], "unless": {"marks": ["packed"]}}])
def test_a_longer_row_for_which_no_other_makes_way_is_named(change: dict[str, object]) -> None:
    rows = [rule_from_row("t", SOUND), rule_from_row("t", {**LONGER, **change})]
    assert [(doubt.rule, doubt.what) for doubt in doubts(rows, frozenset())] == [
        ("long", "never governs: one asks the same sooner")
    ]


@pytest.mark.parametrize(
    ("wide", "narrow"),
    [
        ({"unless": {"marks": ["packed"]}}, {}),
        ({"level": "standard"}, {}),
        ({"every": "P3Y"}, {}),
        ({"valid_until": "2030-01-01"}, {}),
        ({"every": "P23M"}, {"late_counts_back": "P2M"}),
        ({}, {"note": "It hardly ever governs; it stands here for the explanation."}),
    ],
)
def test_a_longer_row_that_has_its_place_is_left_alone(
    wide: dict[str, object], narrow: dict[str, object]
) -> None:
    rows = [{**SOUND, **wide}, {**LONGER, **narrow}]
    found = doubts([rule_from_row("t", row) for row in rows], frozenset())
    assert not any(doubt.rule == "long" for doubt in found)


def test_a_gap_between_two_rows_is_named() -> None:
    old = {**SOUND, "valid_until": "2020-01-01"}
    late = {**SOUND, "id": "two", "valid_from": "2020-02-01"}
    found = doubts([rule_from_row("t", old), rule_from_row("t", late)], frozenset())
    assert [(d.rule, d.what) for d in found] == [
        ("one", "ends on 2020-01-01 and nothing asks the same from that day")
    ]


def test_rows_that_follow_each_other_in_time_are_left_alone() -> None:
    old = {**SOUND, "valid_until": "2020-01-01"}
    new = {**SOUND, "id": "two", "every": "P2Y", "valid_from": "2020-01-01"}
    assert doubts([rule_from_row("t", old), rule_from_row("t", new)], frozenset()) == []


def test_kinds_without_a_rule_are_listed() -> None:
    assert "frame" in tasks_without_a_rule([rule_from_row("t", SOUND)])["overhaul"]


def test_the_tables_of_the_house_hold_no_doubt() -> None:
    out = StringIO()
    call_command("check_rules", stdout=out)
    assert out.getvalue().startswith("no doubt in ")


def test_a_doubt_ends_the_command_with_status_1(tmp_path: Path) -> None:
    table = tmp_path / "invented.toml"
    table.write_text(
        'table = "invented"\ntitle = "t"\njurisdiction = "x"\ncaution = "c"\n[[rule]]\n'
        'id = "one"\ntask = "overhaul"\nlevel = "law"\nwhen = { kind = ["mask"] }\n'
        'unless = { kind = ["mask"] }\nevery = "P1Y"\nfrom = "made"\n'
        'source = "invented"\nseen = "practice"\nedition = "first"\nchecked_on = 2026-11-25\n'
    )
    err = StringIO()
    with pytest.raises(CommandError, match="1 doubts in 1 rules") as refused:
        call_command("check_rules", str(table), stderr=err)
    assert refused.value.returncode == 1
    assert err.getvalue().startswith("invented: one: can never match")

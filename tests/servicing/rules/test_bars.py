"""What being overdue forbids, row by row: what stands in the tables, and by which rank.

Every row of every table is gone through. By its rank a row bars: read in its text, use and
filling; second-hand or from memory, use; practice, nothing; and what happened and the end of a
life, both, whoever tells it. Where a row says otherwise it stands below, with the reason.
"""

from pathlib import Path
from typing import Any

import pytest

from servicing.rules.pure.bars import Bars, bars_by_rank
from servicing.rules.pure.local import local_faults
from servicing.rules.pure.rule import SERVICE_LIFE, Rule
from servicing.rules.pure.tables import read_table, row_faults, rule_from_row
from tests.people import OWN_RULE

FILES = sorted((Path(__file__).resolve().parents[3] / "fixtures" / "rules").glob("*.toml"))
ROWS = [rule for path in FILES for rule in read_table(path.name, path.read_text("utf-8"))[0].rules]
RETEST, AIR = "hydrostatic-retest", "air-quality-test"
NOT_FILLED = "ADR 4.1.6.10 and 49 CFR 180.205(c): not filled once it is due, whoever told the years"
KNOWN_AIR = "29 CFR 1910.134(i)(1); L5 para 180: what is breathed is known to be good air"
BREATHED = "common practice, kept: nothing else asks it of what somebody breathes from"
PRESSED = "common practice, kept: it stands under pressure beside people"
SAID = {
    "app-connector-test": (Bars.USE, BREATHED),
    "gear-escape-monthly": (Bars.USE, BREATHED),
    "gear-hood-half-yearly": (Bars.USE, BREATHED),
    "gear-air-line-tightness": (Bars.USE, BREATHED),
    "gear-suit-tightness": (Bars.USE, BREATHED),
    "gear-suit-look": (Bars.USE, BREATHED),
    "gear-rebreather-monthly": (Bars.USE, BREATHED),
    "gear-rebreather-half-yearly": (Bars.USE, BREATHED),
    "gear-rebreather-absorbent": (Bars.USE, BREATHED),
    "gear-absorbent-look": (Bars.USE, BREATHED),
    "fill-bank-yearly": (Bars.USE, PRESSED),
    "fill-hose-monthly": (Bars.USE, PRESSED),
    "fill-hose-yearly": (Bars.USE, PRESSED),
    "fill-safety-valve-yearly": (Bars.USE, PRESSED),
    "app-calibration": (Bars.USE, "common practice; the bench takes no reading of it then"),
    "us-app-monthly-cylinder": (Bars.USE, "29 CFR 1910.134(h)(3)(iii): low, it is recharged"),
    "fi-cyl-when-used": (Bars.USE, "second-hand, and no text that was read bars filling"),
}
"""The rows that bar otherwise than by rank, but for retests and air: what, and why."""


def by_rank(rule: Rule) -> Bars:
    if rule.task == SERVICE_LIFE or rule.after:
        return Bars.BOTH
    if rule.task == "pressure-check":
        return Bars.USE
    return {"text": Bars.BOTH, "practice": Bars.NOTHING}.get(rule.seen, Bars.USE)


@pytest.mark.parametrize("rule", ROWS, ids=[rule.id for rule in ROWS])
def test_every_row_bars_by_its_rank_or_says_why_not(rule: Rule) -> None:
    if rule.id in SAID:
        assert (rule.bars, bool(rule.bars_by)) == (SAID[rule.id][0], True), SAID[rule.id][1]
        assert rule.bars is not by_rank(rule)
    elif rule.task in (RETEST, AIR):
        why = NOT_FILLED if rule.task == RETEST else KNOWN_AIR
        assert rule.bars is Bars.BOTH, why
        # Told by others, it bars only by a text that was read, and names it.
        assert bool(rule.bars_by) is (by_rank(rule) is not Bars.BOTH), why
    else:
        assert rule.bars is by_rank(rule), (rule.level, rule.seen)
        assert rule.bars_by == ""


def test_what_closes_a_filling_point_was_read_or_names_a_text_that_was() -> None:
    """But for what somebody saw happen, and for the end of a life, which the cylinder bears."""
    for rule in ROWS:
        read = rule.seen == "text" or rule.bars_by
        assert read or rule.after or rule.task == SERVICE_LIFE or not rule.bars.filling, rule.id


def test_what_only_warns_is_what_makers_commonly_ask() -> None:
    """Nothing of a law, a standard or a cylinder's test is among it."""
    warns = [rule for rule in ROWS if rule.bars is Bars.NOTHING]
    assert {(rule.level, rule.seen) for rule in warns} == {("maker", "practice")}


def test_each_rank_has_rows_and_so_has_each_word() -> None:
    assert {(rule.seen, rule.bars) for rule in ROWS} == {
        ("text", Bars.BOTH),
        ("text", Bars.USE),
        ("secondary", Bars.BOTH),
        ("secondary", Bars.USE),
        ("memory", Bars.BOTH),
        ("memory", Bars.USE),
        ("practice", Bars.BOTH),
        ("practice", Bars.USE),
        ("practice", Bars.NOTHING),
    }


SOUND: dict[str, Any] = {
    "id": "r",
    "task": "overhaul",
    "level": "standard",
    "when": {"kind": ["reducer"]},
    "every": "P6Y",
    "from": "made",
    "source": "a page",
    "seen": "practice",
}


@pytest.mark.parametrize(
    ("changes", "key", "words"),
    [
        ({"bars": "everything", "bars_by": "x"}, "bars", "must be one of use-and-filling"),
        ({"bars": "use"}, "bars_by", "name the text"),
        ({"bars_by": "the law 5"}, "bars_by", "no meaning without bars"),
        (
            {"task": SERVICE_LIFE, "life": "P9Y", "every": None, "bars": "use", "bars_by": "x"},
            "bars",
            "drops every later task",
        ),
    ],
)
def test_what_a_row_cannot_bar_is_refused_by_key(
    changes: dict[str, Any], key: str, words: str
) -> None:
    row = {name: said for name, said in {**SOUND, **changes}.items() if said is not None}
    assert [remedy for name, _, remedy in row_faults(row) if name == key and words in remedy]


def test_a_row_of_a_site_says_for_itself_and_one_from_before_goes_on_barring() -> None:
    row = {**OWN_RULE, "id": "local-val-1", "valid_from": OWN_RULE["checked_on"]}
    assert local_faults({**row, "bars": "nothing"}) == []
    silent = {key: said for key, said in row.items() if key != "bars"}
    assert [key for key, _, _ in local_faults(silent)] == ["bars"]
    assert bars_by_rank({**silent, "level": "maker"}) is Bars.NOTHING
    assert rule_from_row("local-VAL", silent).bars is Bars.BOTH
    assert rule_from_row("local-VAL", {**row, "bars": "nothing"}).bars is Bars.NOTHING


def test_bars_between_them_are_what_any_of_them_bars() -> None:
    for one in Bars:
        for other in Bars:
            both = one | other
            assert both.use is (one.use or other.use)
            assert both.filling is (one.filling or other.filling)

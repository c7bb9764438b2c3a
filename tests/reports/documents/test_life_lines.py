"""The life lines of a service record: there for every item, and told in words beside each line."""

from datetime import date

import pytest

from reports.documents.pure.ink import Stroke
from reports.documents.pure.lifeline import NOTHING, life_lines
from reports.documents.pure.record import record_pdf
from servicing.due.pure.lifeline import lifeline
from servicing.due.pure.obligations import Item, Record, obligations
from servicing.rules.pure.tables import rule_from_row
from tests.reports.documents.papers import service_record, text_of, without_spaces

ROW: dict[str, object] = {
    "id": "five",
    "task": "hydrostatic-retest",
    "level": "law",
    "source": "49 CFR 180.209(a)",
    "seen": "text",
    "when": {"kind": ["cylinder"]},
    "every": "P5Y",
    "from": "made",
}
ON = date(2026, 11, 25)
CYLINDER = Item({"kind": "cylinder"}, date(2015, 1, 1), date(2015, 2, 1))
TESTED = Record("hydrostatic-retest", date(2022, 7, 2), "pass")
FILLED = Record("fill", date(2024, 7, 2), "pass")
CONDEMNED = Record("hydrostatic-retest", date(2025, 3, 4), "condemned")


@pytest.mark.parametrize(
    ("records", "words"),
    [
        ((TESTED, FILLED), "hydrostatic retest: 1 passed, the last 2 Jul 2022; from 2 Jul 2022"),
        ((TESTED, FILLED), "fill: 1 passed, the last 2 Jul 2024; no period runs"),
        ((TESTED, CONDEMNED), "1 not, the last on 4 Mar 2025: condemned; no period runs"),
        ((CONDEMNED,), "1 not passed, the last on 4 Mar 2025: condemned"),
    ],
)
def test_every_line_is_told_in_words_beside_it(records: tuple[Record, ...], words: str) -> None:
    owed = obligations(CYLINDER, records, [rule_from_row("t", ROW)], ON)
    life = lifeline(CYLINDER.made_on, records, owed, ON, CYLINDER.in_service_on)
    printed = text_of(record_pdf(service_record(life=life)))
    assert without_spaces(words) in without_spaces(printed)
    assert without_spaces("made 1 Jan 2015") in without_spaces(printed)


def test_an_item_without_any_day_says_that_nothing_can_be_drawn() -> None:
    printed = text_of(record_pdf(service_record(life=None)))
    assert without_spaces(NOTHING) in without_spaces(printed)


def test_each_thing_has_a_shape_of_its_own() -> None:
    """Ticks, crosses, brackets and the dashed day differ without their colours."""
    records = [TESTED, Record("hydrostatic-retest", date(2023, 3, 4), "fail")]
    ten = {**ROW, "id": "ten", "every": "P10Y"}
    owed = obligations(CYLINDER, [TESTED], [rule_from_row("t", r) for r in (ROW, ten)], ON)
    life = lifeline(CYLINDER.made_on, records, owed, ON, CYLINDER.in_service_on)
    strokes = [
        op
        for block in life_lines(life)
        for strip in block.strips
        for op in strip.ops
        if isinstance(op, Stroke)
    ]
    assert len({(stroke.points[1:], stroke.weight, stroke.dashed) for stroke in strokes}) >= 6
    assert sum(stroke.dashed for stroke in strokes) == 1

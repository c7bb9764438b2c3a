"""The filling point says yes to the lawful cylinder and no to the others, by the tables.

Each row is a cylinder of which the register knows what is written there and no more. Source
says who forbids to fill it, or that nobody does.
"""

from datetime import date
from decimal import Decimal
from typing import NamedTuple

import pytest

from servicing.due.pure.obligations import Item, obligations, standing
from servicing.due.pure.owed import answers_of
from servicing.filling.pure.may_fill import FillAnswer, Subject, may_fill, owed_by_rule
from servicing.rules.pure.tasks import RETEST
from tests.published.cases import read_history, rules_of, tables

STEEL = {"kind": "cylinder", "construction": "type-1"}
CARBON = {"kind": "cylinder", "construction": "type-3", "fibre": "carbon"}
PERMIT = CARBON | {"specification": "DOT-SP"}
ON = date(2026, 11, 26)


class Fill(NamedTuple):
    """A cylinder that came into the register on a day, and what bars its filling, by rule.

    table: those followed, with a plus between them. history: as in `cases.Row`.
    """

    world: str
    table: str
    item: dict[str, str]
    history: str
    came_in: str
    barred_by: str
    source: str


ROWS = (
    Fill(
        *("only its retest was carried over", "iso-en-cylinders", STEEL),
        *("made 2015-03-01; hydrostatic-retest 2024-05-10", "2026-11-01", ""),
        "ISO 18119:2018, annex: looked at inside each year; but nobody could write that down here",
    ),
    Fill(
        *("the same, a year later, and still nothing written", "iso-en-cylinders", STEEL),
        *("made 2015-03-01; hydrostatic-retest 2024-05-10", "2025-11-25", "iso-cyl-internal"),
        "ISO 18119:2018, annex: done on the day it came in, it would be due again",
    ),
    Fill(
        *("looked at inside two years ago", "iso-en-cylinders", STEEL),
        "made 2015-03-01; hydrostatic-retest 2024-05-10; internal-inspection 2024-05-10",
        *("2026-11-01", "iso-cyl-internal", "ISO 18119:2018, annex: each year, and it is written"),
    ),
    Fill(
        *("its retest over", "iso-en-cylinders", STEEL),
        *("made 2015-03-01; hydrostatic-retest 2021-05-10", "2026-11-01", "iso-cyl-metal"),
        "ADR 4.1.6.10: not filled once it is due",
    ),
    Fill(
        *("nobody knows its retest nor its age", "iso-en-cylinders", STEEL),
        *("", "2026-11-01", "adr-cyl-outer-limit"),
        "ADR 4.1.6.12 (c) as of 2017: not without a legible mark of its retest",
    ),
    Fill(
        *("its life over", "iso-en-cylinders", CARBON | {"design_life_years": "15"}),
        *("made 2010-03-01; hydrostatic-retest 2024-05-10", "2026-11-01", "iso-cyl-marked-life"),
        "ISO 11623:2015, as adopted in AS 2337.3:2020, clause 4: not refilled at its end",
    ),
    Fill(
        *("struck since its retest", "iso-en-cylinders", STEEL),
        "made 2015-03-01; hydrostatic-retest 2024-05-10; internal-inspection 2026-06-01; "
        "impact 2026-11-20",
        *("2026-11-01", "iso-cyl-when-damaged", "ADR 4.1.6.11: not filled while damaged"),
    ),
    Fill(
        *("corroded, and its looks nowhere written", "iso-en-cylinders", STEEL),
        "made 2015-03-01; hydrostatic-retest 2024-05-10; corrosion-found 2026-11-20",
        *("2026-11-01", "iso-cyl-when-corroded", "ADR 4.1.6.11: not filled while damaged"),
    ),
    Fill(
        *("looked at outside by nobody for thirty months", "iso-en-cylinders", CARBON),
        *("made 2022-03-01; external-inspection 2023-01-01; hydrostatic-retest 2023-01-01",),
        *("2022-03-01", "", "told second-hand: it warns and closes no filling point"),
    ),
    Fill(
        *("tested five years ago next month", "germany", STEEL),
        *("made 2016-12-01; hydrostatic-retest 2021-12-10", "2026-11-01", ""),
        "BetrSichV 14(5), annex 2 part 4 table 12 line 7.6 a): five years, to the month",
    ),
    Fill(
        *("tested five years ago last month", "germany", STEEL),
        *("made 2016-10-01; hydrostatic-retest 2021-10-10", "2026-11-01", "de-cyl-strength"),
        "BetrSichV 14(5), annex 2 part 4 table 12 line 7.6 a): five years, to the month",
    ),
    Fill(
        *("its yearly looks nowhere written", "spain", STEEL),
        *("made 2015-03-01; hydrostatic-retest 2023-05-10", "2026-11-01", ""),
        "RD 809/2021, ITC EP-5, articles 7.1 and 9.1; the look may be in the centre's papers",
    ),
    Fill(
        *("its last yearly look two years ago", "spain", STEEL),
        "made 2015-03-01; hydrostatic-retest 2023-05-10; internal-inspection 2024-05-10",
        *("2026-11-01", "es-cyl-yearly-look", "RD 809/2021, ITC EP-5, articles 9.1 and 10"),
    ),
    Fill(
        *("tested six years ago", "spain", STEEL),
        "made 2015-03-01; hydrostatic-retest 2020-05-10; internal-inspection 2026-05-10",
        *("2026-11-01", "es-cyl-retest", "RD 809/2021, ITC EP-5, articles 7.1 and 10"),
    ),
    Fill(
        *("tested three years ago but for two days", "japan", CARBON),
        *("made 2015-03-01; hydrostatic-retest 2023-12-02", "2026-11-01", ""),
        "Container safety rules, article 24: composites three years",
    ),
    Fill(
        *("tested a month before", "japan", CARBON),
        *("made 2015-03-01; hydrostatic-retest 2023-10-30", "2026-11-01", "jp-cyl-composite"),
        "Container safety rules, article 24: composites three years",
    ),
    Fill(
        *("under a permit, in its fifth year", "us-cylinders", PERMIT),
        *("made 2015-03-01; hydrostatic-retest 2021-11-10", "2026-11-01", ""),
        "49 CFR 180.205(c): through the month in which it is due",
    ),
    Fill(
        *("under a permit, and past it", "us-cylinders", PERMIT),
        *("made 2015-03-01; hydrostatic-retest 2021-10-10", "2026-11-01", "us-cyl-permit-carbon"),
        "49 CFR 180.205(c): not filled once it is due, though the five years are second-hand",
    ),
    Fill(
        *("its monthly look missed", "us-cylinders+us-apparatus", PERMIT),
        "made 2022-03-01; periodic-inspection 2026-07-01",
        *("2022-03-01", "", "29 CFR 1910.134(h)(3)(iii): kept full; nothing of not filling it"),
    ),
    Fill(
        *("its valve never overhauled", "iso-en-cylinders+makers-instructions", CARBON),
        "made 2015-03-01; hydrostatic-retest 2024-05-10",
        *("2026-11-01", "", "common practice of makers: it warns"),
    ),
)


def answered(row: Fill, on: date = ON) -> FillAnswer:
    """Return what the filling point says to a row."""
    made, in_service, records = read_history(row.history)
    item = Item({name: _value(name, said) for name, said in row.item.items()}, made, in_service)
    rules = [rule for name in row.table.split("+") for rule in rules_of(name)]
    owed = [
        owed_by_rule(each, candidate.rule, "", date.fromisoformat(row.came_in))
        for obligation in obligations(item, records, rules, on)
        for each, candidate in answers_of(obligation)
    ]
    cylinder = Subject(
        "C1", "cylinder", on, standing(item, records, rules, on).word, owed=tuple(owed)
    )
    return may_fill(cylinder, None)


def _value(name: str, said: str) -> str | Decimal:
    return Decimal(said) if name == "design_life_years" else said


def barring(found: FillAnswer) -> list[str]:
    """Return the rows that bar a cylinder, its pressure and its compressor left aside."""
    beside = ("Working pressure unknown", "Which compressor?")
    return [r.source.split(":")[0].split(" ")[0] for r in found.reasons if r.word not in beside]


@pytest.mark.parametrize("row", ROWS, ids=[f"{row.table}: {row.world}" for row in ROWS])
def test_the_filling_point_names_the_row_that_bars_and_no_lawful_cylinder(row: Fill) -> None:
    assert barring(answered(row)) == [row.barred_by] * bool(row.barred_by), row.source


def test_what_nobody_wrote_down_is_named_with_what_would_settle_it() -> None:
    (warning,) = (w for w in answered(ROWS[0]).warns if w.word == "Internal inspection not known")
    assert warning.sentence == (
        "Internal inspection: none is on record. Enter the last one from its papers, or have it "
        "done; from 2 Nov 2027 it bars filling."
    )
    assert warning.source.startswith("iso-cyl-internal: ")


def test_a_second_hand_figure_says_by_which_text_it_bars() -> None:
    row = next(row for row in ROWS if row.barred_by == "us-cyl-permit-carbon")
    source = answered(row).reasons[0].source
    assert "(seen: secondary); it bars by 49 CFR 180.205(c)" in source


def test_no_lawful_retest_is_barred_by_a_look_that_nobody_wrote_in_any_table() -> None:
    """Of every table: a cylinder tested last month, of which nothing else was carried over."""
    for name in (table.name for table in tables()):
        for item in (STEEL, CARBON):
            history = "made 2022-03-01; hydrostatic-retest 2026-10-26"
            row = Fill("tested last month", name, item, history, "2026-11-01", "", "its own text")
            if any(r.task == RETEST and r.every and r.matches(item) for r in rules_of(name)):
                assert barring(answered(row)) == [], (name, item)

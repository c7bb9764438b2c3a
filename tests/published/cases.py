"""What the published checks are made of: a row of a table, with its source.

The expected answer of every row was worked out by hand from the text named in its source,
not by running the engine.
"""

from collections.abc import Iterable, Sequence
from datetime import date
from decimal import Decimal
from functools import cache
from itertools import product
from pathlib import Path
from typing import NamedTuple

import pytest

from registry.items.pure import Construction, Fibre
from servicing.due.pure.obligations import CONDEMNED, FAIL, PASS, Item, Record, obligations
from servicing.rules.pure.published import NOTHING
from servicing.rules.pure.rule import Attributes, OneOf, Rule, Table, Value
from servicing.rules.pure.tables import read_table
from tests.followed import with_included

FIXTURES = Path(__file__).resolve().parents[2] / "fixtures" / "rules"

Described = dict[str, Value]
"""An item in the register's words, to which a row may add more."""


class Row(NamedTuple):
    """One item with its history, and what its source says is due on a day.

    history: entries parted by ";": "made DAY", "in-service DAY", and records as
    "TASK DAY", with "fail" or "condemned" after it unless it passed, and "part DAY"
    for the day a renewed part was made, and "hours N" for what the meter showed.
    answer: "DAY RULE STATE", the day "unknown" where there is nothing to count from.
    """

    world: str
    item: Attributes
    history: str
    on: str
    task: str
    answer: str
    source: str


def rules_of(name: str) -> tuple[Rule, ...]:
    """Return what holds where a rule table is followed, as it stands in fixtures/rules."""
    return with_included(tables())[name]


@cache
def tables() -> tuple[Table, ...]:
    """Return the rule tables as they stand in fixtures/rules."""
    read = [
        read_table(path.name, path.read_text("utf-8")) for path in sorted(FIXTURES.glob("*.toml"))
    ]
    assert not [problem for _, problems in read for problem in problems]
    return tuple(table for table, _ in read)


def read_history(text: str) -> tuple[date | None, date | None, list[Record]]:
    """Read a row's history: the made day, the in-service day, the records."""
    days: dict[str, date] = {}
    records: list[Record] = []
    for entry in filter(None, (part.strip() for part in text.split(";"))):
        word, day, *more = entry.split()
        if word in ("made", "in-service"):
            days[word] = date.fromisoformat(day)
            continue
        part = date.fromisoformat(more[more.index("part") + 1]) if "part" in more else None
        outcome = next((one for one in (FAIL, CONDEMNED) if one in more), PASS)
        hours = Decimal(more[more.index("hours") + 1]) if "hours" in more else None
        records.append(Record(word, date.fromisoformat(day), outcome, part, hours=hours))
    return days.get("made"), days.get("in-service"), records


def answer(row: Row, rules: Iterable[Rule]) -> str:
    """Return the engine's answer in the words of a row."""
    made, in_service, records = read_history(row.history)
    on = date.fromisoformat(row.on)
    for owed in obligations(Item(row.item, made, in_service), records, rules, on):
        if owed.task == row.task:
            return f"{owed.due_on or 'unknown'} {owed.rule.id} {owed.state(on)}"
    return NOTHING


def check(row: Row, rules: Sequence[Rule]) -> None:
    """Compare the engine's answer with the source's."""
    assert answer(row, rules) == row.answer, f"{row.world}: {row.source}"


def table_of(*rows: Row) -> pytest.MarkDecorator:
    """Return the parametrisation of a test over rows, named by their worlds."""
    return pytest.mark.parametrize("row", rows, ids=[row.world for row in rows])


def every_cylinder(rules: Iterable[Rule]) -> list[Described]:
    """Return a cylinder of every stamp, construction and fibre, unknown ones included."""
    stamps = {
        value
        for rule in rules
        for name, test in rule.when.tests
        if name == "specification" and isinstance(test, OneOf)
        for value in test.values
    }
    words = {
        "specification": [None, "a stamp nobody knows", *sorted(map(str, stamps))],
        "construction": [None, *Construction],
        "fibre": [None, *Fibre],
    }
    return [
        {"kind": "cylinder"}
        | {name: value for name, value in zip(words, chosen, strict=True) if value}
        for chosen in product(*words.values())
    ]


def longest_retest(rules: Sequence[Rule]) -> dict[str, date]:
    """Return, by stamp, the latest day to which any new cylinder made on 1 January 2024 is good.

    Fails where a cylinder has no date.
    """
    latest: dict[str, date] = {}
    for cylinder in every_cylinder(rules):
        owed = obligations(Item(cylinder, date(2024, 1, 1), None), (), rules, date(2024, 6, 1))
        due = next((one.due_on for one in owed if one.task == "hydrostatic-retest"), None)
        assert due is not None, f"no retest date for {cylinder}"
        stamp = str(cylinder.get("specification", ""))
        latest[stamp] = max(due, latest.get(stamp, due))
    return latest

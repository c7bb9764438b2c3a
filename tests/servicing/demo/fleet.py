"""The invented fleet as the tests look at it: as lists, and as the engine sees it."""

import tomllib
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Any

from servicing.demo.pure import DemoFleet, demo_fleet
from servicing.due.pure.obligations import Item, Obligation, Record, Standing, obligations, standing
from servicing.rules.pure.rule import Rule, Value
from servicing.rules.pure.tables import read_table
from tests.followed import with_included

ROOT = Path(__file__).resolve().parents[3]
DAYS = (date(2026, 11, 25), date(2028, 2, 29), date(2031, 7, 31), date(2027, 1, 1))
NUMBERS = (
    "water_capacity_l",
    "working_pressure_bar",
    "test_pressure_bar",
    "tare_kg",
    "ree_ml",
    "design_life_years",
)
NOT_ATTRIBUTES = {"tag", "serial", "made_on", "in_service_on"}


@cache
def data() -> dict[str, Any]:
    """Return the parsed file the fleet is drawn from."""
    return tomllib.loads((ROOT / "fixtures/demo/valley.toml").read_text(encoding="utf-8"))


@cache
def fleet(on: date) -> DemoFleet:
    """Return the fleet of a day, made once."""
    return demo_fleet(data(), on)


@cache
def tables() -> dict[str, tuple[Rule, ...]]:
    """Return the rules of every table by the table's name."""
    read = []
    for path in sorted((ROOT / "fixtures/rules").glob("*.toml")):
        table, problems = read_table(path.name, path.read_text(encoding="utf-8"))
        assert not problems
        read.append(table)
    return with_included(read)


@dataclass(frozen=True)
class Seen:
    """One item as the engine takes it, with its rules and records."""

    tag: str
    kind: str
    item: Item
    records: tuple[Record, ...]
    rules: tuple[Rule, ...]

    def owed(self, on: date) -> tuple[Obligation, ...]:
        """Return what it owes on a day."""
        return obligations(self.item, self.records, self.rules, on)

    def standing(self, on: date) -> Standing:
        """Return whether it may be used on a day."""
        return standing(self.item, self.records, self.rules, on)


@cache
def seen(on: date) -> tuple[Seen, ...]:
    """Return every item of the fleet of a day."""
    made = fleet(on)
    rules = {site["code"]: tuple(_rules(made, site["code"])) for site in made.sites}
    records: dict[str, list[Record]] = defaultdict(list)
    for row in made.history:
        records[row["tag"]].append(
            Record(
                row["task"],
                day(row["done_on"]),
                row["outcome"],
                known_day(row["part_made_on"]),
                hours=Decimal(text) if (text := row["reading:hours-run"]) else None,
            )
        )
    return tuple(
        Seen(row["tag"], row["kind"], _item(row), tuple(records[row["tag"]]), rules[row["site"]])
        for row in made.register
    )


def day(text: str) -> date:
    """Return a day as lists write it, a month as its first day."""
    return date.fromisoformat(f"{text}-01" if len(text) == 7 else text)


def known_day(text: str) -> date | None:
    """Return a day, or None for an empty cell."""
    return day(text) if text else None


def _item(row: dict[str, str]) -> Item:
    attributes: dict[str, Value] = {"marks": frozenset(filter(None, row["marks"].split(";")))}
    for name, text in row.items():
        if text and name not in NOT_ATTRIBUTES and name != "marks":
            attributes[name] = Decimal(text) if name in NUMBERS else text
    return Item(attributes, known_day(row["made_on"]), known_day(row["in_service_on"]))


def _rules(made: DemoFleet, code: str) -> Iterator[Rule]:
    """Yield the rules of a site and of those above it."""
    by_code = {site["code"]: site for site in made.sites}
    while code:
        for name in filter(None, by_code[code]["rule_tables"].split(";")):
            yield from tables()[name]
        code = by_code[code]["parent"]

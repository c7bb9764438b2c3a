"""The work ahead is every time a task will come due, if each is done on its date (due/README 12).

The oracle does the work by hand: it enters a pass of everything that is due, looks at the due
list again, and goes on to the next day on which something is.
"""

from collections import Counter, defaultdict
from datetime import date, timedelta
from decimal import Decimal

import pytest

from servicing.due.pure import obligations as engine
from servicing.due.pure.ahead import Coming, Rounds, ahead, ahead_of
from servicing.rules.pure.durations import add_months
from servicing.rules.pure.rule import Rule
from servicing.rules.pure.tables import read_table
from tests.followed import with_included

from . import fleets, oracle
from .test_against_oracle import (
    OF_CYLINDERS,
    TABLES,
    Fleet,
    differences,
    item_of,
    record_of,
    rules_at,
)


def by_hand(
    rules: list[oracle.Rule], item: oracle.Row, entries: list[oracle.Entry], on: date, until: date
) -> list[tuple[str, str, str]]:
    """Return (day, task, rule) of all that comes due, doing one day's work after the other."""
    found: list[tuple[str, str, str]] = []
    entries, day, retired = list(entries), on, False
    owed = oracle.governing(rules, item, entries, on)
    rules = [rule for rule in rules if is_life(rule) or not rule.keys() & {"after", "counts"}]
    while owed and day <= until:
        for each in sorted(owed, key=lambda each: each.rule["task"]):
            if (each.due or on) <= day:
                found.append((day.isoformat(), each.rule["task"], each.rule["id"]))
                retired = retired or is_life(each.rule)
                if not is_life(each.rule):
                    place = (day, 10**9)
                    # Its meter is read with it, and nobody knows what it will have run till then.
                    shown = [entry.meter for entry in entries if entry.meter is not None]
                    meter = shown[-1] if shown else Decimal(0)
                    entries.append(
                        oracle.Entry(place, each.rule["task"], "pass", None, meter=meter)
                    )
        owed = oracle.governing(rules, item, entries, on)
        owed = [each for each in owed if not (retired and is_life(each.rule))]
        day = max(day + timedelta(days=1), min((each.due or on for each in owed), default=on))
    return found


def is_life(rule: oracle.Rule) -> bool:
    return bool(rule["task"] == "service-life")


def told(coming: list[Coming]) -> list[tuple[str, str, str]]:
    return [(each.on.isoformat(), each.task, each.candidate.rule.id) for each in coming]


@pytest.mark.parametrize(("seed", "on"), [(23, date(2026, 11, 24)), (22, date(2028, 2, 29))])
def test_what_comes_is_what_the_work_of_each_day_leaves(seed: int, on: date) -> None:
    tables = oracle.read_tables(TABLES)
    ours = with_included(read_table("table", text)[0] for text in TABLES)
    seen: Counter[str] = Counter()
    # What governs tells the rest only where few rows meet: the second fleet follows one table,
    # so that it does there whatever tables the first one comes to be thrown among.
    plain = {"us-apparatus": tables["us-apparatus"]}
    for followed, size in ((tables, 130), (plain, 60)):
        fleet = fleets.random_fleet(seed, size, followed, on, cylinder_columns=OF_CYLINDERS)
        seen += compared(fleet, tables, ours, on)
    assert min(seen.values()) > 25, seen
    assert seen["again"] > seen["first"]


def compared(
    fleet: Fleet,
    tables: dict[str, oracle.Table],
    ours: dict[str, tuple[Rule, ...]],
    on: date,
) -> Counter[str]:
    """Hold the work ahead of each item to what is done by hand, and count what was met."""
    sites, register, history = fleet
    entries, records = oracle.entries_by_tag(history, on), defaultdict(list)
    for row in history:
        records[row["tag"]].append(record_of(row))
    by_code = {site["code"]: site for site in sites}
    until = add_months(on, 14)
    seen: Counter[str] = Counter()
    for item in register:
        theirs = oracle.rules_of(item, by_code, tables, on)
        expected = by_hand(theirs, item, entries.get(item["tag"], []), on, until)
        plain, past = item_of(item), records[item["tag"]]
        rules = [r for r in rules_at(item["site"], by_code, ours) if r.matches(plain.attributes)]
        found = ahead_of(plain, past, rules, on, until)
        assert differences(told(found), expected) == [], item["tag"]
        rounds = Rounds(rules, on)
        stored = [
            engine.Obligation(owed.task, owed.candidates[:1])
            for owed in engine.obligations(plain, past, rules, on)
        ]
        if rounds.told_by_first(stored, on):
            assert differences(ahead(stored, rounds, on, until), found) == [], item["tag"]
            seen["told by what governs"] += bool(stored)
        seen["items"] += 1
        seen["first"] += sum(each.done_on is None for each in found)
        seen["again"] += sum(each.done_on is not None for each in found)
    return seen


LAST_DAY = """
[[rule]]
id = "t-life"
task = "service-life"
level = "law"
when = { kind = ["mask"] }
life = "P5Y"
source = "t"
edition = "t"
seen = "practice"
checked_on = 2026-01-01

[[rule]]
id = "t-clean"
task = "cleaning"
level = "law"
when = { kind = ["mask"] }
after = ["use"]
source = "t"
edition = "t"
seen = "practice"
checked_on = 2026-01-01
"""


def test_the_work_ahead_holds_what_is_owed_on_the_last_day_of_a_service_life() -> None:
    head = 'table = "t"\ntitle = "t"\njurisdiction = "t"\ncaution = "t"\n'
    rules = read_table("t.toml", head + LAST_DAY)[0].rules
    end = date(2026, 11, 24)
    mask = engine.Item({"kind": "mask"}, date(2021, 11, 24), None)
    used = [engine.Record("use", end, "pass")]
    owed = {each.task for each in engine.obligations(mask, used, rules, end)}
    coming = ahead_of(mask, used, rules, end, add_months(end, 1))
    assert owed == {each.task for each in coming} == {"cleaning", "service-life"}

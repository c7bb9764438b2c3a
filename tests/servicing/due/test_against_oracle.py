"""The engine, and the whole road from lists to the due list, against a second reading of the text.

`oracle.py` was written from due/README apart from the product, with python-dateutil
for its dates; `fleets.py` makes fleets that lie on every edge of the rules given. Every row of
the due list must be equal: item, task, day, state, rule, source and what it was counted from.
"""

import csv
import io
import random
from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from datetime import date, timedelta
from decimal import Decimal
from itertools import zip_longest
from pathlib import Path

import pytest
import time_machine
from django.core.management import call_command

from servicing.due.pure import obligations as engine
from servicing.due.pure.charge import debts_of
from servicing.due.pure.owed import LATE, for_use, warnings
from servicing.due.pure.sheet import DueRow
from servicing.due.queries.rows import DueQuestion, due_rows, stored_row, stored_rows
from servicing.ledger.pure.shoulder import marked
from servicing.rules.pure.rule import Rule, Value
from servicing.rules.pure.tables import read_table
from tests.followed import with_included

from . import fleets, oracle
from .test_oracle import table

EVERY_FORM = table(
    "every-form",
    ("once", "law", 'task = "seal"\nevery = "P6M"\nfrom = "at-once"\ndue = "month-end"'),
    ("part", "law", 'task = "renewal"\nevery = "P2Y"\nfrom = "part-made"'),
    (
        *("other", "local"),
        'task = "renewal"\nevery = "P3Y"\nfrom = "made"\nsatisfied_by = ["seal"]\nbars = "use"',
    ),
    (
        *("peek", "maker"),
        'task = "internal-inspection"\nevery = "P8M"\nfrom = "made"\nbars = "nothing"',
    ),
    (
        *("glance", "maker"),
        'task = "internal-inspection"\nevery = "P9M"\nfrom = "in-service"\nbars = "filling"',
    ),
    ("glimpse", "standard", 'task = "internal-inspection"\ncalendar = "year"\nfrom = "made"'),
    ("smell", "standard", 'task = "internal-inspection"\nafter = ["impact"]'),
    ("days", "law", 'task = "look"\nevery = "P90D"\nfrom = "made"\nvalid_until = 2026-07-01'),
    ("half", "maker", 'task = "look"\ncalendar = "half-year"\nfrom = "at-once"\nnotice = "P2W"'),
    ("late", "law", 'task = "proof"\nevery = "P1Y"\nfrom = "in-service"\nlate_counts_back = "P2M"'),
    (
        "late-end",
        "law",
        'task = "seal"\nevery = "P7M"\nfrom = "at-once"\ndue = "month-end"\n'
        'late_counts_back = "P1M"\nsatisfied_by = ["proof"]',
    ),
    (
        *("by-law", "law"),
        'task = "proof"\nevery = "P18M"\nfrom = "made"\n'
        'clock.due = { by = "month", clause = "1" }\n'
        'clock.late = { counts_from = "due-date", out_of_service = "test", clause = "2, 5" }\n'
        'clock.early = { within = "P2M", clause = "4" }\nsatisfied_by = ["seal"]',
    ),
    (
        *("to-the-day", "law"),
        'task = "look"\nevery = "P1Y"\nfrom = "in-service"\n'
        'clock.late = { counts_from = "due-date", within = "P3M", clause = "2" }\n'
        'clock.early = { within = "P1M", clause = "4" }',
    ),
    (
        *("always", "maker"),
        'task = "seal"\nevery = "P100D"\nfrom = "in-service"\n'
        'clock.late = { counts_from = "due-date", clause = "2" }',
    ),
    (
        *("month-before", "law"),
        'task = "renewal"\nevery = "P3Y"\nfrom = "made"\n'
        'clock.start = { at = "end-of-month-before", clause = "24" }',
    ),
    (
        *("counted", "standard"),
        'task = "proof"\nevery = "P30M"\nfrom = "made"\n'
        'clock.start = { at = "end-of-month-before", first_day = "counts", clause = "24" }',
    ),
    (
        *("sooner", "law"),
        'task = "hose"\nevery = "P4Y"\nfrom = "in-service"\n'
        'clock.other = { every = "P10Y", from = "made", governs = "sooner", clause = "x" }',
    ),
    (
        *("later", "law"),
        'task = "valve"\nevery = "P2Y"\nfrom = "made"\nsatisfied_by = ["hose"]\n'
        'clock.due = { by = "month", clause = "1" }\n'
        'clock.other = { every = "P7Y", from = "in-service", governs = "later", clause = "x" }',
    ),
    (
        *("later-still", "law"),
        'task = "hose"\nevery = "P1Y"\nfrom = "made"\n'
        'clock.other = { every = "P20M", from = "record", governs = "later", clause = "x" }',
    ),
    (
        *("by-meter", "maker"),
        'task = "filter"\nevery = "P1Y"\nfrom = "in-service"\nsatisfied_by = ["seal"]\n'
        'clock.hours = { limit = 50, clause = "x" }',
    ),
    (
        *("by-meter-at-once", "maker"),
        'task = "seal"\nevery = "P9M"\nfrom = "at-once"\n'
        'clock.due = { by = "month", clause = "y" }\nclock.hours = { limit = 100, clause = "x" }',
    ),
    ("event", "maker", 'task = "cleaning"\nafter = ["use", "seal"]\nsatisfied_by = ["look"]'),
    ("count", "maker", 'task = "overhaul"\ncounts = "fill"\nlimit = 4'),
    ("last", "maker", 'task = "service-life"\ncounts = "impact"\nlimit = 3'),
    ("mark", "law", 'task = "service-life"\nlife = "as-marked"\nfrom = "in-service"'),
    ("life", "law", 'task = "service-life"\nlife = "P15Y"\ndue = "month-end"'),
).replace("\nseen =", '\nwhen = { kind = ["cylinder", "mask", "set"] }\nseen =')
MARKS = ("stamped_next", "stamped_end")
FILES = sorted((Path(__file__).resolve().parents[3] / "fixtures" / "rules").glob("*.toml"))
TABLES = [EVERY_FORM, *(path.read_text("utf-8") for path in FILES)]
OF_CYLINDERS = tuple(
    column
    for column in fleets.CYLINDER_COLUMNS
    if column not in ("marks", "design_life_years")  # these two stand on any kind
)
TODAY = "2026-11-25T10:30Z"
TEXTS = ("kind", "maker", "model", "site", "specification", "construction", "fibre")
NUMBERS = (
    "water_capacity_l",
    "working_pressure_bar",
    "test_pressure_bar",
    "tare_kg",
    "ree_ml",
    "design_life_years",
)


@pytest.fixture(scope="module")
def tables() -> dict[str, oracle.Table]:
    """The tables of fixtures/rules as the oracle reads them."""
    return oracle.read_tables(TABLES)


@pytest.fixture(scope="module")
def rules() -> dict[str, tuple[Rule, ...]]:
    """The same tables as the product reads them."""
    read = [read_table("table", text) for text in TABLES]
    assert not [problem for _, problems in read for problem in problems]
    return with_included(table for table, _ in read)


def item_of(row: oracle.Row) -> engine.Item:
    """Return an item as the engine takes it, from a row of the register."""
    attributes: dict[str, Value] = {name: row[name] for name in TEXTS if row[name]}
    attributes |= {name: row[name] for name in ("connection", "size") if row[name]}
    attributes |= {name: Decimal(row[name]) for name in NUMBERS if row[name]}
    attributes["marks"] = frozenset(filter(None, row["marks"].split(";")))
    return engine.Item(attributes, oracle.day(row["made_on"]), oracle.day(row["in_service_on"]))


def record_of(row: oracle.Row) -> engine.Record:
    done_on = date.fromisoformat(row["done_on"])
    test, end = (marked(text) if (text := row[name]) else None for name in MARKS)
    part = oracle.day(row["part_made_on"])
    hours = Decimal(text) if (text := row["reading:hours-run"]) else None
    return engine.Record(row["task"], done_on, row["outcome"], part, test, end, hours)


def rules_at(
    site: str, sites: dict[str, oracle.Row], rules: dict[str, tuple[Rule, ...]]
) -> list[Rule]:
    """Return the rules of the tables that a site and those above it have adopted, each once."""
    names: set[str] = set()
    while site:
        names |= set(filter(None, sites[site]["rule_tables"].split(";")))
        site = sites[site]["parent"]
    found = {rule.id: rule for name in sorted(names) for rule in rules[name]}
    return list(found.values())


def shown(item: oracle.Row, owed: engine.Obligation, on: date) -> oracle.Row:
    """Return an obligation of the engine as a row of the oracle's list."""
    return {
        **{name: item[name] for name in oracle.COLUMNS[:5]},
        "task": owed.task,
        "due_on": owed.due_on.isoformat() if owed.due_on else "",
        "state": owed.state(on),
        "rule": owed.rule.id,
        "level": owed.rule.level,
        "source": owed.rule.source,
        "counted_from": owed.counted_from or "",
        "basis_on": owed.basis_on.isoformat() if owed.basis_on else "",
    }


FLEETS = (
    (1, "2026-11-24"),
    (4, "2027-01-31"),
    (3, "2024-02-29"),
    (6, "2030-03-01"),
    (7, "2026-07-01"),
    (8, "2100-03-01"),
)
Fleet = tuple[list[oracle.Row], list[oracle.Row], list[oracle.Row]]


def fleet_of(seed: int, on: date, tables: dict[str, oracle.Table]) -> Fleet:
    """Return sites, register and history; every other site follows the table of every form."""
    sites, register, history = fleets.random_fleet(
        seed, 200, tables, on, cylinder_columns=OF_CYLINDERS
    )
    for site in sites[::2]:
        site["rule_tables"] = ";".join({*site["rule_tables"].split(";"), "every-form"} - {""})
    return sites, register, history


def owed_in(
    fleet: Fleet, rules: dict[str, tuple[Rule, ...]], on: date
) -> list[tuple[oracle.Row, engine.Obligation]]:
    """Return what every item of a fleet owes by the engine."""
    sites, register, history = fleet
    records: dict[str, list[engine.Record]] = defaultdict(list)
    for row in history:
        records[row["tag"]].append(record_of(row))
    by_code = {site["code"]: site for site in sites}
    return [
        (item, owed)
        for item in register
        for owed in engine.obligations(
            item_of(item), records[item["tag"]], rules_at(item["site"], by_code, rules), on
        )
    ]


@pytest.mark.parametrize(("seed", "day"), FLEETS)
def test_the_engine_owes_what_the_oracle_says(
    seed: int, day: str, tables: dict[str, oracle.Table], rules: dict[str, tuple[Rule, ...]]
) -> None:
    on = date.fromisoformat(day)
    fleet = fleet_of(seed, on, tables)
    expected = oracle.due_list(*fleet, tables, on)
    found = [shown(item, owed, on) for item, owed in owed_in(fleet, rules, on)]
    found.sort(key=lambda row: (row["due_on"], row["site"], row["tag"], row["task"]))
    assert len(expected) > 300
    assert differences(found, expected) == []


@pytest.mark.parametrize(("seed", "day"), FLEETS[:1])
def test_the_engine_bars_what_the_oracle_says(
    seed: int, day: str, tables: dict[str, oracle.Table], rules: dict[str, tuple[Rule, ...]]
) -> None:
    """Every row's own answer is looked at there, and here only those that can decide."""
    on, dice = date.fromisoformat(day), random.Random(seed)
    sites, register, history = fleet_of(seed, on, tables)
    fleet = sites, register[:120], history
    entries = oracle.entries_by_tag(history, on)
    by_code, owed = {site["code"]: site for site in sites}, defaultdict(list)
    for item, obligation in owed_in(fleet, rules, on):
        owed[item["tag"]].append(obligation)
    seen = Counter[str]()
    for item in register[:120]:
        theirs = oracle.rules_of(item, by_code, tables, on)
        done = entries.get(item["tag"], [])
        kept = oracle.asked(theirs, item, done, on)
        came_in = dice.choice([None, on, on - timedelta(days=dice.randrange(1500))])
        debts = debts_of(owed[item["tag"]], {}, came_in)
        used = {each.task for each in for_use(debts) if each.state(on) in LATE}
        filled = {each.task for each in debts if each.closes(on)}
        for obligation in owed[item["tag"]]:
            forbids = oracle.WORDS[obligation.bars]
            assert forbids == oracle.barred(kept[obligation.task]), obligation.task
        assert used == oracle.not_used_for(kept, on), item["tag"]
        assert filled == oracle.not_filled_for(kept, done, on, came_in), item["tag"]
        warned = {each.task for each in warnings(debts, on)}
        assert not warned & used
        late = {each.task for each in debts if each.state(on) in LATE}
        assert warned == late - used
        seen.update(use=len(used - filled), filling=len(filled - used), warns=len(warned))
        excused = sum(1 for each in debts if each.excused_until and not each.closes(on))
        seen.update(excused=excused, both=len(used & filled))
        # A row behind the governing one decides.
        seen.update(behind=sum(len(each.deciding) - 1 for each in owed[item["tag"]]))
    assert min(seen.values()) > 5, seen
    assert len(seen) == 6


def test_the_fleets_meet_every_way_of_counting(
    tables: dict[str, oracle.Table], rules: dict[str, tuple[Rule, ...]]
) -> None:
    """Of all of them together: a new row in any table throws the dice of each anew."""
    met = [
        candidate
        for seed, day in FLEETS
        for on in (date.fromisoformat(day),)
        for _, owed in owed_in(fleet_of(seed, on, tables), rules, on)
        for candidate in owed.candidates
    ]
    assert {each.how for each in met} == set(engine.How)
    assert {each.counted_from for each in met} == {*engine.CountedFrom, None}


@pytest.mark.parametrize("seed", [14, 12, 13])
def test_the_engine_has_items_stand_as_the_oracle_says(
    seed: int, tables: dict[str, oracle.Table], rules: dict[str, tuple[Rule, ...]]
) -> None:
    on, dice = date(2026, 11, 24), random.Random(seed)
    sites, register, history = fleets.random_fleet(
        seed, 400, tables, on, cylinder_columns=OF_CYLINDERS
    )
    decided = ("withdrawal", "quarantine", "return-to-service")
    for row in dice.sample(history, 800):  # what is decided comes among what is done
        more = {"task": dice.choice(decided), "outcome": dice.choice(["pass"] * 4 + ["fail"])}
        history.insert(dice.randrange(len(history)), {**row, **more, "part_made_on": ""})
    last = {row["tag"]: row for row in history}
    for row in dice.sample(list(last.values()), 20):  # as the dice alone condemn too few
        history.append({**row, "task": "periodic-inspection", "outcome": "condemned"})
    entries, records = oracle.entries_by_tag(history, on), defaultdict(list)
    for row in history:
        records[row["tag"]].append(record_of(row))
    by_code, seen = {site["code"]: site for site in sites}, Counter[str]()
    for item in register:
        theirs = oracle.rules_of(item, by_code, tables, on)
        expected = oracle.standing(theirs, entries.get(item["tag"], []))
        ours = rules_at(item["site"], by_code, rules)
        found = engine.standing(item_of(item), records[item["tag"]], ours, on)
        assert (found.word.value, found.since_on) == expected, item["tag"]
        seen[found.word.value if found.task not in decided else "taken out"] += 1
    assert min(seen.values()) > 5, seen
    assert len(seen) == 4


def written(path: Path, rows: list[oracle.Row]) -> str:
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    return str(path)


@pytest.fixture
def frozen() -> Iterator[None]:
    with time_machine.travel(TODAY, tick=False):
        yield


def differences(got: Sequence[object], wanted: Sequence[object]) -> list[tuple[object, object]]:
    """Return the first places where two long lists differ; pytest's own diff takes minutes."""
    return [pair for pair in zip_longest(got, wanted) if pair[0] != pair[1]][:3]


def said(*words: str) -> str:
    out = io.StringIO()
    call_command(*words, stdout=out, stderr=out)
    return out.getvalue()


@pytest.mark.django_db
@pytest.mark.usefixtures("frozen")
@pytest.mark.long
def test_lists_brought_in_give_the_due_list_of_the_oracle(
    tmp_path: Path, tables: dict[str, oracle.Table]
) -> None:
    on = date(2027, 1, 31)
    (tmp_path / "every-form.toml").write_text(EVERY_FORM)
    fleet = fleets.random_fleet(20270131, 150, tables, on, cylinder_columns=OF_CYLINDERS)
    sites, register, history = fleet
    said("load_rules", *map(str, FILES), str(tmp_path / "every-form.toml"))
    said("import_sites", written(tmp_path / "sites.csv", sites))
    said("import_register", written(tmp_path / "register.csv", register))
    said("import_history", written(tmp_path / "history.csv", history))

    expected = oracle.due_list(*fleet, tables, on)
    some = [
        row
        for row in expected
        if (row["task"], row["state"]) == ("periodic-inspection", "overdue")
        and "S01" in above(row["site"], sites)
    ]
    assert some
    narrowed = ("--site", "S01", "--task", "periodic-inspection", "--state", "overdue")
    for words, wanted in (((), expected), (narrowed, some)):
        text = said("due", "--on", on.isoformat(), "--format", "csv", *words)
        assert differences(list(csv.DictReader(io.StringIO(text))), wanted) == [], words
    assert text.splitlines()[0] == ",".join(oracle.COLUMNS)

    # Kept as the lists came in, computed afresh, and stored for today: all the same.
    assert said("recompute").splitlines()[-1] == "stored due dates of 0 items changed"
    today = due_rows(DueQuestion())
    assert differences([stored_row(row) for row in stored_rows(DueQuestion())], today) == []
    shown = [as_listed(row) for row in today]
    assert differences(today_of_the_oracle(fleet, tables), shown) == []
    assert "0 items new, 0 changed, 150 as they were" in said(
        "import_register", str(tmp_path / "register.csv")
    )
    assert "0 records added" in said("import_history", str(tmp_path / "history.csv"))


def above(site: str, sites: list[oracle.Row]) -> list[str]:
    """Return a site's code and those of the sites above it."""
    parents = {row["code"]: row["parent"] for row in sites}
    return [site, *above(parents[site], sites)] if site else []


def today_of_the_oracle(
    fleet: tuple[list[oracle.Row], list[oracle.Row], list[oracle.Row]],
    tables: dict[str, oracle.Table],
) -> list[oracle.Row]:
    """Return what is due today, which at Auckland and Kiritimati is another day than in Europe."""
    sites, register, history = fleet
    ahead = {"Pacific/Auckland": date(2026, 11, 25), "Pacific/Kiritimati": date(2026, 11, 26)}
    zones = {site["code"]: site["timezone"] for site in sites}
    rows: list[oracle.Row] = []
    for on in (date(2026, 11, 25), date(2026, 11, 26)):
        there = [
            item for item in register if ahead.get(zones[item["site"]], date(2026, 11, 25)) == on
        ]
        rows += oracle.due_list(sites, there, history, tables, on)
    return sorted(rows, key=lambda row: (row["due_on"], row["site"], row["tag"], row["task"]))


def as_listed(row: DueRow) -> oracle.Row:
    values = {name: getattr(row, name) for name in oracle.COLUMNS}
    return {name: "" if value is None else str(value) for name, value in values.items()}

"""The oracle itself, against cases worked out by hand from due/README."""

from collections import Counter
from datetime import date
from typing import Any

import pytest

from . import fleets, oracle

HEAD = 'table = "{name}"\ntitle = "A table"\njurisdiction = "XX"\ncaution = "Check it."\n'
RULE = '[[rule]]\nid = "{id}"\nlevel = "{level}"\nsource = "S {id}"\nseen = "practice"\n{body}\n'


def table(name: str, *rules: tuple[str, str, str]) -> str:
    """A table's text from (id, level, the row's other lines)."""
    rows = (RULE.format(id=id_, level=level, body=body) for id_, level, body in rules)
    return HEAD.format(name=name) + "".join(rows)


def due(
    *rules: tuple[str, str, str],
    on: str = "2026-06-15",
    history: list[str] | None = None,
    item: dict[str, str] | None = None,
    **more: str,
) -> list[list[str]]:
    """[task, due_on, state, rule, counted_from, basis_on] of one item; history as "task done_on
    outcome [part_made_on]", pass where nothing is said."""
    rows = []
    for line in history or []:
        words = line.split()
        task, done, outcome, part = words + ["pass", ""][len(words) - 2 :]
        rows.append(
            {"tag": "T1", "task": task, "done_on": done, "outcome": outcome, "part_made_on": part}
        )
    register = [{"tag": "T1", "kind": "cylinder", "site": "A", **(item or {}), **more}]
    sites = [{"code": "A", "parent": "", "rule_tables": "t"}]
    tables = oracle.read_tables([table("t", *rules)])
    found = oracle.due_list(sites, register, rows, tables, date.fromisoformat(on))
    wanted = ("task", "due_on", "state", "rule", "counted_from", "basis_on")
    return [[row[name] for name in wanted] for row in found]


def every(
    interval: str, more: str = "", *, rule: str = "r", level: str = "law", task: str = "flow-test"
) -> tuple[str, str, str]:
    return (rule, level, f'task = "{task}"\nevery = "{interval}"\n{more}')


LIFE = ("life", "law", 'task = "service-life"\nlife = "P15Y"')


# --- clause 1


def test_clause_1_tables_of_the_site_and_of_every_site_above() -> None:
    tables = oracle.read_tables(
        [table(n, every("P1Y", rule=n, task=f"task-{n}")) for n in ("near", "far", "other")]
    )
    sites = [
        {"code": "top", "parent": "", "rule_tables": "far"},
        {"code": "mid", "parent": "top", "rule_tables": ""},
        {"code": "low", "parent": "mid", "rule_tables": "near;far"},
        {"code": "aside", "parent": "top", "rule_tables": "other"},
    ]
    register = [{"tag": "T1", "kind": "mask", "site": "low", "made_on": "2025-01-01"}]
    rows = oracle.due_list(sites, register, [], tables, date(2026, 6, 15))
    assert [row["task"] for row in rows] == ["task-far", "task-near"]


@pytest.mark.parametrize(("on", "asked"), [("2025-12-31", 0), ("2026-01-01", 1), ("2027-01-01", 0)])
def test_clause_1_in_force_from_the_first_day_until_before_the_last(on: str, asked: int) -> None:
    rule = every("P1Y", "valid_from = 2026-01-01\nvalid_until = 2027-01-01")
    assert len(due(rule, on=on, made_on="2020-01-01")) == asked


@pytest.mark.parametrize(
    ("item", "asked"),
    [
        ({"made_on": "2026-06-16", "in_service_on": "2026-06-16"}, 0),
        ({"made_on": "2026-06-15", "in_service_on": "2026-07-01"}, 1),
        ({"made_on": "2026-06"}, 1),
        ({"in_service_on": "2026-06-16"}, 0),
        ({}, 1),
    ],
)
def test_clause_1_an_item_made_later_has_no_obligations_yet(
    item: dict[str, str], asked: int
) -> None:
    assert len(due(every("P1Y"), item=item)) == asked


@pytest.mark.parametrize(
    ("condition", "item", "matched"),
    [
        ('when = { specification = ["DOT-3AL"] }', {"specification": "DOT-3AL"}, True),
        ('when = { specification = ["DOT-3AL"] }', {"specification": "DOT-3AA"}, False),
        ('when = { specification = ["DOT-3AL"] }', {}, False),
        ('when = { specification = ["DOT-3AL", ""] }', {}, True),
        ("when = { water_capacity_l = { max = 56 } }", {"water_capacity_l": "56"}, True),
        ("when = { water_capacity_l = { max = 56 } }", {"water_capacity_l": "56.1"}, False),
        ("when = { water_capacity_l = { max = 56 } }", {}, False),
        ("when = { water_capacity_l = { min = 9 } }", {"water_capacity_l": "12"}, True),
        ('when = { marks = ["star"] }', {"marks": "plus;star"}, True),
        ('when = { marks = [""] }', {"marks": ""}, True),
        ('unless = { marks = ["star"] }', {"marks": "plus;star"}, False),
        ('unless = { marks = ["star"] }', {"marks": "plus"}, True),
        (
            'unless = { marks = ["star"], specification = ["DOT-3AA"] }',
            {"marks": "star", "specification": "DOT-3AL"},
            True,
        ),
    ],
)
def test_row_forms_when_and_unless(condition: str, item: dict[str, str], matched: bool) -> None:
    assert bool(due(every("P1Y", condition), made_on="2020-01-01", item=item)) is matched


# --- clauses 2 and 3


def test_clause_2_the_latest_pass_up_to_the_day_is_the_base() -> None:
    history = ["flow-test 2026-06-16", "flow-test 2025-09-01", "flow-test 2024-01-01"]
    assert due(every("P1Y"), history=history) == [
        ["flow-test", "2026-09-01", "current", "r", "record", "2025-09-01"]
    ]


def test_clause_2_without_a_record_from_decides() -> None:
    item = {"made_on": "2026-01-10", "in_service_on": "2026-03-05"}
    made, service, once = (every("P1Y", f'from = "{w}"') for w in ("made", "in-service", "at-once"))
    assert due(made, item=item)[0][1::3] == ["2027-01-10", "made"]
    assert due(service, item=item)[0][1::3] == ["2027-03-05", "in-service"]
    assert due(once, item=item)[0][1::3] == ["2026-03-05", "at-once"]
    del item["in_service_on"]
    assert due(service, item=item)[0][1::3] == ["2027-01-10", "made"]
    assert due(once, item=item)[0][1::3] == ["2026-01-10", "at-once"]


def test_clause_2_at_once_is_the_day_itself_even_with_month_end() -> None:
    rule = every("P1Y", 'from = "at-once"\ndue = "month-end"')
    assert due(rule, in_service_on="2026-03-05")[0][1] == "2026-03-05"
    assert due(rule, in_service_on="2026-03-05", history=["flow-test 2026-03-09"])[0][1] == (
        "2027-03-31"
    )


@pytest.mark.parametrize(
    ("interval", "base", "answer"),
    [
        ("P6M", "2024-08-31", "2025-02-28"),
        ("P6M", "2023-08-31", "2024-02-29"),
        ("P12M", "2024-02-29", "2025-02-28"),
        ("P1Y", "2024-02-29", "2025-02-28"),
        ("P4Y", "2020-02-29", "2024-02-29"),
        ("P2W", "2024-02-20", "2024-03-05"),
        ("P30D", "2025-01-31", "2025-03-02"),
        ("P1Y6M", "2024-08-31", "2026-02-28"),
    ],
)
def test_clause_3_months_clamp(interval: str, base: str, answer: str) -> None:
    assert due(every(interval), history=[f"flow-test {base}"])[0][1] == answer


def test_clause_3_month_end_and_a_made_date_known_to_the_month() -> None:
    assert due(every("P5Y", 'due = "month-end"'), made_on="2021-02")[0][1] == "2026-02-28"
    assert due(every("P5Y"), made_on="2021-02")[0] == [
        "flow-test",
        "2026-02-01",
        "overdue",
        "r",
        "made",
        "2021-02-01",
    ]


@pytest.mark.parametrize(
    ("calendar", "base", "answer"),
    [
        ("month", "2026-01-31", "2026-02-28"),
        ("month", "2025-12-01", "2026-01-31"),
        ("quarter", "2026-03-31", "2026-06-30"),
        ("quarter", "2025-10-01", "2026-03-31"),
        ("half-year", "2025-07-01", "2026-06-30"),
        ("half-year", "2026-06-15", "2026-12-31"),
        ("year", "2024-02-29", "2025-12-31"),
    ],
)
def test_row_form_calendar(calendar: str, base: str, answer: str) -> None:
    rule = ("r", "law", f'task = "flow-test"\ncalendar = "{calendar}"')
    assert due(rule, history=[f"flow-test {base}"])[0][1] == answer


def test_row_form_after_the_first_event_newer_than_the_last_pass() -> None:
    rule = ("r", "maker", 'task = "cleaning"\nafter = ["use", "impact"]')
    assert due(rule, made_on="2020-01-01") == []
    history = ["use 2026-05-01", "cleaning 2026-05-02", "impact 2026-06-03", "use 2026-06-10"]
    assert due(rule, history=history) == [
        ["cleaning", "2026-06-03", "overdue", "r", "event", "2026-06-03"]
    ]
    assert due(rule, history=[*history, "cleaning 2026-06-10"]) == []
    # of one day, as entered: used again after the cleaning
    same_day = ["use 2026-06-15", "cleaning 2026-06-15", "use 2026-06-15"]
    assert due(rule, history=same_day)[0][1:3] == ["2026-06-15", "overdue"]
    assert due(rule, history=same_day[:2]) == []


def test_row_form_counts_since_the_last_pass() -> None:
    rule = ("r", "maker", 'task = "overhaul"\ncounts = "fill"\nlimit = 2')
    history = ["fill 2026-01-01", "overhaul 2026-01-02", "fill 2026-01-03"]
    assert due(rule, history=history, made_on="2020-01-01") == []
    history += ["fill 2026-01-04", "fill 2026-01-05"]
    assert due(rule, history=history)[0][1] == "2026-01-04"


def test_row_form_counts_for_the_service_life_since_ever() -> None:
    rule = ("r", "maker", 'task = "service-life"\ncounts = "fill"\nlimit = 2')
    history = ["fill 2026-01-01", "service-life 2026-01-02", "fill 2026-01-03"]
    assert due(rule, history=history)[0] == [
        "service-life",
        "2026-01-03",
        "overdue",
        "r",
        "event",
        "2026-01-03",
    ]


def test_row_form_part_made_counts_shelf_time() -> None:
    rule = every("P2Y", 'from = "part-made"\nsatisfied_by = ["overhaul"]', task="renewal")
    assert due(rule, history=["renewal 2025-05-05 pass 2024-11-30"]) == [
        ["renewal", "2026-11-30", "current", "r", "part-made", "2024-11-30"]
    ]
    assert due(rule, history=["renewal 2025-05-05"])[0][1::3] == ["2027-05-05", "record"]
    later = ["renewal 2025-05-05 pass 2024-11-30", "overhaul 2025-06-06"]
    assert due(rule, history=later)[0][1::3] == ["2027-06-06", "record"]
    assert due(rule, made_on="2025-01-01")[0][1::3] == ["2027-01-01", "made"]


def test_row_form_life_and_as_marked() -> None:
    marked = ("m", "maker", 'task = "service-life"\nlife = "as-marked"\ndue = "month-end"')
    assert due(LIFE, made_on="2012-02-29", history=["service-life 2026-01-01"]) == [
        ["service-life", "2027-02-28", "current", "life", "made", "2012-02-29"]
    ]
    assert due(marked, made_on="2012-02-10") == []
    assert due(marked, made_on="2012-02-10", design_life_years="20")[0][1] == "2032-02-29"
    assert due(marked, design_life_years="20")[0][1:3] == ["", "undetermined"]


# --- clauses 4 to 7


def test_clause_4_the_earliest_governs_then_level_then_id() -> None:
    rules = [
        every("P2Y", rule="a", level="law"),
        every("P1Y", rule="z", level="maker"),
        every("P12M", rule="y", level="maker"),
        every("P12M", rule="b", level="local"),
    ]
    assert due(*rules, made_on="2026-01-01")[0][3] == "y"


def test_clause_5_what_falls_on_or_after_the_retirement_is_dropped() -> None:
    tasks = [every("P1Y", task="on"), every("P364D", rule="s", task="before")]
    item = {"made_on": "2011-08-01"}
    done = ["on 2025-08-01", "before 2025-08-01"]
    assert [row[:2] for row in due(LIFE, *tasks, history=done, item=item)] == [
        ["before", "2026-07-31"],
        ["service-life", "2026-08-01"],
    ]


def test_clause_6_a_failure_is_due_on_its_day_until_a_pass() -> None:
    rule = every("P1Y", 'satisfied_by = ["overhaul"]')
    failed = ["flow-test 2026-05-01", "flow-test 2026-05-20 fail", "flow-test 2026-05-25 fail"]
    assert due(rule, history=failed) == [
        ["flow-test", "2026-05-20", "overdue", "r", "failure", "2026-05-20"]
    ]
    assert due(rule, history=[*failed, "overhaul 2026-05-26"])[0][1] == "2027-05-26"
    assert due(rule, history=[*failed, "overhaul 2026-05-26 fail"])[0][1] == "2026-05-20"
    # already overdue when it failed: the earlier date stands
    late = ["flow-test 2024-05-01", "flow-test 2026-05-20 fail"]
    assert due(rule, history=late)[0][1::3] == ["2025-05-01", "record"]
    # no rule asks for this task
    assert due(rule, made_on="2026-01-01", history=["cleaning 2026-05-01 fail"])[0][1] == (
        "2027-01-01"
    )


def test_clause_6_a_condemned_item_has_no_obligations() -> None:
    history = ["hydrostatic-retest 2026-06-15 condemned"]
    assert due(every("P1Y"), LIFE, made_on="2020-01-01", history=history) == []
    assert len(due(every("P1Y"), made_on="2020-01-01", history=history, on="2026-06-14")) == 1


@pytest.mark.parametrize(
    ("on", "answer"),
    [
        ("2026-02-27", "current"),
        ("2026-02-28", "due-soon"),
        ("2026-03-31", "due-soon"),
        ("2026-04-01", "overdue"),
    ],
)
def test_clause_7_states_with_the_default_notice(on: str, answer: str) -> None:
    assert due(every("P1Y"), history=["flow-test 2025-03-31"], on=on)[0][2] == answer


def test_clause_7_no_base_is_undetermined_and_governs() -> None:
    rules = [
        every("P1Y", rule="made", level="local"),
        every("P1Y", 'from = "in-service"', rule="svc"),
    ]
    assert due(*rules, in_service_on="2026-01-01") == [
        ["flow-test", "", "undetermined", "made", "", ""]
    ]
    assert due(*rules, in_service_on="2026-01-01", history=["flow-test 2026-02-02"])[0][3] == "svc"


def test_section_6_columns_and_order() -> None:
    tables = oracle.read_tables([table("t", every("P1Y"), every("P1Y", rule="q", task="cleaning"))])
    sites = [{"code": code, "parent": "", "rule_tables": "t"} for code in "AB"]
    register: list[dict[str, Any]] = [
        {"tag": "2", "kind": "mask", "site": "B", "made_on": "2026-01-01"},
        {"tag": "3", "kind": "mask", "site": "A", "made_on": "2026-01-01"},
        {"tag": "1", "kind": "mask", "site": "B", "made_on": ""},
        {"tag": "1a", "kind": "mask", "site": "A", "made_on": "2025-12-31", "serial": "x"},
    ]
    rows = oracle.due_list(sites, register, [], tables, date(2026, 6, 15))
    assert [(row["tag"], row["task"]) for row in rows] == [
        (tag, task) for tag in ("1", "1a", "3", "2") for task in ("cleaning", "flow-test")
    ]
    assert all(tuple(row) == oracle.COLUMNS for row in rows)


# --- the random fleets

ALL_FORMS = table(
    "forms",
    every("P5Y", 'when = { kind = ["cylinder"] }\ndue = "month-end"\nnotice = "P3M"'),
    every("P6M", 'from = "at-once"\nwhen = { kind = ["mask", "set"] }', rule="once", task="seal"),
    every("P2Y", 'from = "part-made"\nsatisfied_by = ["overhaul"]', rule="part", task="renewal"),
    every("P90D", 'from = "in-service"\nvalid_until = 2026-07-01', rule="svc", task="look"),
    ("cal", "standard", 'task = "periodic-inspection"\ncalendar = "month"'),
    ("aft", "maker", 'task = "cleaning"\nafter = ["use", "impact", "seal"]'),
    ("cnt", "maker", 'task = "overhaul"\ncounts = "fill"\nlimit = 30'),
    ("lim", "maker", 'task = "service-life"\nlife = "P15Y"\nwhen = { fibre = ["glass"] }'),
    (
        "mrk",
        "law",
        'task = "service-life"\nlife = "as-marked"\nwhen = { water_capacity_l = { max = 9 } }\n'
        'unless = { marks = ["star"], specification = ["DOT-SP"] }',
    ),
)


@pytest.mark.parametrize("seed", range(6))
def test_random_fleets_keep_the_import_contracts(seed: int) -> None:
    on = date(2026, 6, 15)
    tables = oracle.read_tables([ALL_FORMS])
    sites, register, history = fleets.random_fleet(seed, 120, tables, on)
    assert (sites, register, history) == fleets.random_fleet(seed, 120, tables, on)
    assert 8 <= len(sites) <= 15
    codes = [site["code"] for site in sites]
    for place, site in enumerate(sites):
        assert not site["parent"] or site["parent"] in codes[:place]
    items = {item["tag"]: item for item in register}
    assert len(items) == len({(item["maker"], item["serial"]) for item in register}) == 120
    for item in register:
        assert item["site"] in codes
        assert item["kind"] == "cylinder" or not any(item[c] for c in fleets.CYLINDER_COLUMNS)
        made, begun = oracle.day(item["made_on"]), oracle.day(item["in_service_on"])
        assert not made or made <= fleets.LAST_DAY
        assert not (made and begun) or made <= begun
    condemned: dict[str, str] = {}
    for row in history:
        made = oracle.day(items[row["tag"]]["made_on"])
        assert not made or made.isoformat() <= row["done_on"]
        assert row["done_on"] <= fleets.LAST_DAY.isoformat()
        assert row["part_made_on"] <= row["done_on"]
        assert row["tag"] not in condemned
        if row["outcome"] == "condemned":
            condemned[row["tag"]] = row["done_on"]
    assert all(row["done_on"] <= condemned.get(row["tag"], "9") for row in history)
    assert len({tuple(row.values()) for row in history}) == len(history)


def test_random_fleets_reach_every_row_and_every_state() -> None:
    tables = oracle.read_tables([ALL_FORMS])
    on = date(2026, 6, 15)
    seen: Counter[str] = Counter()
    for seed in range(6):
        rows = oracle.due_list(*fleets.random_fleet(seed, 300, tables, on), tables, on)
        for row in rows:
            seen.update((row["rule"], row["state"], row["counted_from"]))
    expected = {rule["id"] for rule in tables["forms"]["rule"]}
    expected |= {"overdue", "due-soon", "current", "undetermined"}
    expected |= {"record", "made", "in-service", "at-once", "part-made", "event", "failure"}
    assert expected <= set(seen), expected - set(seen)

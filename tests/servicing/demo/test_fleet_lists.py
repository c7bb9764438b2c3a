"""The invented fleet as lists: what an import would look at, and that nobody draws by luck."""

import csv
import io
from collections import Counter
from collections.abc import Sequence
from datetime import date, timedelta
from zoneinfo import ZoneInfo

import pytest

from registry.items.facts import OF_CYLINDERS
from registry.lists.pure.register import read_register
from registry.lists.pure.sites import read_sites
from servicing.demo.pure import DemoFleet, demo_fleet
from servicing.ledger.pure.history import KnownItem, read_history
from tests.servicing.demo.fleet import DAYS, data, day, fleet, known_day, tables

SITE_COLUMNS = ["code", "name", "parent", "timezone", "rule_tables"]
REGISTER_COLUMNS = [
    "tag",
    "kind",
    "maker",
    "model",
    "serial",
    "made_on",
    "in_service_on",
    "site",
    "specification",
    "construction",
    "fibre",
    "marks",
    "water_capacity_l",
    "working_pressure_bar",
    "test_pressure_bar",
    "tare_kg",
    "ree_ml",
    "design_life_years",
    "connection",
    "size",
]
HISTORY_COLUMNS = ["tag", "task", "done_on", "outcome", "by", "note", "part_made_on"]
EVENTS = frozenset({"use", "fill", "impact", "repair", "filter-change"})


@pytest.fixture(params=DAYS, ids=str)
def on(request: pytest.FixtureRequest) -> date:
    """Give one of several days on which somebody may look at the demo."""
    asked: date = request.param
    return asked


def as_csv(rows: Sequence[dict[str, str]]) -> bytes:
    text = io.StringIO(newline="")
    writer = csv.DictWriter(text, list(rows[0]))
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue().encode()


def test_the_same_day_gives_the_same_rows(on: date) -> None:
    assert demo_fleet(data(), on) == fleet(on)


def test_another_day_moves_the_dates_and_leaves_what_exists() -> None:
    def plates(made: DemoFleet) -> list[tuple[str, ...]]:
        return [(r["tag"], r["maker"], r["model"], r["serial"], r["site"]) for r in made.register]

    assert plates(fleet(DAYS[0])) == plates(fleet(DAYS[1]))
    assert fleet(DAYS[0]).history != fleet(DAYS[1]).history


def test_the_columns_are_those_of_the_lists_that_imports_take(on: date) -> None:
    made = fleet(on)
    assert all(list(row) == SITE_COLUMNS for row in made.sites)
    assert all(list(row) == REGISTER_COLUMNS for row in made.register)
    readings = list(made.history[0])[len(HISTORY_COLUMNS) :]
    assert len(readings) > 10
    assert all(name.startswith("reading:") for name in readings)
    assert all(list(row) == HISTORY_COLUMNS + readings for row in made.history)


def test_the_lists_pass_the_readers_that_imports_use(on: date) -> None:
    made = fleet(on)
    today = {site["code"]: on for site in made.sites}
    _, problems = read_sites(
        "sites.csv",
        as_csv(made.sites),
        zones=frozenset({"Europe/Vienna", "Atlantic/Faroe"}),
        tables=frozenset(tables()),
        known=frozenset(),
    )
    assert problems == []
    items, problems = read_register(
        "register.csv", as_csv(made.register), sites=today, registered={}
    )
    assert problems == []
    tasks = {rule.task for rules in tables().values() for rule in rules}
    records, problems = read_history(
        "history.csv",
        as_csv(made.history),
        items={item.tag: KnownItem(item.made_on, on, None) for item in items},
        tasks=frozenset(tasks) | EVENTS,
    )
    assert problems == []
    assert len(records) == len(made.history)


def test_twelve_sites_make_one_tree_with_real_time_zones(on: date) -> None:
    parents = {site["code"]: site["parent"] for site in fleet(on).sites}
    assert len(parents) == 12
    assert [code for code, parent in parents.items() if not parent] == ["TVR"]
    assert set(parents.values()) - {""} <= parents.keys()
    zones = Counter(ZoneInfo(site["timezone"]).key for site in fleet(on).sites)
    assert sorted(zones.values()) == [1, 11]


def test_the_service_adopts_five_tables_and_the_airfield_a_sixth() -> None:
    adopted = {site["code"]: site["rule_tables"] for site in fleet(DAYS[0]).sites}
    assert {code: names for code, names in adopted.items() if names} == {
        "TVR": "iso-en-cylinders;general-apparatus;other-gear;filling-gear;compressor-hours",
        "GRE": "us-cylinders",
    }


def test_the_fleet_is_of_the_size_and_mix_of_a_real_one(on: date) -> None:
    kinds = Counter(row["kind"] for row in fleet(on).register)
    assert 560 <= sum(kinds.values()) <= 680
    assert kinds["cylinder"] == 193
    assert kinds["mask"] == 128
    assert kinds["set"] == 50
    assert set(kinds) == set(data()["tags"])
    assert 9_000 <= len(fleet(on).history) <= 14_000


def test_cylinders_of_every_build_and_stamp_are_there() -> None:
    cylinders = [row for row in fleet(DAYS[0]).register if row["kind"] == "cylinder"]
    assert {row["construction"] for row in cylinders} == {"type-1", "type-3", "type-4"}
    stamps = {row["specification"] for row in cylinders}
    assert stamps >= {"EN-1964-1", "EN-12245", "DOT-3AL", "DOT-3AA", "DOT-SP"}
    assert {row["design_life_years"] for row in cylinders} == {"", "15", "20"}
    american = {row["specification"] for row in cylinders if row["site"] == "GRE"}
    assert american == {"DOT-3AL", "DOT-3AA", "DOT-SP"}


def test_tags_and_plates_are_unique_and_some_tags_begin_with_a_nought(on: date) -> None:
    register = fleet(on).register
    tags = [row["tag"] for row in register]
    assert len(set(tags)) == len(tags)
    assert len({(row["maker"], row["serial"]) for row in register}) == len(register)
    assert sum(tag.isdigit() and tag.startswith("0") for tag in tags) > 100


def test_what_only_cylinders_have_is_on_cylinders_only(on: date) -> None:
    others = [row for row in fleet(on).register if row["kind"] != "cylinder"]
    assert not any(row[column] for row in others for column in OF_CYLINDERS)


def test_no_date_is_impossible(on: date) -> None:
    made_on = {}
    for row in fleet(on).register:
        made, put = known_day(row["made_on"]), known_day(row["in_service_on"])
        made_on[row["tag"]] = made
        if made and put:
            assert made <= put <= on, row
    for row in fleet(on).history:
        done, made, part = day(row["done_on"]), made_on[row["tag"]], known_day(row["part_made_on"])
        assert made is not None, row
        assert made <= done < on, row
        assert part is None or part <= done, row


def test_history_is_in_order_and_says_nothing_twice(on: date) -> None:
    history = fleet(on).history
    days = [row["done_on"] for row in history]
    assert days == sorted(days)
    keys = [(row["tag"], row["task"], row["done_on"], row["outcome"]) for row in history]
    assert len(set(keys)) == len(keys)


def test_it_goes_back_ten_years(on: date) -> None:
    oldest = day(fleet(on).history[0]["done_on"])
    assert timedelta(days=3500) < on - oldest < timedelta(days=3700)


def test_every_record_names_one_of_the_invented_people(on: date) -> None:
    people = {person["name"] for person in data()["person"]}
    assert {row["by"] for row in fleet(on).history} == people


def test_a_workshop_rests_on_sundays(on: date) -> None:
    planned = ("hydrostatic-retest", "flow-test", "overhaul", "disc-renewal")
    trouble_tags = {tag for trouble in data()["trouble"] for tag in trouble["tags"]}
    days = {
        day(row["done_on"]).weekday()
        for row in fleet(on).history
        if row["task"] in planned and row["tag"] not in trouble_tags
    }
    assert days == {0, 1, 2, 3, 4}


def test_a_failure_is_followed_by_what_put_it_right(on: date) -> None:
    failures = [row for row in fleet(on).history if row["outcome"] == "fail"]
    passes = {
        (row["tag"], row["task"], row["done_on"])
        for row in fleet(on).history
        if row["outcome"] == "pass"
    }
    put_right = [(r["tag"], r["task"], r["done_on"]) in passes for r in failures]
    assert len(failures) > 30
    # Two stories aside: one still waits, one took five days.
    assert put_right.count(False) == 2


def test_a_key_nobody_reads_is_refused() -> None:
    wrong = {**data(), "person": [{"name": "Ilva Quernstone", "wrok": "workshop"}]}
    with pytest.raises(TypeError, match="wrok"):
        demo_fleet(wrong, DAYS[0])

"""The commands due and explain: their columns, their order, their words."""

import json

import pytest

from registry.items.models import Item
from servicing.due.pure.sheet import GENERAL_CAUTION
from tests.commands.running import COLUMNS, due_csv, run, tags


def test_the_columns_of_due_are_those_that_other_programs_rely_on(fleet: Item) -> None:
    assert run("due", "--format", "csv").out.splitlines()[0] == ",".join(COLUMNS)
    found = json.loads(run("due", "--format", "json").out)
    assert {tuple(row) for row in found} == {tuple(COLUMNS)}
    assert found == due_csv()
    assert run("due").out.splitlines()[0].split() == COLUMNS


def test_due_is_sorted_with_the_undetermined_first(fleet: Item) -> None:
    rows = due_csv()
    keys = [(row["due_on"], row["site"], row["tag"], row["task"]) for row in rows]
    assert keys == sorted(keys)
    assert {row["tag"] for row in rows if not row["due_on"]} == {"C-1"}
    assert rows[0]["state"] == "undetermined"


def test_a_row_of_due_names_its_rule_and_what_it_was_counted_from(fleet: Item) -> None:
    # ISO 18119:2018, informative annex on intervals: metal cylinders every five years.
    row = next(r for r in due_csv("--task", "hydrostatic-retest") if r["tag"] == "C-2")
    assert row == {
        "tag": "C-2",
        "serial": "2",
        "maker": "Pellwright",
        "kind": "cylinder",
        "site": "ST1",
        "task": "hydrostatic-retest",
        "due_on": "2024-05-01",
        "state": "overdue",
        "rule": "iso-cyl-metal",
        "level": "standard",
        "counted_from": "made",
        "basis_on": "2019-05-01",
        "source": "ISO 18119:2018, informative annex on intervals, self-contained breathing air",
    }


def test_due_at_a_site_includes_the_sites_below_it(fleet: Item) -> None:
    assert tags(due_csv("--site", "VAL")) == {"00123", "C-1", "C-2"}
    assert tags(due_csv("--site", "ST1")) == {"00123", "C-2"}


@pytest.mark.parametrize("state", ["undetermined", "overdue", "due-soon", "current"])
def test_due_in_a_state_shows_that_state_and_all_of_it(fleet: Item, state: str) -> None:
    rows = due_csv("--state", state)
    assert rows == [row for row in due_csv() if row["state"] == state]


def test_due_on_a_day_is_as_of_that_day(fleet: Item) -> None:
    # The due date itself is the last good day (due/README 7).
    states = [
        row["state"]
        for on in ("2024-01-31", "2024-02-01", "2024-05-01", "2024-05-02")
        for row in due_csv("--on", on, "--task", "hydrostatic-retest", "--site", "ST1")
    ]
    assert states == ["current", "due-soon", "due-soon", "overdue"]


def test_due_says_so_where_nothing_is(fleet: Item) -> None:
    long_ago = ("due", "--on", "1990-01-01", "--site", "ST1")
    done = run(*long_ago)
    assert (done.status, done.out.splitlines()[0]) == (0, "Nothing is due.")
    assert run(*long_ago, "--format", "csv").out == ",".join(COLUMNS) + "\n"
    assert json.loads(run(*long_ago, "--format", "json").out) == []


def test_the_table_of_due_ends_with_the_caution(fleet: Item) -> None:
    assert run("due").out.endswith("\n".join(GENERAL_CAUTION) + "\n")


# ── explain ─────────────────────────────────────────────────────────────────────────────────────


def test_explain_names_rule_source_base_and_arithmetic(fleet: Item) -> None:
    said = run("explain", "C-2", "--on", "2024-01-01").out
    assert "=> 2024-05-01" in said
    assert "iso-cyl-metal (standard): ISO 18119:2018, informative annex" in said
    assert "2019" in said
    assert GENERAL_CAUTION[0] in said


def test_explain_in_json_has_every_candidate_of_every_task(fleet: Item) -> None:
    found = json.loads(run("explain", "C-2", "--on", "2024-01-01", "--format", "json").out)
    assert (found["tag"], found["on"], found["standing"]) == ("C-2", "2024-01-01", "in-service")
    tasks = {task["task"]: task for task in found["tasks"]}
    retest = tasks["hydrostatic-retest"]
    assert (retest["due_on"], retest["state"]) == ("2024-05-01", "current")
    assert retest["candidates"][0]["rule"] == "iso-cyl-metal"
    assert {"source", "seen", "counted_from", "basis_on", "arithmetic"} <= set(
        retest["candidates"][0]
    )
    assert found["caution"] == " ".join(GENERAL_CAUTION)

"""No page reads all of what grows with the register, but those that are named with the reason.

SQLite says with EXPLAIN QUERY PLAN how it answers; a full scan of a table that grows is one
that costs a hundred times as much among a hundred times as many items. The ladder
(tests/benchmarks/ladder.py) says what that comes to.
"""

import re
from collections import defaultdict
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection

from tests.people import signed_in
from tests.test_addresses import ADDRESSES, ROLES, World, world  # noqa: F401 (a fixture)

GROW = {
    "registry_item",
    "registry_itemversion",
    "registry_fitting",
    "registry_formertag",
    "registry_trailentry",
    "servicing_carried",
    "servicing_consigned",
    "servicing_duespan",
    "servicing_measured",
    "servicing_paper",
    "servicing_record",
    "servicing_result",
    "servicing_signature",
    "servicing_storedobligation",
}
"""The tables that grow with the fleet and with what is done."""
FEW = {"consigned_open"}
"""Indexes of few of a table's rows: reading all of such an index is no full scan."""
HALF_WAY = "the order or the count of a list stops before the end"
PLANNED = "to be kept as a sum"
SCANS: dict[str, dict[str, str]] = {
    "consignment-list": {"servicing_result": "what test houses found is little"},
    "due-list": {"servicing_storedobligation": HALF_WAY},
    "due-pdf": {"servicing_storedobligation": "a paper of all that is due lists all"},
    "home": {
        "registry_fitting": PLANNED,
        "registry_item": PLANNED,
        "registry_trailentry": HALF_WAY,
        "servicing_result": "what test houses found is little",
        "servicing_storedobligation": PLANNED,
    },
    "item-list": {"registry_item": HALF_WAY},
    "overdue-pdf": {
        "servicing_storedobligation": "a paper of all that is overdue looks through all"
    },
    "rule-proposal": {"registry_fitting": "a rule may touch every set"},
    "set-list": {"registry_fitting": PLANNED},
    "stamp-list": {"servicing_storedobligation": "looked for among all dates, in their order"},
}
"""What is read whole all the same, and why. Nothing is added here without need."""


def test_no_page_reads_all_of_what_grows(world: World) -> None:  # noqa: F811
    if connection.vendor != "sqlite":
        pytest.skip("asked of SQLite: PostgreSQL plans by what is in the tables")
    found: dict[str, set[str]] = defaultdict(set)
    seen: dict[str, set[str]] = {}
    clients = {role: signed_in(world.people[role]) for role in ROLES}
    for name, address in ADDRESSES.items():
        asked: list[tuple[str, Any]] = []
        with connection.execute_wrapper(_noting(asked)):
            for client in clients.values() if name == "home" else [clients["manager"]]:
                client.get(world.path(name), address.query)
        for sql, params in asked:
            plain = re.sub(r"(%s, )+%s", "%s", sql)
            if plain not in seen:
                seen[plain] = scanned(sql, _plan(sql, params))
            found[name] |= seen[plain]
    assert {name: tables for name, tables in found.items() if tables} == {
        name: set(tables) for name, tables in SCANS.items()
    }


def scanned(sql: str, plan: list[str]) -> set[str]:
    """Return the growing tables of which a plan reads all rows.

    What is read in the order of an index until there are enough is no full scan: a query with
    a limit, without a condition, that sorts nothing.
    """
    if "LIMIT" in sql and "WHERE" not in sql and not any("TEMP B-TREE" in line for line in plan):
        return set()
    called = dict(re.findall(r'"(\w+)" ([A-Z]\d+)\b', sql))
    tables = {alias: table for table, alias in called.items()}
    lines = (line for line in plan if line.rpartition("INDEX ")[2] not in FEW)
    found = (re.match(r"SCAN (\w+)", line) for line in lines)
    names = {str(each[1]) for each in found if each}
    return {tables.get(name, name) for name in names} & GROW


def _noting(asked: list[tuple[str, Any]]) -> Callable[..., Any]:
    def note(
        execute: Callable[..., Any], sql: str, params: Any, many: bool, context: object
    ) -> Any:
        if sql.startswith("SELECT"):
            asked.append((sql, params))
        return execute(sql, params, many, context)

    return note


def _plan(sql: str, params: Any) -> list[str]:
    with connection.cursor() as cursor:
        cursor.execute(f"EXPLAIN QUERY PLAN {sql}", params)
        return [row[3] for row in cursor.fetchall()]


def test_a_scan_is_told_from_a_search() -> None:
    sql = 'SELECT 1 FROM "servicing_record" U0 WHERE U0."note" = %s'
    assert scanned(sql, ["SCAN U0"]) == {"servicing_record"}
    assert scanned(sql, ["SEARCH U0 USING INDEX x (note=?)"]) == set()
    assert scanned('SELECT 1 FROM "registry_site"', ["SCAN registry_site"]) == set()
    newest = 'SELECT 1 FROM "servicing_record" ORDER BY "number" DESC LIMIT 5'
    assert scanned(newest, ["SCAN servicing_record USING INDEX n"]) == set()
    sorts = ["SCAN servicing_record", "USE TEMP B-TREE FOR ORDER BY"]
    assert scanned(newest, sorts) == {"servicing_record"}

"""No SQL changes a row of any guarded table, but to close it once: A5, A6, X1, X3."""

from datetime import UTC, date, datetime
from typing import Any

import pytest
from django.db import IntegrityError, connection, transaction

from registry.items.models import Item
from registry.trail import guards
from registry.trail.guards import Guarded
from servicing.rules.models import RuleProposal
from tests.servicing.ledger.test_measured import measure
from tests.use_cases import AT, USE_CASES, Register, register

__all__ = ["register"]

ON_SQLITE = connection.vendor == "sqlite"
LATER = datetime(2027, 1, 2, 3, 4, 5, tzinfo=UTC)


def sql(statement: str, *values: int | date) -> None:
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement, values)


def rows(table: str) -> list[tuple[Any, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT * FROM {table} ORDER BY id")
        return list(cursor.fetchall())


def roads(guarded: Guarded) -> dict[str, str]:
    """Return the statements that must fail on a table, by what they try."""
    table = guarded.table
    columns = ", ".join(f'"{column}"' for column in guarded.columns)
    tried = {f"update of {name}": f'UPDATE {table} SET "{name}" = NULL' for name in guarded.columns}
    tried |= {
        "update to the same": f"UPDATE {table} SET id = id",
        "update of the id": f"UPDATE {table} SET id = id + 1000",
        "delete": f"DELETE FROM {table}",
        "insert over it": f"INSERT INTO {table} ({columns}) SELECT {columns} FROM {table}",
    }
    if ON_SQLITE:
        return tried | {
            "replace": f"REPLACE INTO {table} ({columns}) SELECT {columns} FROM {table}",
            "update or replace": f"UPDATE OR REPLACE {table} SET id = id",
        }
    return tried | {
        "truncate": f"SET CONSTRAINTS ALL IMMEDIATE; TRUNCATE {table} CASCADE",
        "upsert": f"INSERT INTO {table} ({columns}) SELECT {columns} FROM {table}"
        " ON CONFLICT (id) DO UPDATE SET id = EXCLUDED.id",
        "merge": f"MERGE INTO {table} a USING {table} b ON a.id = b.id"
        " WHEN MATCHED THEN UPDATE SET id = a.id",
    }


def test_no_statement_changes_a_row_of_any_guarded_table(register: Register) -> None:
    for deed in USE_CASES.values():
        deed(register)
    measure(Item.objects.order_by("pk")[0].pk, [("G-1", "")])
    assert len(guards.guarded()) == 18
    for guarded in guards.guarded():
        before = rows(guarded.table)
        assert before, guarded.table
        for road, statement in roads(guarded).items():
            with pytest.raises(IntegrityError):
                sql(statement)
            assert rows(guarded.table) == before, f"{guarded.table}: {road}"


def test_a_row_is_closed_once_and_nothing_else_changes_with_it(register: Register) -> None:
    for deed in USE_CASES.values():
        deed(register)
    for guarded in (each for each in guards.guarded() if each.closes):
        table, closes = guarded.table, guarded.closes
        closed = f'"{closes}" IS NOT NULL'
        with connection.cursor() as cursor:
            cursor.execute(f"SELECT max(id) FROM {table} WHERE {closed}")
            (shut,) = cursor.fetchone()
            cursor.execute(f"SELECT max(id) FROM {table} WHERE NOT {closed}")
            (open_,) = cursor.fetchone()
        before = rows(table)
        moment = LATER.date() if closes.endswith("_on") else LATER
        for column in guarded.columns:
            same = f'"{column}"'
            for pk, value in ((shut, same), (shut, "NULL"), (open_, same)):
                if pk is None or (pk == open_ and column == closes):
                    continue
                with pytest.raises(IntegrityError):
                    sql(f'UPDATE {table} SET "{column}" = {value} WHERE id = {pk}')
        if open_ is not None:
            with pytest.raises(IntegrityError):
                sql(
                    f'UPDATE {table} SET "{closes}" = %s, id = id + 1000 WHERE id = %s',
                    moment,
                    open_,
                )
        assert rows(table) == before, table


def test_a_proposal_is_decided_once_whatever_the_statement(register: Register) -> None:
    USE_CASES["approve_rule"](register)
    decided, waiting = RuleProposal.objects.order_by("pk")
    for words in ("remark = 'x'", "outcome = 'rejected', remark = 'x'", "rule_id = ''"):
        for pk in (decided.pk, waiting.pk):
            with pytest.raises(IntegrityError):
                sql(f"UPDATE servicing_ruleproposal SET {words} WHERE id = %s", pk)
    with pytest.raises(IntegrityError):
        sql(
            "UPDATE servicing_ruleproposal SET outcome = 'rejected', remark = 'no', row = '{}',"
            " decided_at = %s, decided_by_id = %s WHERE id = %s",
            AT,
            register.second.pk,
            waiting.pk,
        )
    USE_CASES["reject_rule"](register)
    assert [each.outcome for each in RuleProposal.objects.order_by("pk")] == [
        "approved",
        "rejected",
    ]

"""On PostgreSQL the program serves under a role that can't touch the ledger: B31, A5, X3."""

import io
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import pytest
from django.core.management import CommandError, call_command
from django.db import ProgrammingError, connection, transaction
from django.test import Client

from registry.trail.guards import guarded
from servicing.ledger.models import Record
from servicing.ledger.queries.whole import ledger_faults
from servicing.oversight.queries import why_not_serve
from tests.conftest import lacking
from tests.people import PASSWORD
from tests.use_cases import USE_CASES, Register, make_register

ROLE, WORD = "neckring_serving", "only-for-tests"
ON_POSTGRESQL = pytest.mark.skipif(connection.vendor != "postgresql", reason="of PostgreSQL")


def sql(statement: str) -> None:
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement)


@contextmanager
def as_role(name: str, password: str) -> Iterator[None]:
    """Connect as another role; as before afterwards."""
    usual = {key: connection.settings_dict[key] for key in ("USER", "PASSWORD")}
    connection.close()
    connection.settings_dict.update(USER=name, PASSWORD=password)
    try:
        yield
    finally:
        connection.close()
        connection.settings_dict.update(usual)


@pytest.fixture
def serving(transactional_db: None) -> Iterator[Register]:
    """A register that the owner made, seen by the role that serves."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT 1 FROM pg_roles WHERE rolname = %s", [ROLE])
        if cursor.fetchone() is None:
            lacking(f"the role {ROLE}", f"CREATE ROLE {ROLE} LOGIN PASSWORD '{WORD}'")
    register, statements = make_register(), io.StringIO()
    call_command("grants", ROLE, stdout=statements)
    sql(statements.getvalue())
    with as_role(ROLE, WORD):
        yield register


@ON_POSTGRESQL
def test_the_serving_role_does_all_the_work_and_nothing_else(serving: Register) -> None:
    with connection.cursor() as cursor:
        cursor.execute("SELECT current_user")
        assert cursor.fetchone() == (ROLE,)
    assert why_not_serve() == ""
    for deed in USE_CASES.values():
        deed(serving)
    client = Client()
    assert client.post("/sign-in/", {"username": "tekla", "password": PASSWORD}).status_code == 302
    assert client.get("/items/").status_code == 200
    assert client.get("/ready").status_code == 200
    assert list(ledger_faults()) == []


FORBIDDEN: dict[str, Callable[[str], str]] = {
    "update": lambda table: f"UPDATE {table} SET id = id",
    "delete": lambda table: f"DELETE FROM {table}",
    "truncate": lambda table: f"TRUNCATE {table} CASCADE",
    "upsert": lambda table: (
        f"INSERT INTO {table} SELECT * FROM {table} ON CONFLICT (id) DO UPDATE SET id = EXCLUDED.id"
    ),
    "alter": lambda table: f"ALTER TABLE {table} ADD COLUMN more text",
    "drop": lambda table: f"DROP TABLE {table} CASCADE",
    "disable its guards": lambda table: f"ALTER TABLE {table} DISABLE TRIGGER USER",
    "a guard of its own": lambda table: (
        f"CREATE TRIGGER a BEFORE INSERT ON {table}"
        f" FOR EACH ROW EXECUTE FUNCTION refuse_change_of_{table}()"
    ),
    "rewrite what its guards do": lambda table: (
        "CREATE OR REPLACE FUNCTION"
        f" refuse_change_of_{table}() RETURNS trigger LANGUAGE plpgsql"
        " AS $$ BEGIN RETURN NEW; END $$"
    ),
    "silence all guards": lambda _: "SET LOCAL session_replication_role = replica",
}


@ON_POSTGRESQL
def test_the_serving_role_is_refused_what_it_need_not_do(serving: Register) -> None:
    before = Record.objects.count()
    for each in guarded():
        for name, statement in FORBIDDEN.items():
            with pytest.raises(ProgrammingError, match=r"permission denied|must be owner"):
                sql(statement(each.table))
            assert Record.objects.count() == before, name
    with pytest.raises(ProgrammingError, match="permission denied"):
        sql("INSERT INTO django_migrations (app, name, applied) VALUES ('a', 'b', now())")


@pytest.mark.parametrize("role", ["a b", "public; DROP TABLE x", "Robert'"])
def test_what_is_no_name_of_a_role_is_refused(role: str) -> None:
    with pytest.raises(CommandError, match="no plain name"):
        call_command("grants", role)

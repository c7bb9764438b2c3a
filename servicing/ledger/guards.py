"""Database triggers that keep the ledger append-only, whoever holds the connection.

They are put in place after every migration, for SQLite drops a table's triggers
silently when a column is altered, and `manage.py check --database default` finds a
missing one. A REPLACE on SQLite runs no delete trigger, so the insert trigger refuses
any row that would take the place of another.
"""

from collections.abc import Sequence
from typing import Any

from django.core.checks import CheckMessage, Error, Tags, register
from django.db import connections
from django.db.backends.base.base import BaseDatabaseWrapper

TABLE = "servicing_record"
_WORDS = "a ledger record is never changed or deleted; enter a correction"

_SQLITE = {
    "record_no_update": f"""
        BEFORE UPDATE ON {TABLE} BEGIN SELECT RAISE(ABORT, '{_WORDS}'); END""",
    "record_no_delete": f"""
        BEFORE DELETE ON {TABLE} BEGIN SELECT RAISE(ABORT, '{_WORDS}'); END""",
    "record_no_replace": f"""
        BEFORE INSERT ON {TABLE} WHEN EXISTS (
            SELECT 1 FROM {TABLE} WHERE id = NEW.id
            UNION ALL SELECT 1 FROM {TABLE} WHERE hash = NEW.hash
            UNION ALL SELECT 1 FROM {TABLE} WHERE entry_key = NEW.entry_key
            UNION ALL SELECT 1 FROM {TABLE}
                WHERE item_id = NEW.item_id AND position = NEW.position
        ) BEGIN SELECT RAISE(ABORT, 'UNIQUE: {_WORDS}'); END""",
}
_POSTGRESQL = {
    "record_no_change": f"BEFORE UPDATE OR DELETE ON {TABLE} FOR EACH ROW",
    "record_no_truncate": f"BEFORE TRUNCATE ON {TABLE} FOR EACH STATEMENT",
}
_POSTGRESQL_FUNCTION = f"""
    CREATE OR REPLACE FUNCTION refuse_ledger_change() RETURNS trigger LANGUAGE plpgsql AS $$
    BEGIN RAISE EXCEPTION '{_WORDS}' USING ERRCODE = 'integrity_constraint_violation'; END $$
"""


def install(connection: BaseDatabaseWrapper) -> None:
    """Put the guards in place; those that are there already stay."""
    absent = missing(connection)
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql" and absent:
            cursor.execute(_POSTGRESQL_FUNCTION)
        for name in absent:
            if connection.vendor == "postgresql":
                what = _POSTGRESQL[name]
                cursor.execute(
                    f"CREATE TRIGGER {name} {what} EXECUTE FUNCTION refuse_ledger_change()"
                )
            else:
                cursor.execute(f"DROP TRIGGER IF EXISTS {name}")
                cursor.execute(_sqlite(name))


def remove(connection: BaseDatabaseWrapper) -> None:
    """Take the guards away. Only the tests do this, to empty a test database."""
    names = _expected(connection) - set(missing(connection))
    on_table = f" ON {TABLE}" if connection.vendor == "postgresql" else ""
    with connection.cursor() as cursor:
        for name in sorted(names):
            cursor.execute(f"DROP TRIGGER {name}{on_table}")


def missing(connection: BaseDatabaseWrapper) -> list[str]:
    """Return the names of the guards that are not in place, switched-off ones included."""
    if connection.vendor == "postgresql":
        query = (
            f"SELECT tgname FROM pg_trigger WHERE tgrelid = '{TABLE}'::regclass"
            " AND tgenabled IN ('O', 'A')"
        )
    else:
        query = (
            f"SELECT name, sql FROM sqlite_master WHERE type = 'trigger' AND tbl_name = '{TABLE}'"
        )
    with connection.cursor() as cursor:
        cursor.execute(query)
        # A trigger with a guard's name that does something else is no guard.
        present = {name for name, *sql in cursor.fetchall() if sql in ([], [_sqlite(name)])}
    return sorted(_expected(connection) - present)


def install_after_migrate(*, using: str, **_: Any) -> None:
    """Put the guards in place after a migration, where the ledger's table exists."""
    connection = connections[using]
    if TABLE in connection.introspection.table_names():
        install(connection)


@register(Tags.database)
def guards_in_place(*, databases: Sequence[str] | None = None, **_: Any) -> list[CheckMessage]:
    """Report each guard that is missing, for `manage.py check --database default`."""
    found: list[CheckMessage] = []
    for alias in databases or []:
        connection = connections[alias]
        if TABLE in connection.introspection.table_names():
            found += [
                Error(
                    f"The ledger's guard {name} is missing in database {alias}.",
                    hint="Run manage.py migrate, then manage.py verify_ledger.",
                    id="servicing.E001",
                )
                for name in missing(connection)
            ]
    return found


def _sqlite(name: str) -> str:
    return f"CREATE TRIGGER {name} {_SQLITE.get(name, '')}"


def _expected(connection: BaseDatabaseWrapper) -> set[str]:
    return set(_POSTGRESQL if connection.vendor == "postgresql" else _SQLITE)

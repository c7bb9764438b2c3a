"""Database triggers that keep tables append-only, whoever holds the connection.

They are put in place after every migration, for SQLite drops a table's triggers
silently when a column is altered, and `manage.py check --database default` finds one that
is missing, switched off, or does something else than it should. A REPLACE on SQLite runs
no delete trigger, so the insert trigger refuses any row that would take the place of another.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.conf import settings
from django.core.checks import CheckMessage, Error, Tags, register
from django.db import connections, models
from django.db.backends.base.base import BaseDatabaseWrapper

_GUARDED: dict[str, "Guarded"] = {}


@dataclass(frozen=True, slots=True)
class Guarded:
    """A table whose rows are only added.

    closes: the one column that may be filled once, where it was empty; "" for none.
    along: columns that may change with it, in the statement that fills it and in no other.
    """

    model: type[models.Model]
    closes: str = ""
    along: tuple[str, ...] = ()

    @property
    def table(self) -> str:
        return self.model._meta.db_table

    @property
    def words(self) -> str:
        """What a refused change is told. Without an apostrophe, for it stands in SQL."""
        name = self.model._meta.verbose_name
        return f"a {name} is never changed or deleted; enter a new one"

    @property
    def columns(self) -> list[str]:
        return [str(field.column) for field in self.model._meta.concrete_fields]

    @property
    def unique_keys(self) -> list[tuple[list[str], list[str]]]:
        """Every unique key, the primary one included: its columns, and those that must be empty."""
        alone: list[tuple[list[str], list[str]]] = [
            ([str(f.column)], []) for f in self.model._meta.concrete_fields if f.unique
        ]
        together = [
            (self._columns_of(key.fields), self._columns_of(_empty_in(key)))
            for key in self.model._meta.constraints
            if isinstance(key, models.UniqueConstraint)
        ]
        return [*alone, *together]

    def _columns_of(self, names: Sequence[str]) -> list[str]:
        fields = {field.name: str(field.column) for field in self.model._meta.concrete_fields}
        return [fields[name] for name in names]


def guard(model: type[models.Model], *, closes: str = "", along: tuple[str, ...] = ()) -> None:
    """Have a table kept append-only from the next migration on. For an app's `ready`."""
    _GUARDED[model._meta.db_table] = Guarded(model, closes, along)


def guarded() -> list[Guarded]:
    """Return what is guarded, by the name of its table."""
    return [each for _, each in sorted(_GUARDED.items())]


def install(connection: BaseDatabaseWrapper) -> None:
    """Put the guards in place on the tables that exist; those that are there already stay."""
    with connection.cursor() as cursor:
        for table in _present(connection):
            for name in _missing(connection, table):
                for statement in _statements(connection, table, name):
                    cursor.execute(statement)


def remove(connection: BaseDatabaseWrapper) -> None:
    """Take the guards away. Only the tests do this, to empty a test database."""
    with connection.cursor() as cursor:
        for table in _present(connection):
            on_table = f" ON {table.table}" if connection.vendor == "postgresql" else ""
            for name in _triggers(connection, table):
                cursor.execute(f"DROP TRIGGER IF EXISTS {name}{on_table}")


def missing(connection: BaseDatabaseWrapper) -> list[str]:
    """Return the names of the guards that are not in place, switched-off ones included."""
    names = [name for table in _present(connection) for name in _missing(connection, table)]
    return sorted(names)


def install_after_migrate(*, using: str, **_: Any) -> None:
    """Put the guards in place after a migration."""
    install(connections[using])


@register(Tags.database)
def guards_in_place(*, databases: Sequence[str] | None = None, **_: Any) -> list[CheckMessage]:
    """Report each guard that is missing, for `manage.py check --database default`."""
    return [
        Error(
            f"The guard {name} is missing in database {alias}.",
            hint=f"Run {settings.PROGRAM} migrate, then {settings.PROGRAM} verify_ledger.",
            id="registry.E001",
        )
        for alias in databases or []
        for name in missing(connections[alias])
    ]


def _present(connection: BaseDatabaseWrapper) -> list[Guarded]:
    tables = set(connection.introspection.table_names())
    return [each for each in guarded() if each.table in tables]


def _missing(connection: BaseDatabaseWrapper, guarded: Guarded) -> list[str]:
    wanted = _triggers(connection, guarded)
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(_IN_PLACE, [guarded.table, f"refuse_change_of_{guarded.table}"])
            body = _body(guarded)
            kinds = {name: _KINDS[name.rpartition("_")[2]] for name in wanted}
            present = {n for n, kind, does in cursor if kinds.get(n) == kind and does == body}
        else:
            cursor.execute(
                "SELECT name, sql FROM sqlite_master WHERE type = 'trigger' AND tbl_name = %s",
                [guarded.table],
            )
            present = {name for name, sql in cursor if sql == wanted.get(name)}
    return sorted(wanted.keys() - present)


# A trigger with a guard's name that does something else is no guard.
_IN_PLACE = """
    SELECT tgname, tgtype, prosrc FROM pg_trigger JOIN pg_proc ON pg_proc.oid = tgfoid
    WHERE tgrelid = %s::regclass AND proname = %s AND tgenabled IN ('O', 'A')
        AND tgqual IS NULL AND tgattr = ''::int2vector"""
_KINDS = {"update": 1 + 2 + 16, "delete": 1 + 2 + 8, "truncate": 2 + 32}
"""PostgreSQL's pg_trigger.tgtype: 1 for each row, 2 before, 8 DELETE, 16 UPDATE, 32 TRUNCATE."""


def _statements(connection: BaseDatabaseWrapper, guarded: Guarded, name: str) -> list[str]:
    create = _triggers(connection, guarded)[name]
    if connection.vendor == "postgresql":
        return [_function(guarded), f"DROP TRIGGER IF EXISTS {name} ON {guarded.table}", create]
    return [f"DROP TRIGGER IF EXISTS {name}", create]


def _triggers(connection: BaseDatabaseWrapper, guarded: Guarded) -> dict[str, str]:
    """Return the statement that makes each guard of a table, by the guard's name."""
    stem = guarded.model._meta.model_name
    if connection.vendor == "postgresql":
        run = f"EXECUTE FUNCTION refuse_change_of_{guarded.table}()"
        return {
            f"{stem}_no_update": f"CREATE TRIGGER {stem}_no_update BEFORE UPDATE"
            f" ON {guarded.table} FOR EACH ROW {run}",
            f"{stem}_no_delete": f"CREATE TRIGGER {stem}_no_delete BEFORE DELETE"
            f" ON {guarded.table} FOR EACH ROW {run}",
            f"{stem}_no_truncate": f"CREATE TRIGGER {stem}_no_truncate BEFORE TRUNCATE"
            f" ON {guarded.table} FOR EACH STATEMENT {run}",
        }
    only = f" WHEN {_forbidden(guarded, 'IS NOT')}" if guarded.closes else ""
    refuse = f"BEGIN SELECT RAISE(ABORT, '{guarded.words}'); END"
    taken = " UNION ALL ".join(_taken(guarded.table, key) for key in guarded.unique_keys)
    return {
        f"{stem}_no_update": f"CREATE TRIGGER {stem}_no_update BEFORE UPDATE"
        f" ON {guarded.table}{only} {refuse}",
        f"{stem}_no_delete": f"CREATE TRIGGER {stem}_no_delete BEFORE DELETE"
        f" ON {guarded.table} {refuse}",
        f"{stem}_no_replace": f"CREATE TRIGGER {stem}_no_replace BEFORE INSERT"
        f" ON {guarded.table} WHEN EXISTS ({taken})"
        f" BEGIN SELECT RAISE(ABORT, 'UNIQUE: {guarded.words}'); END",
    }


def _forbidden(guarded: Guarded, differs: str) -> str:
    """Return the condition under which an update is more than filling the closing columns."""
    may_change = {guarded.closes, *guarded.along}
    others = [column for column in guarded.columns if column not in may_change]
    changed = " OR ".join(f'NEW."{column}" {differs} OLD."{column}"' for column in others)
    once = f'OLD."{guarded.closes}" IS NOT NULL OR NEW."{guarded.closes}" IS NULL'
    return f"{once} OR {changed}"


def _empty_in(key: models.UniqueConstraint) -> list[str]:
    """Return the fields that must be empty for a key to count; we use no other condition."""
    return [] if key.condition is None else [name for name, _ in key.condition.children]  # type: ignore[misc]


def _taken(table: str, key: tuple[list[str], list[str]]) -> str:
    columns, empty = key
    same = [f'"{column}" = NEW."{column}"' for column in columns]
    same += [f'"{column}" IS NULL AND NEW."{column}" IS NULL' for column in empty]
    return f"SELECT 1 FROM {table} WHERE {' AND '.join(same)}"


def _function(guarded: Guarded) -> str:
    return (
        f"CREATE OR REPLACE FUNCTION refuse_change_of_{guarded.table}() RETURNS trigger"
        f" LANGUAGE plpgsql AS $${_body(guarded)}$$"
    )


def _body(guarded: Guarded) -> str:
    """Return what the function of a table's guards does on PostgreSQL."""
    closing = ""
    if guarded.closes:
        closing = f"""IF TG_OP = 'UPDATE' THEN
                IF NOT ({_forbidden(guarded, "IS DISTINCT FROM")}) THEN RETURN NEW; END IF;
            END IF;
            """
    return f""" BEGIN
            {closing}RAISE EXCEPTION '{guarded.words}'
                USING ERRCODE = 'integrity_constraint_violation';
        END """

"""No part in two sets and no two parts in one place, on any day, whoever writes.

Two open rows are kept apart by unique indexes; a closed span that overlaps another is
refused by an exclusion constraint on PostgreSQL and by a trigger on SQLite. Days are
half open: what came out on a day leaves that day to what went in. That rows are never
edited except to close them is the guard of `registry.trail.guards`.
"""

from collections.abc import Sequence
from typing import Any

from django.conf import settings
from django.core.checks import CheckMessage, Error, Tags, register
from django.db import connections
from django.db.backends.base.base import BaseDatabaseWrapper

from registry.sets.pure.places import Place

TABLE = "registry_fitting"
_PLACES = ",".join(f"'{place.value}'" for place in Place)
# No extension is needed: whole numbers as ranges of one are equal where they overlap.
_PLACE = f"array_position(ARRAY[{_PLACES}]::text[], place::text)"
_POSTGRESQL = {
    "fitting_part_no_overlap": "int8range(part_id, part_id, '[]') WITH &&",
    "fitting_place_no_overlap": (
        f"int8range(set_id, set_id, '[]') WITH &&, int4range({_PLACE}, {_PLACE}, '[]') WITH &&"
    ),
}
_OVERLAPS = """
    fitted_on < COALESCE(NEW.removed_on, '9999-12-31')
    AND NEW.fitted_on < COALESCE(removed_on, '9999-12-31')
    AND fitted_on < COALESCE(removed_on, '9999-12-31')
    AND NEW.fitted_on < COALESCE(NEW.removed_on, '9999-12-31')"""
_SQLITE = {
    "fitting_part_no_overlap": (
        "part_id = NEW.part_id",
        "UNIQUE: a part is in one set at a time; take it out of the other first",
    ),
    "fitting_place_no_overlap": (
        "set_id = NEW.set_id AND place = NEW.place",
        "UNIQUE: a place of a set holds one part at a time; take the other out first",
    ),
}


def install(connection: BaseDatabaseWrapper) -> None:
    """Put the guards in place where the table exists; those that are there already stay."""
    with connection.cursor() as cursor:
        for name in missing(connection):
            cursor.execute(_statement(connection, name))


def missing(connection: BaseDatabaseWrapper) -> list[str]:
    """Return the names of the guards that are not in place."""
    with connection.cursor() as cursor:
        if TABLE not in connection.introspection.table_names(cursor):
            return []
        if connection.vendor == "postgresql":
            cursor.execute(
                "SELECT conname FROM pg_constraint"
                f" WHERE conrelid = '{TABLE}'::regclass AND contype = 'x'"
            )
        else:
            cursor.execute(
                "SELECT name, sql FROM sqlite_master"
                f" WHERE type = 'trigger' AND tbl_name = '{TABLE}'"
            )
        present = {
            name
            for name, *sql in cursor.fetchall()
            if not sql or (name in _SQLITE and sql == [_statement(connection, name)])
        }
    return sorted(_SQLITE.keys() - present)


def install_after_migrate(*, using: str, **_: Any) -> None:
    """Put the guards in place after a migration."""
    install(connections[using])


@register(Tags.database)
def guards_in_place(*, databases: Sequence[str] | None = None, **_: Any) -> list[CheckMessage]:
    """Report each guard that is missing, for `manage.py check --database default`."""
    return [
        Error(
            f"The guard {name} is missing in database {alias}.",
            hint=f"Run {settings.PROGRAM} migrate.",
            id="registry.E002",
        )
        for alias in databases or []
        for name in missing(connections[alias])
    ]


def _statement(connection: BaseDatabaseWrapper, name: str) -> str:
    if connection.vendor == "postgresql":
        spans = "daterange(fitted_on, removed_on) WITH &&"
        return (
            f"ALTER TABLE {TABLE} ADD CONSTRAINT {name}"
            f" EXCLUDE USING gist ({_POSTGRESQL[name]}, {spans})"
        )
    same, words = _SQLITE[name]
    return (
        f"CREATE TRIGGER {name} BEFORE INSERT ON {TABLE} WHEN EXISTS ("
        f"SELECT 1 FROM {TABLE} WHERE {same} AND {_OVERLAPS})"
        f" BEGIN SELECT RAISE(ABORT, '{words}'); END"
    )

"""Worlds that are made once and put back: what a fixture writes, kept as rows.

Loading the rule tables, or entering people and items, by the road that people take costs
more than most tests that stand on them. What such a making writes hangs on the register it
finds and on the day, so its rows are kept for that register and put back when another test
comes to the same place. Every test still has a world to itself, in its own transaction or
undone after it.
"""

import io
import pickle
import sqlite3
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass
from typing import Any, ParamSpec, TypeVar

from django.apps import apps
from django.db import connection, models, transaction
from django.db.backends.utils import CursorWrapper

from registry.sets import guards as guards_of_sets
from registry.sites.clock import now
from registry.trail import guards
from registry.trail.models import TrailEntry

Asked = ParamSpec("Asked")
Made = TypeVar("Made")
Rows = dict[str, list[Any]]
"""The rows of each table that has any; on PostgreSQL as the lines of text that COPY reads."""


@dataclass(frozen=True)
class World:
    """What a making wrote, and what it gave back."""

    rows: Rows
    made: bytes


class Worlds:
    """Everything that was made in a session, by what it was made of."""

    def __init__(self) -> None:
        self._kept: dict[Hashable, World] = {}

    def __call__(
        self, make: Callable[Asked, Made], *args: Asked.args, **known: Asked.kwargs
    ) -> Made:
        """Return what the making gives, its rows in the database; make it only the first time.

        The making may add rows and no more: where it changes one that it finds, the first
        call raises AssertionError. It hangs on nothing but the register, its arguments
        (rows of the register, or plain values) and the hour.
        """
        given = [*args, *known.values()]
        with transaction.atomic(), connection.cursor() as cursor:
            place = (make.__module__, make.__qualname__, *map(_told, given), *known)
            place += (now().replace(minute=0, second=0, microsecond=0), _found(cursor))
            if world := self._kept.get(place):
                _insert(cursor, world.rows)
            else:
                before = _all_rows(cursor)
                made = _pickled(make(*args, **known), given)
                world = self._kept[place] = World(_added(before, _all_rows(cursor)), made)
        found: Made = _unpickled(world.made, given)
        return found


def _told(given: Any) -> Hashable:
    """Return by what an argument is told from others."""
    return (given._meta.label, given.pk) if isinstance(given, models.Model) else given


def _pickled(made: object, given: Sequence[object]) -> bytes:
    """Keep what was made; what was given stands in it by its place among the arguments."""
    places = {id(one): place for place, one in enumerate(given)}
    into = io.BytesIO()
    pickler = pickle.Pickler(into)
    pickler.persistent_id = lambda one: places.get(id(one))  # type: ignore[method-assign]
    pickler.dump(made)
    return into.getvalue()


def _unpickled(made: bytes, given: Sequence[object]) -> Any:
    unpickler = pickle.Unpickler(io.BytesIO(made))
    unpickler.persistent_load = lambda place: given[place]  # type: ignore[method-assign]
    return unpickler.load()


def _added(before: Rows, after: Rows) -> Rows:
    """Return the rows that came; none may have gone or be another one now."""
    added = {}
    for table in before.keys() | after.keys():
        held, holds = set(before.get(table, [])), after.get(table, [])
        assert held <= set(holds), f"rows of {table} were changed: make all of it in one world"
        if new := [row for row in holds if row not in held]:
            added[table] = new
    return added


class EmptyRegister:
    """The database as it is after the migrations, to be had again without migrating.

    It takes the place of a flush, which empties every table, puts the guards and the roles
    back by hand and leaves other keys than it found.
    """

    def __init__(self) -> None:
        with connection.cursor() as cursor:
            self._rows = _all_rows(cursor)
        if connection.vendor == "sqlite":
            self._file = sqlite3.connect(":memory:", check_same_thread=False)
            connection.connection.backup(self._file)

    def put_back(self) -> None:
        """Undo whatever was written since, guards that were taken away included."""
        if connection.vendor == "sqlite":
            connection.ensure_connection()
            self._file.backup(connection.connection)
            return
        with transaction.atomic(), connection.cursor() as cursor:
            held = _all_rows(cursor)
            other = [
                table for table in _columns() if held.get(table, []) != self._rows.get(table, [])
            ]
            for table in other:
                cursor.execute(f"ALTER TABLE {table} DISABLE TRIGGER USER")
                cursor.execute(f"DELETE FROM {table}")
            _insert(cursor, {table: self._rows[table] for table in other if table in self._rows})
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
            for table in other:
                cursor.execute(f"ALTER TABLE {table} ENABLE TRIGGER USER")
        guards.install(connection)
        guards_of_sets.install(connection)


def _columns() -> dict[str, list[str]]:
    """Return every table that has a model, with its columns in quotes."""
    return {
        model._meta.db_table: [f'"{field.column}"' for field in model._meta.concrete_fields]
        for model in apps.get_models(include_auto_created=True)
        if not model._meta.proxy
    }


def _found(cursor: CursorWrapper) -> tuple[object, ...]:
    """Return what tells one register from another: how many rows, the last keys, the trail.

    The latest link of the trail's chain stands for all that was noted before it.
    """
    trail = TrailEntry._meta.db_table
    asked = [f"(SELECT hash FROM {trail} ORDER BY number DESC LIMIT 1)"]
    for table, columns in _columns().items():
        asked.append(f"(SELECT count(*) FROM {table})")
        if '"id"' in columns:
            asked.append(f"(SELECT max(id) FROM {table})")
    cursor.execute(f"SELECT {', '.join(asked)}")
    (row,) = cursor.fetchall()
    return tuple(row)


def _all_rows(cursor: CursorWrapper) -> Rows:
    """Return the rows of every table that has any."""
    found: Rows = {}
    for table, columns in _columns().items():
        if connection.vendor == "postgresql":
            with cursor.copy(f"COPY {table} ({', '.join(columns)}) TO STDOUT") as lines:
                rows = [bytes(line) for line in lines]
        else:
            # The sign keeps values as they are stored: nothing is made a day or a truth value.
            cursor.execute(f"SELECT {', '.join(f'+{name}' for name in columns)} FROM {table}")
            rows = cursor.fetchall()
        if rows:
            found[table] = rows
    return found


def _insert(cursor: CursorWrapper, rows: Rows) -> None:
    """Write rows as they lay; what is added after them goes on counting from their keys."""
    known = _columns()
    for table, new in rows.items():
        columns = ", ".join(known[table])
        if connection.vendor == "postgresql":
            with cursor.copy(f"COPY {table} ({columns}) FROM STDIN") as into:
                into.write(b"".join(new))
        else:
            marks = ", ".join("?" * len(known[table]))
            connection.connection.executemany(
                f"INSERT INTO {table} ({columns}) VALUES ({marks})", new
            )
    if connection.vendor == "postgresql":
        _count_on(cursor, list(rows))


def _count_on(cursor: CursorWrapper, tables: Sequence[str]) -> None:
    """Have PostgreSQL give the next row of a table a key above those that it holds."""
    ids = [table for table in tables if '"id"' in _columns()[table]]
    asked = [
        f"setval(pg_get_serial_sequence('{table}', 'id'), (SELECT max(id) FROM {table}))"
        for table in ids
    ]
    if asked:
        cursor.execute(f"SELECT {', '.join(asked)}")

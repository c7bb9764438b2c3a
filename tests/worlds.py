"""Worlds that are made once and put back: what a fixture writes, kept as rows.

Loading the rule tables, or entering people and items, by the road that people take costs
more than most tests that stand on them. What such a fixture writes hangs on the register it
finds and on the day, so its rows are kept for that register and put back when another test
comes to the same place. Every test still has a world to itself, in its own transaction or
undone after it.
"""

import io
import pickle
import re
import sqlite3
from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass
from functools import wraps
from typing import Any, ParamSpec, TypeVar

import pytest
from django.apps import apps
from django.db import connection, models, transaction
from django.db.backends.utils import CursorWrapper

from registry.sets import guards as guards_of_sets
from registry.sites.clock import now
from registry.trail import guards
from registry.trail.models import TrailEntry

Asked = ParamSpec("Asked")
Made = TypeVar("Made")
Row = tuple[Any, ...]
"""A row as it is stored, its key first; on PostgreSQL the texts that COPY writes."""
Rows = dict[str, dict[Any, Row]]
"""The rows of each table that has any, by their keys."""


def world_fixture(make: Callable[Asked, Made]) -> Callable[Asked, Made]:
    """Make a fixture of a function that writes to the register, in place of `@pytest.fixture`.

    It runs once in a session for each register it is asked in; from then on its rows are
    put back, and a copy of what it returned. So it hangs on nothing but the register, its
    arguments and the hour, sets no clock, and returns plain values and rows of the register.
    """

    @wraps(make)
    def put_back(**given: object) -> Made:
        return _once(make, given)

    return pytest.fixture(put_back)


@dataclass(frozen=True)
class World:
    """What a fixture wrote, and what it gave back.

    changed: by table, key and place of the column, what stands there now.
    """

    added: Rows
    changed: dict[str, dict[Any, dict[int, Any]]]
    gone: dict[str, list[Any]]
    made: bytes


_worlds: dict[Hashable, World] = {}
"""All that was made in this session, by what it was made of."""


def _once(make: Callable[..., Made], given: Mapping[str, object]) -> Made:
    """Make a world, or put back the one that was made of the same."""
    args = list(given.values())
    hour = now().replace(minute=0, second=0, microsecond=0)
    with transaction.atomic(), connection.cursor() as cursor:
        place = (make.__module__, make.__qualname__, _told(args), hour, _found(cursor))
        if world := _worlds.get(place):
            _write(cursor, world)
        else:
            before = _all_rows(cursor)
            made = _pickled(make(**given), args)
            world = _worlds[place] = _difference(before, _all_rows(cursor), made)
    found: Made = _unpickled(world.made, args)
    return found


def _told(given: Any) -> Hashable:
    """Return by what an argument is told from others."""
    if isinstance(given, models.Model):
        return (given._meta.label, given.pk)
    if isinstance(given, dict):
        return _told(list(given.items()))
    if isinstance(given, list | tuple):
        return tuple(map(_told, given))
    alone: object = type(given).__eq__
    if given is not None and alone is object.__eq__:
        raise TypeError(f"{given!r} is equal to nothing else: its world would be made each time")
    return given  # type: ignore[no-any-return]


def _pickled(made: object, args: Sequence[object]) -> bytes:
    """Keep what was made; what was given stands in it by its place among the arguments."""
    places = {id(one): place for place, one in enumerate(args) if one is not None}
    into = io.BytesIO()
    pickler = pickle.Pickler(into)
    pickler.persistent_id = lambda one: places.get(id(one))  # type: ignore[method-assign]
    pickler.dump(made)
    return into.getvalue()


def _unpickled(made: bytes, args: Sequence[object]) -> Any:
    unpickler = pickle.Unpickler(io.BytesIO(made))
    unpickler.persistent_load = lambda place: args[place]  # type: ignore[method-assign]
    return unpickler.load()


def _difference(before: Rows, after: Rows, made: bytes) -> World:
    """Return what leads from one register to another."""
    world = World({}, {}, {}, made)
    for table in before.keys() | after.keys():
        was, became = before.get(table, {}), after.get(table, {})
        world.added[table] = {key: row for key, row in became.items() if key not in was}
        world.gone[table] = [key for key in was if key not in became]
        world.changed[table] = {
            key: {
                n: new for n, (old, new) in enumerate(zip(was[key], row, strict=True)) if old != new
            }
            for key, row in became.items()
            if was.get(key, row) != row
        }
    return world


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
            back = _back(_all_rows(cursor), self._rows)
            written = [table for table in _columns() if _writes(back, table)]
            for table in written:
                cursor.execute(f"ALTER TABLE {table} DISABLE TRIGGER USER")
            _write(cursor, back)
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
            for table in written:
                cursor.execute(f"ALTER TABLE {table} ENABLE TRIGGER USER")
        guards.install(connection)
        guards_of_sets.install(connection)


def _back(held: Rows, empty: Rows) -> World:
    """Return what leads back; another row goes and comes anew, for rows may have changed places."""
    world = World({}, {}, {}, b"")
    for table in held.keys() | empty.keys():
        now_is, was = held.get(table, {}), empty.get(table, {})
        world.gone[table] = [key for key, row in now_is.items() if was.get(key) != row]
        world.added[table] = {key: row for key, row in was.items() if now_is.get(key) != row}
    return world


def _columns() -> dict[str, list[str]]:
    """Return every table that has a model, with its columns in quotes, the key first."""
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
                rows = [tuple(bytes(line).rstrip(b"\n").split(b"\t")) for line in lines]
        else:
            # The sign keeps values as they are stored: nothing is made a day or a truth value.
            cursor.execute(f"SELECT {', '.join(f'+{name}' for name in columns)} FROM {table}")
            rows = cursor.fetchall()
        if rows:
            found[table] = {row[0]: row for row in rows}
    return found


def _writes(world: World, table: str) -> bool:
    return any(part.get(table) for part in (world.added, world.changed, world.gone))


def _write(cursor: CursorWrapper, world: World) -> None:
    """Write rows as they lay; what comes after them goes on counting from their keys."""
    written = {table: names for table, names in _columns().items() if _writes(world, table)}
    for table, names in written.items():
        gone = [[_value(key)] for key in world.gone.get(table, [])]
        cursor.executemany(f"DELETE FROM {table} WHERE {names[0]} = %s", gone)
        for key, cells in world.changed.get(table, {}).items():
            columns = ", ".join(f"{names[place]} = %s" for place in cells)
            values = [_value(each) for each in (*cells.values(), key)]
            cursor.execute(f"UPDATE {table} SET {columns} WHERE {names[0]} = %s", values)
    for table, names in written.items():
        if rows := world.added.get(table):
            _add(cursor, table, names, list(rows.values()))
    if connection.vendor == "postgresql":
        _count_on(cursor, [table for table, names in written.items() if names[0] == '"id"'])


def _add(cursor: CursorWrapper, table: str, names: list[str], rows: list[Row]) -> None:
    columns = ", ".join(names)
    if connection.vendor == "postgresql":
        with cursor.copy(f"COPY {table} ({columns}) FROM STDIN") as into:
            into.write(b"".join(b"\t".join(row) + b"\n" for row in rows))
    else:
        marks = ", ".join(["%s"] * len(names))
        cursor.executemany(f"INSERT INTO {table} ({columns}) VALUES ({marks})", rows)


def _value(cell: Any) -> Any:
    """Return what a cell says; one of PostgreSQL is a text as COPY writes it."""
    if not isinstance(cell, bytes) or connection.vendor != "postgresql":
        return cell
    if cell == b"\\N":
        return None
    signs = {b"b": b"\b", b"f": b"\f", b"n": b"\n", b"r": b"\r", b"t": b"\t", b"v": b"\v"}
    return re.sub(rb"\\(.)", lambda found: signs.get(found[1], found[1]), cell).decode()


def _count_on(cursor: CursorWrapper, tables: Sequence[str]) -> None:
    """Have PostgreSQL give the next row of a table a key above those that it holds."""
    asked = [
        f"setval(pg_get_serial_sequence('{table}', 'id'), (SELECT max(id) FROM {table}))"
        for table in tables
    ]
    if asked:
        cursor.execute(f"SELECT {', '.join(asked)}")

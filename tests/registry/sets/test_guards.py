"""No road, raw SQL included, puts a part in two sets or two parts in one place (C8, E10, X1)."""

import hashlib
from datetime import date, timedelta

import pytest
from django.db import IntegrityError, connection, transaction

from registry.items.models import Item
from registry.sets import guards
from registry.sets.models import Fitting
from tests.registry.sets.conftest import DAY, fitted

ON_SQLITE = pytest.mark.skipif(connection.vendor != "sqlite", reason="a road of SQLite")
LATER = DAY + timedelta(days=30)
Span = tuple[date, date | None]


COLUMNS = (
    "set_id, part_id, place, fitted_on, fitted_at, fitted_by, note, confirmed, entry_key,"
    " removed_on, removed_at, removed_by, removal_note, removal_key"
)


def insert(set_item: Item, item: Item, span: Span, verb: str = "INSERT") -> None:
    """Insert a fitting by SQL, past every check of ours."""
    start, end = span
    key = hashlib.sha256(repr((set_item.pk, item.pk, span)).encode()).hexdigest()
    moment = "2026-11-01 08:00:00+00:00"
    closed = (moment, "somebody", "", f"{key[:60]}-out") if end else (None, "", "", None)
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(
            f"{verb} INTO registry_fitting ({COLUMNS}) VALUES"
            " (%s, %s, 'mask', %s, %s, 'x', '', '[]', %s, %s, %s, %s, %s, %s)",
            [set_item.pk, item.pk, start, moment, key, end, *closed],
        )


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ((DAY, None), (DAY, None)),
        ((DAY, None), (LATER, None)),
        ((LATER, None), (DAY, None)),
        ((DAY, LATER), (DAY, LATER)),
        ((DAY, LATER), (DAY + timedelta(days=29), None)),
        ((DAY, None), (DAY - timedelta(days=9), DAY + timedelta(days=1))),
        ((DAY, LATER), (DAY + timedelta(days=3), DAY + timedelta(days=4))),
    ],
)
def test_overlapping_days_are_refused_by_the_database(
    sets: list[Item], masks: list[Item], first: Span, second: Span
) -> None:
    insert(sets[0], masks[0], first)
    with pytest.raises(IntegrityError):
        insert(sets[1], masks[0], second)
    with pytest.raises(IntegrityError):
        insert(sets[0], masks[1], second)
    insert(sets[1], masks[1], second)
    assert Fitting.objects.count() == 2


@pytest.mark.parametrize(
    "second", [(LATER, None), (DAY - timedelta(days=5), DAY), (DAY, DAY), (LATER, LATER)]
)
def test_days_that_only_touch_are_taken(sets: list[Item], masks: list[Item], second: Span) -> None:
    insert(sets[0], masks[0], (DAY, LATER))
    insert(sets[0], masks[1], second)
    insert(sets[1], masks[0], second)
    assert Fitting.objects.count() == 3


@pytest.mark.parametrize(
    "change",
    [
        "fitted_on = '2020-01-01'",
        "place = 'reducer'",
        "note = 'forged'",
        "fitted_by = 'somebody else'",
        "removal_note = 'forged'",
        "removed_on = '2026-04-01'",
        "removed_on = '2020-01-01', removed_at = fitted_at, removed_by = 'x', removal_key = 'k'",
    ],
)
def test_an_open_fitting_is_only_closed_whole(
    sets: list[Item], masks: list[Item], change: str
) -> None:
    fitted(sets[0], masks[0])
    with pytest.raises(IntegrityError), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(f"UPDATE registry_fitting SET {change}")


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE registry_fitting SET removed_on = NULL, removed_at = NULL, removed_by = '',"
        " removal_key = NULL",
        "UPDATE registry_fitting SET removed_on = '2026-05-01'",
        "UPDATE registry_fitting SET removal_note = 'forged'",
        "DELETE FROM registry_fitting",
    ],
)
def test_a_closed_fitting_is_never_changed(
    sets: list[Item], masks: list[Item], statement: str
) -> None:
    insert(sets[0], masks[0], (DAY, LATER))
    with pytest.raises(IntegrityError), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement)
    assert Fitting.objects.get().removed_on == LATER


@ON_SQLITE
def test_replace_takes_no_row_away(sets: list[Item], masks: list[Item]) -> None:
    insert(sets[0], masks[0], (DAY, None))
    for verb in ("REPLACE", "INSERT OR REPLACE"):
        with pytest.raises(IntegrityError):
            insert(sets[0], masks[0], (DAY, None), verb=verb)
    assert Fitting.objects.get().part == masks[0]


def test_the_guards_are_there_after_migrations_and_a_missing_one_is_named(db: None) -> None:
    assert guards.missing(connection) == []
    drop = (
        "ALTER TABLE registry_fitting DROP CONSTRAINT fitting_part_no_overlap"
        if connection.vendor == "postgresql"
        else "DROP TRIGGER fitting_part_no_overlap"
    )
    with connection.cursor() as cursor:
        cursor.execute(drop)
    problems = guards.guards_in_place(databases=["default"])
    assert [problem.id for problem in problems] == ["registry.E002"]
    assert "fitting_part_no_overlap is missing" in problems[0].msg
    guards.install(connection)
    assert guards.missing(connection) == []

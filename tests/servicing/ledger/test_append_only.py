"""No road leads to a changed record: A5, C5, E10 and the traps X1 and X3."""

import tempfile
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from django.core import serializers
from django.core.management import CommandError, call_command
from django.db import IntegrityError, ProgrammingError, connection, models, transaction
from django.db.models import ProtectedError

from registry.items.models import Item
from servicing.ledger.actions import EntryKeyUsedTwice, NewRecord, append_records
from servicing.ledger.models import LedgerIsAppendOnly, Record
from servicing.ledger.queries.whole import broken_links, chain_head
from tests.servicing.ledger.conftest import MOMENT, ledger_rows

Road = Callable[[Record], object]
REFUSALS = (LedgerIsAppendOnly, IntegrityError, ProtectedError, CommandError)
COLUMNS = [str(field.column) for field in Record._meta.concrete_fields]
UNIQUE = {
    **{name: name for name in ("id", "hash", "entry_key", "number")},
    "place": "item_id, position",
}
FRESH = {"id": "9999", "hash": "'new'", "entry_key": "'new'", "number": "4", "position": "4"}
ON_SQLITE = pytest.mark.skipif(connection.vendor != "sqlite", reason="a road of SQLite")
ON_POSTGRESQL = pytest.mark.skipif(connection.vendor != "postgresql", reason="of PostgreSQL")


def sql(statement: str, *values: int) -> None:
    with connection.cursor() as cursor:
        cursor.execute(statement, values)


def copied(record: Record, verb: str = "INSERT", after: str = "", **values: str) -> None:
    """Insert a copy of a row by SQL, with other values in some columns."""
    wanted = ", ".join(values.get(column, column) for column in COLUMNS)
    sql(
        f"{verb} INTO servicing_record ({', '.join(COLUMNS)})"
        f" SELECT {wanted} FROM servicing_record WHERE id = %s {after}",
        record.pk,
    )


def forged(record: Record, verb: str, clash: str, after: str = "") -> None:
    """Insert a copy with another note, whose only clash is with one unique key."""
    kept = "position" if clash == "place" else clash
    fresh = {column: value for column, value in FRESH.items() if column != kept}
    copied(record, verb, after, note="'forged'", **fresh)


def copy_of(record: Record, **changes: object) -> Record:
    """Return an unsaved record with the content of another."""
    content = {field.attname: getattr(record, field.attname) for field in Record._meta.fields}
    return Record(**{**content, "note": "forged", **changes})


def with_note(record: Record) -> Record:
    record.note = "forged"
    return record


def posing_as_new(record: Record) -> None:
    found = with_note(Record.objects.get(pk=record.pk))
    found._state.adding = True
    found.save()


def raw_save(record: Record) -> None:
    with_note(record).save_base(raw=True)


def with_update_conflicts(record: Record) -> None:
    fresh = copy_of(record, pk=None, hash="forged", number=77, position=77)
    Record.objects.bulk_create(
        [fresh], update_conflicts=True, update_fields=["note"], unique_fields=["entry_key"]
    )


def loaded_over(record: Record) -> None:
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "record.json"
        file.write_text(serializers.serialize("json", [with_note(record)]))
        call_command("loaddata", file, verbosity=0)


def delete_writer(record: Record) -> None:
    assert record.entered_by_user is not None
    record.entered_by_user.delete()


THROUGH_DJANGO: dict[str, Road] = {
    "save": lambda r: with_note(r).save(),
    "save-fields": lambda r: with_note(r).save(update_fields=["note"]),
    "save-over-its-key": lambda r: copy_of(r).save(),
    "save-force-insert": lambda r: copy_of(r).save(force_insert=True),
    "save-posing-as-new": posing_as_new,
    "save-raw": raw_save,
    "delete": lambda r: r.delete(),
    "delete-of-the-base-class": models.Model.delete,
    "update": lambda r: Record.objects.filter(pk=r.pk).update(note="forged"),
    "update-of-the-base-manager": lambda r: Record._base_manager.update(note="forged"),
    "update-or-create": lambda r: Record.objects.update_or_create(
        pk=r.pk, defaults={"note": "forged"}
    ),
    "update-of-an-item's-records": lambda r: r.item.records.update(note="forged"),
    "delete-of-a-query": lambda r: Record.objects.filter(pk=r.pk).delete(),
    "delete-of-an-item's-records": lambda r: r.item.records.all().delete(),
    "delete-without-collecting": lambda r: Record.objects.filter(pk=r.pk)._raw_delete("default"),
    "bulk-update": lambda r: Record.objects.bulk_update([with_note(r)], ["note"]),
    "bulk-create": lambda r: Record.objects.bulk_create([copy_of(r)]),
    "bulk-create-update-conflicts": with_update_conflicts,
    "delete-of-the-item": lambda r: r.item.delete(),
    "delete-of-all-items": lambda r: Item.objects.all().delete(),
    "delete-of-the-writer": delete_writer,
    "loaddata": loaded_over,
    "flush": lambda r: call_command("flush", interactive=False, verbosity=0),
}
IN_SQL: dict[str, Road] = {
    "update": lambda r: sql("UPDATE servicing_record SET note = 'forged' WHERE id = %s", r.pk),
    "update-of-all": lambda r: sql("UPDATE servicing_record SET note = 'forged'"),
    "delete": lambda r: sql("DELETE FROM servicing_record WHERE id = %s", r.pk),
    "delete-of-all": lambda r: sql("DELETE FROM servicing_record"),
    "move-to-another-id": lambda r: sql(
        "UPDATE servicing_record SET id = 9999 WHERE id = %s", r.pk
    ),
}
IN_SQLITE: dict[str, Road] = {
    "update-or-replace": lambda r: sql("UPDATE OR REPLACE servicing_record SET note = 'forged'"),
    "update-or-ignore": lambda r: sql("UPDATE OR IGNORE servicing_record SET note = 'forged'"),
    "replace-by-rowid": lambda r: sql(
        f"REPLACE INTO servicing_record (rowid, {', '.join(COLUMNS[1:])})"
        f" SELECT {', '.join(COLUMNS)} FROM servicing_record WHERE id = %s",
        r.pk,
    ),
}
IN_POSTGRESQL: dict[str, Road] = {
    "truncate": lambda r: sql("SET CONSTRAINTS ALL IMMEDIATE; TRUNCATE servicing_record CASCADE"),
    "truncate-of-the-items": lambda r: sql(
        "SET CONSTRAINTS ALL IMMEDIATE; TRUNCATE registry_item CASCADE"
    ),
    "merge": lambda r: sql(
        "MERGE INTO servicing_record r USING servicing_record s ON r.id = s.id"
        " WHEN MATCHED THEN UPDATE SET note = 'forged'"
    ),
}


def rows_of(roads: dict[str, Road], *marks: pytest.MarkDecorator) -> list[Any]:
    return [pytest.param(road, id=name, marks=marks) for name, road in roads.items()]


def refused(road: Road, record: Record) -> None:
    """Try a road; it must be refused with the row's bytes and the chain as they were."""
    before, item = ledger_rows(), Item.objects.get(pk=record.item_id)
    head = chain_head(item)
    with pytest.raises(REFUSALS), transaction.atomic():
        road(record)
    assert ledger_rows() == before
    assert chain_head(item) == head
    assert list(broken_links()) == []


@pytest.mark.parametrize("road", rows_of(THROUGH_DJANGO))
def test_django_finds_no_road_to_change_a_record(chain: list[Record], road: Road) -> None:
    refused(road, chain[1])


@pytest.mark.parametrize(
    "road",
    [
        *rows_of(IN_SQL),
        *rows_of(IN_SQLITE, ON_SQLITE),
        *rows_of(IN_POSTGRESQL, ON_POSTGRESQL),
    ],
)
def test_sql_finds_no_road_to_change_a_record(chain: list[Record], road: Road) -> None:
    refused(road, chain[1])


@ON_SQLITE
@pytest.mark.parametrize("clash", UNIQUE)
@pytest.mark.parametrize("verb", ["REPLACE", "INSERT OR REPLACE", "INSERT OR IGNORE", "INSERT"])
@pytest.mark.parametrize("recursive", ["ON", "OFF"])
def test_sqlite_lets_no_row_take_the_place_of_another(
    chain: list[Record], clash: str, verb: str, recursive: str
) -> None:
    # OFF is what another program's connection has (X1: there REPLACE runs no delete trigger).
    sql(f"PRAGMA recursive_triggers = {recursive}")
    try:
        refused(lambda record: forged(record, verb, clash), chain[1])
    finally:
        sql("PRAGMA recursive_triggers = ON")


@pytest.mark.parametrize("clash", UNIQUE)
def test_a_row_that_exists_is_not_updated_on_conflict(chain: list[Record], clash: str) -> None:
    upsert = f"ON CONFLICT ({UNIQUE[clash]}) DO UPDATE SET note = 'forged'"
    refused(lambda record: forged(record, "INSERT", clash, upsert), chain[1])


def test_a_row_that_exists_stays_where_conflicts_are_ignored(chain: list[Record]) -> None:
    before = ledger_rows()
    # SQLite refuses it; PostgreSQL does nothing and says so.
    with suppress(IntegrityError), transaction.atomic():
        Record.objects.bulk_create([copy_of(chain[1])], ignore_conflicts=True)
    assert ledger_rows() == before


@ON_POSTGRESQL
def test_the_role_of_the_program_cannot_silence_the_guards(chain: list[Record]) -> None:
    before = ledger_rows()
    with pytest.raises(ProgrammingError, match="permission denied"), transaction.atomic():
        sql("SET LOCAL session_replication_role = replica")
    assert ledger_rows() == before


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("outcome", "'maybe'"),
        ("outcome", "'void'"),
        ("task", "NULL"),
        *((name, number) for name in ("position", "number", "attempt") for number in ("0", "-1")),
        ("reason", "'because'"),
        ("corrects", "'a record'"),
        ("number", "NULL"),
    ],
)
def test_the_database_refuses_a_row_that_cannot_be(
    chain: list[Record], column: str, value: str
) -> None:
    refused(lambda record: copied(record, **{**FRESH, column: value}), chain[1])


def test_new_rows_still_come_in(chain: list[Record]) -> None:
    copied(chain[1], **FRESH)
    assert Record.objects.count() == 4


@pytest.mark.parametrize(
    "changes",
    [
        {"note": "another note"},
        {"readings": (("leak", "1.10 mbar"),)},
        {"performed_by": "Somebody else"},
        {"part_made_on": None},
        {"outcome": "fail"},
    ],
    ids=lambda changes: next(iter(changes)),
)
def test_a_form_sent_again_with_other_content_is_refused(
    item: Item, changes: dict[str, Any]
) -> None:
    first = NewRecord(
        item_id=item.pk,
        marked_as="00123",
        task="cleaning",
        done_on=date(2025, 3, 1),
        outcome="pass",
        performed_by="Ägidius Ørn",
        entry_key="k",
        note="a note",
        readings=(("leak", "1,10 mbar"),),
        part_made_on=date(2024, 12, 31),
    )
    append_records([first], user=None, at=MOMENT)
    assert append_records([first], user=None, at=MOMENT) == []
    with pytest.raises(EntryKeyUsedTwice, match="the first entry stands"):
        append_records([replace(first, **changes)], user=None, at=MOMENT)
    assert Record.objects.count() == 1

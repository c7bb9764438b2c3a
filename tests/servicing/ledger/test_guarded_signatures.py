"""No road leads to a changed signature or trail entry either: A5, X1 and X3."""

import tempfile
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.core import serializers
from django.core.management import CommandError, call_command
from django.db import IntegrityError, NotSupportedError, connection, models, transaction
from django.db.models import ProtectedError

from registry.items.models import ItemVersion
from registry.sites.actions import keep_versions
from registry.sites.models import Site, SiteVersion
from registry.trail.models import TrailEntry, TrailIsAppendOnly
from servicing.ledger.actions import sign
from servicing.ledger.models import LedgerIsAppendOnly, Record, Signature
from servicing.ledger.queries.whole import ledger_faults
from tests.servicing.ledger.conftest import MOMENT

REFUSALS = (
    LedgerIsAppendOnly,
    TrailIsAppendOnly,
    IntegrityError,
    ProtectedError,
    CommandError,
    NotSupportedError,  # PostgreSQL: a table that others refer to is not truncated alone
)
Road = Callable[[models.Model], object]


def table(row: models.Model) -> str:
    return row._meta.db_table


def text_of(row: models.Model) -> str:
    """Return the name of a column to forge."""
    return {"signature": "printed_name", "trailentry": "why"}.get(row._meta.model_name or "", "")


def sql(statement: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute(statement)


def forged(row: models.Model) -> models.Model:
    setattr(row, text_of(row), "forged")
    return row


def manager_of(row: models.Model) -> Any:
    return type(row)._default_manager


def posing_as_new(row: models.Model) -> None:
    row._state.adding = True
    forged(row).save()


def loaded_over(row: models.Model) -> None:
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "row.json"
        file.write_text(serializers.serialize("json", [forged(row)]))
        call_command("loaddata", file, verbosity=0)


def upserted(row: models.Model) -> None:
    manager_of(row).bulk_create(
        [forged(row)], update_conflicts=True, update_fields=[text_of(row)], unique_fields=["hash"]
    )


def replaced(row: models.Model, verb: str) -> None:
    columns = [str(field.column) for field in row._meta.concrete_fields]
    wanted = ", ".join(
        "'forged'" if column == text_of(row) else f'"{column}"' for column in columns
    )
    names = ", ".join(f'"{column}"' for column in columns)
    sql(f"{verb} INTO {table(row)} ({names}) SELECT {wanted} FROM {table(row)} WHERE id = {row.pk}")


# The 13 roads of A5, and a few beside them.
ROADS: dict[str, Road] = {
    "save": lambda r: forged(r).save(),
    "save-posing-as-new": posing_as_new,
    "save-raw": lambda r: forged(r).save_base(raw=True),
    "delete": lambda r: r.delete(),
    "delete-of-the-base-class": models.Model.delete,
    "update": lambda r: manager_of(r).update(**{text_of(r): "forged"}),
    "update-of-the-base-manager": lambda r: type(r)._base_manager.update(**{text_of(r): "forged"}),
    "bulk-update": lambda r: manager_of(r).bulk_update([forged(r)], [text_of(r)]),
    "bulk-create-update-conflicts": upserted,
    "delete-of-a-query": lambda r: manager_of(r).all().delete(),
    "delete-without-collecting": lambda r: manager_of(r).all()._raw_delete("default"),
    "loaddata": loaded_over,
    "flush": lambda r: call_command("flush", interactive=False, verbosity=0),
    "cascade-from-the-record": lambda r: Record._base_manager.all()._raw_delete("default"),
    "sql-update": lambda r: sql(f"UPDATE {table(r)} SET {text_of(r)} = 'forged'"),
    "sql-delete": lambda r: sql(f"DELETE FROM {table(r)}"),
    "sql-insert-again": lambda r: replaced(r, "INSERT"),
}
OF_ONE_ENGINE: dict[str, Road] = {
    "replace": lambda r: replaced(r, "REPLACE"),
    "insert-or-replace": lambda r: replaced(r, "INSERT OR REPLACE"),
    "update-or-replace": lambda r: sql(f"UPDATE OR REPLACE {table(r)} SET {text_of(r)} = 'f'"),
}
if connection.vendor == "postgresql":
    OF_ONE_ENGINE = {
        "truncate": lambda r: sql(f"SET CONSTRAINTS ALL IMMEDIATE; TRUNCATE {table(r)} CASCADE"),
        "merge": lambda r: sql(
            f"MERGE INTO {table(r)} a USING {table(r)} b ON a.id = b.id"
            f" WHEN MATCHED THEN UPDATE SET {text_of(r)} = 'forged'"
        ),
    }


def rows(name: str) -> list[tuple[Any, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT * FROM {name} ORDER BY id")
        return list(cursor.fetchall())


@pytest.fixture
def signature(chain: list[Record], writer: User) -> Signature:
    """The writer's word for the first record."""
    return sign(record=chain[0], user=writer, meaning="performed", at=MOMENT, zone="Europe/Vienna")


@pytest.mark.parametrize("road", (ROADS | OF_ONE_ENGINE).values(), ids=ROADS | OF_ONE_ENGINE)
@pytest.mark.parametrize("model", [Signature, TrailEntry], ids=lambda model: model.__name__)
def test_no_road_changes_a_signature_or_an_entry_of_the_trail(
    signature: Signature, model: type[models.Model], road: Road
) -> None:
    row = model._default_manager.order_by("pk")[0]
    before = rows(table(row))
    with pytest.raises(REFUSALS), transaction.atomic():
        road(row)
    assert rows(table(row)) == before
    assert list(ledger_faults()) == []


@pytest.mark.parametrize("model", [ItemVersion, SiteVersion], ids=lambda model: model.__name__)
@pytest.mark.parametrize("statement", ["UPDATE {} SET known_from = NULL", "DELETE FROM {}"])
def test_what_was_known_then_is_not_changed(
    signature: Signature, workshop: Site, model: type[models.Model], statement: str
) -> None:
    if model is SiteVersion:
        keep_versions([workshop], at=MOMENT)
    before = rows(model._meta.db_table)
    assert before
    with pytest.raises(IntegrityError), transaction.atomic():
        sql(statement.format(model._meta.db_table))
    assert rows(model._meta.db_table) == before


def test_a_row_that_exists_stays_where_conflicts_are_ignored(signature: Signature) -> None:
    before = rows("servicing_signature")
    with suppress(IntegrityError), transaction.atomic():
        Signature.objects.bulk_create([signature], ignore_conflicts=True)
    assert rows("servicing_signature") == before

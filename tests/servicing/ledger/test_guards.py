"""The guards are there after every migration, and a missing one is noticed: A6, X2, X3."""

import io
import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.core.management.base import SystemCheckError
from django.core.management.sql import emit_post_migrate_signal
from django.db import connection, models

from registry.trail import guards
from servicing.ledger.models import Record
from tests.console import manage

VENDOR = connection.vendor
TABLES = {
    "record": "servicing_record",
    "signature": "servicing_signature",
    "measured": "servicing_measured",
    "ruleversion": "servicing_ruleversion",
    "adoption": "servicing_adoption",
    "inclusion": "servicing_inclusion",
    "trailentry": "registry_trailentry",
    "itemversion": "registry_itemversion",
    "personversion": "registry_personversion",
    "authorisation": "registry_authorisation",
    "siteversion": "registry_siteversion",
    "procedureversion": "servicing_procedureversion",
    "carried": "servicing_carried",
    "paper": "servicing_paper",
    "typelimit": "servicing_typelimit",
    "ruleproposal": "servicing_ruleproposal",
    "fitting": "registry_fitting",
    "itemtypeversion": "registry_itemtypeversion",
}
LAST = "no_truncate" if VENDOR == "postgresql" else "no_replace"
NAMES = sorted(f"{stem}_{what}" for stem in TABLES for what in ("no_update", "no_delete", LAST))
OF_RECORDS = [name for name in NAMES if name.startswith("record_")]


def drop(name: str) -> None:
    table = TABLES[name.partition("_")[0]]
    on_table = f" ON {table}" if VENDOR == "postgresql" else ""
    with connection.cursor() as cursor:
        cursor.execute(f"DROP TRIGGER {name}{on_table}")


@pytest.mark.django_db
def test_every_guard_is_in_place_after_migrating() -> None:
    guards.remove(connection)
    assert guards.missing(connection) == NAMES
    call_command("migrate", verbosity=0)
    assert guards.missing(connection) == []


@pytest.mark.django_db
@pytest.mark.parametrize("name", NAMES)
def test_a_missing_guard_is_an_error_that_names_it(name: str) -> None:
    call_command("check", databases=["default"])
    drop(name)
    with pytest.raises(SystemCheckError, match=rf"registry\.E001.*{name} is missing"):
        call_command("check", databases=["default"])


@pytest.mark.django_db
@pytest.mark.parametrize("name", NAMES)
def test_verifying_the_ledger_names_a_missing_guard(name: str) -> None:
    drop(name)
    said = io.StringIO()
    with pytest.raises(CommandError, match=r"not whole: 1 fault$") as refusal:
        call_command("verify_ledger", stderr=said)
    assert refusal.value.returncode == 1
    assert said.getvalue() == f"guard {name} is missing\n"


@pytest.mark.django_db
@pytest.mark.parametrize("name", NAMES)
def test_installing_puts_back_what_is_missing_and_leaves_the_rest(name: str) -> None:
    drop(name)
    guards.install(connection)
    guards.install(connection)
    assert guards.missing(connection) == []
    call_command("check", databases=["default"])


@pytest.mark.django_db
@pytest.mark.skipif(VENDOR != "postgresql", reason="only PostgreSQL can switch a trigger off")
@pytest.mark.parametrize("name", NAMES)
def test_a_guard_that_is_switched_off_counts_as_missing(name: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute(f"ALTER TABLE {TABLES[name.partition('_')[0]]} DISABLE TRIGGER {name}")
    assert guards.missing(connection) == [name]


@pytest.fixture
def wider_column(transactional_db: None) -> Iterator[None]:
    """A migration that widens a column of the ledger, without what follows a migration."""
    narrow = Record._meta.get_field("performed_by")
    wide = models.CharField(max_length=500)
    wide.set_attributes_from_name("performed_by")
    wide.model = Record
    with connection.schema_editor() as editor:
        editor.alter_field(Record, narrow, wide)
    yield
    with connection.schema_editor() as editor:
        editor.alter_field(Record, wide, narrow)
    guards.install(connection)


@pytest.mark.usefixtures("wider_column")
def test_an_altered_column_leaves_the_guards_in_place_once_the_migration_ends() -> None:
    # X2: on SQLite the table is written anew, and its triggers are gone without a word.
    assert guards.missing(connection) == (OF_RECORDS if VENDOR == "sqlite" else [])
    emit_post_migrate_signal(verbosity=0, interactive=False, db="default")
    assert guards.missing(connection) == []


def test_a_database_that_is_migrated_in_part_is_no_fault(tmp_path: Path) -> None:
    # What follows a migration must not ask for tables that a later one makes.
    for words in (("migrate", "contenttypes"), ("migrate",), ("check", "--database", "default")):
        done = manage(tmp_path, *words)
        assert (done.status, done.err) == (0, "")


def test_migrating_puts_a_missing_guard_back_and_says_so(tmp_path: Path) -> None:
    # An upgrade adds guards and changes them; the check that names them must not stop it.
    assert manage(tmp_path, "migrate").status == 0
    database = sqlite3.connect(tmp_path / "neckring.sqlite3")
    database.execute("DROP TRIGGER record_no_delete")
    database.execute("DROP TRIGGER fitting_part_no_overlap")
    database.close()
    assert manage(tmp_path, "check", "--database", "default").status == 1
    done = manage(tmp_path, "migrate")
    assert (done.status, done.err) == (0, "")
    assert "Guards put in place: fitting_part_no_overlap, record_no_delete." in done.out
    assert manage(tmp_path, "check", "--database", "default").status == 0

"""The program refuses to serve where a guard or the newest part of the ledger is broken: A6."""

import sqlite3
from pathlib import Path

import pytest
from django.db import IntegrityError, connection, transaction
from django.test import Client

from registry.sets import guards as set_guards
from registry.trail import guards
from servicing.ledger.models import Record
from servicing.oversight.queries import why_not_serve
from tests.console import Said, manage, python
from tests.servicing.ledger.conftest import add_item, add_records, workshop

__all__ = ["workshop"]
SERVE = "import config.wsgi; print('serving')"


def sql(statement: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute(statement)


@pytest.fixture
def unguarded(workshop: object) -> list[Record]:
    """Three records, and a way past the guards and back to them."""
    return add_records(add_item(workshop, "M1"), "cleaning", "use", "cleaning")  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("forgery", "words"),
    [
        ("UPDATE servicing_record SET note = 'forged' WHERE number = 3", "record number 3"),
        ("UPDATE servicing_record SET readings = '{}' WHERE number = 2", "record number"),
        ("DELETE FROM servicing_record WHERE number = 3", "the trail notes records up to number 3"),
        ("UPDATE registry_trailentry SET why = 'forged'", "trail: entry 1"),
        ("DELETE FROM registry_trailentry", "the trail notes records up to number 0"),
    ],
)
def test_a_forged_newest_part_is_no_state_to_serve_in(
    unguarded: list[Record], forgery: str, words: str
) -> None:
    assert why_not_serve() == ""
    guards.remove(connection)
    sql(forgery)
    guards.install(connection)
    assert words in why_not_serve()
    assert Client().get("/ready").status_code == 503
    assert Client().get("/live").status_code == 200


def test_a_guard_of_sets_that_is_missing_counts_too(db: None) -> None:
    assert Client().get("/ready").status_code == 200
    kind = "TRIGGER" if connection.vendor == "sqlite" else "CONSTRAINT"
    name = "fitting_part_no_overlap"
    sql(
        f"DROP TRIGGER {name}"
        if kind == "TRIGGER"
        else f"ALTER TABLE registry_fitting DROP CONSTRAINT {name}"
    )
    assert name in why_not_serve()
    assert Client().get("/ready").status_code == 503
    set_guards.install(connection)
    assert why_not_serve() == ""


@pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL names what it calls")
@pytest.mark.parametrize(
    "trick",
    [
        "CREATE OR REPLACE FUNCTION refuse_change_of_servicing_record() RETURNS trigger"
        " LANGUAGE plpgsql AS $$ BEGIN RETURN NEW; END $$",
        "DROP TRIGGER record_no_update ON servicing_record;"
        "CREATE TRIGGER record_no_update BEFORE UPDATE ON servicing_record FOR EACH ROW"
        " WHEN (false) EXECUTE FUNCTION refuse_change_of_servicing_record()",
        "DROP TRIGGER record_no_update ON servicing_record;"
        "CREATE TRIGGER record_no_update BEFORE UPDATE OF task ON servicing_record FOR EACH ROW"
        " EXECUTE FUNCTION refuse_change_of_servicing_record()",
        "DROP TRIGGER record_no_update ON servicing_record;"
        "CREATE TRIGGER record_no_update AFTER INSERT ON servicing_record FOR EACH ROW"
        " EXECUTE FUNCTION refuse_change_of_servicing_record()",
    ],
)
def test_a_guard_in_name_only_is_missing_and_put_right(unguarded: list[Record], trick: str) -> None:
    sql(trick)
    assert "record_no_update" in guards.missing(connection)
    guards.install(connection)
    assert guards.missing(connection) == []
    with pytest.raises(IntegrityError), transaction.atomic():
        sql("UPDATE servicing_record SET note = 'forged'")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A data folder with a migrated, empty register."""
    made = tmp_path_factory.mktemp("serving")
    assert manage(made, "migrate", "--verbosity", "0").status == 0
    return made


def serve(folder: Path) -> Said:
    return python(folder, "-c", SERVE)


def test_the_entry_serves_what_is_whole_and_refuses_what_is_not(folder: Path) -> None:
    said = serve(folder)
    assert (said.status, said.out, said.err) == (0, "serving\n", "")
    database = sqlite3.connect(folder / "neckring.sqlite3")
    database.execute("DROP TRIGGER record_no_delete")
    database.close()
    said = serve(folder)
    assert (said.status, said.out) == (1, "")
    [line] = said.err.splitlines()
    assert line.startswith("Neckring does not serve: guards are missing (record_no_delete)")


def test_the_entry_refuses_a_database_that_is_not_migrated(tmp_path: Path) -> None:
    said = serve(tmp_path)
    assert (said.status, said.out) == (1, "")
    assert (
        said.err
        == "Neckring does not serve: the database is not migrated: run manage.py migrate.\n"
    )


def test_the_entry_waits_for_a_database_that_does_not_answer_yet(tmp_path: Path) -> None:
    said = python(tmp_path, "-c", SERVE, DATABASE_URL="postgres://nobody:x@127.0.0.1:1/nothing")
    assert (said.status, said.out) == (0, "serving\n")
    assert "The database does not answer" in said.err

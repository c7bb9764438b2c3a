"""The program refuses to serve where a guard or the newest part of the ledger is broken: A6."""

import json
import sqlite3
import tomllib
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings as configured
from django.db import IntegrityError, connection, transaction
from django.test import Client

from registry.sets import guards as set_guards
from registry.trail import guards
from registry.trail.models import TrailEntry
from registry.trail.pure import differences
from registry.trail.queries import broken_trail
from servicing.ledger.models import Record
from servicing.oversight.actions import begin_serving, note_program
from servicing.oversight.queries import program_as_it_is, why_not_serve
from tests.console import Said, manage, python
from tests.servicing.ledger.conftest import add_item, add_records, workshop

__all__ = ["workshop"]
PROJECT = configured.BASE_DIR / "pyproject.toml"
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


# ── What serves is in the trail: A9 ─────────────────────────────────────────────────────────────


def programs() -> list[tuple[dict[str, Any], dict[str, Any]]]:
    """Return (before, after) of each entry on the program, in order."""
    rows = TrailEntry.objects.filter(what="program").order_by("number")
    return [(json.loads(row.before or "{}"), json.loads(row.after)) for row in rows]


def test_the_program_is_noted_when_it_begins_to_serve_and_only_where_it_changed(
    db: None, settings: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert [begin_serving(), begin_serving()] == ["", ""]
    [(before, after)] = programs()
    assert before == {}
    assert after["version"] == tomllib.loads(PROJECT.read_text())["project"]["version"]
    assert after["a password proves presence, minutes"] == 10
    settings.DEBUG = not settings.DEBUG
    upgraded = {**program_as_it_is(), "version": "0.2.0"}
    monkeypatch.setattr("servicing.oversight.actions.program_as_it_is", lambda: upgraded)
    note_program()
    assert note_program() is None
    names = ["traces in pages", "version"]
    assert [sorted(each) for each in programs()[1]] == [names, names]
    # A setting that goes and comes back is told both times.
    late = upgraded.pop("a record is late from, days")
    note_program()
    assert note_program() is None
    upgraded["a record is late from, days"] = late
    note_program()
    assert note_program() is None
    name = "a record is late from, days"
    assert programs()[2:] == [({name: late}, {name: ""}), ({}, {name: late})]
    assert broken_trail() is None


def test_a_changed_line_of_code_or_limit_is_another_program(tmp_path: Path, settings: Any) -> None:
    for name in ("config/a.py", "servicing/rules/b.py", "fixtures/hydrostatic/limits.toml"):
        path = tmp_path / name
        path.parent.mkdir(parents=True)
        path.write_text("one")
    settings.BASE_DIR, settings.VERSION = tmp_path, "1.2.3"
    first = program_as_it_is()
    assert first["version"] == "1.2.3"
    (tmp_path / "servicing/rules/b.py").write_text("two")
    (tmp_path / "fixtures/hydrostatic/limits.toml").write_text("two")
    was, _ = differences(first, program_as_it_is())
    assert sorted(was) == ["SHA-256 of the code", "SHA-256 of the hydrostatic limits"]


def test_what_must_not_serve_is_not_noted(db: None) -> None:
    guards.remove(connection)
    assert "guards are missing" in begin_serving()
    assert programs() == []
    guards.install(connection)


@pytest.mark.long
def test_processes_that_start_at_once_make_one_entry(tmp_path: Path) -> None:
    assert manage(tmp_path, "migrate", "--verbosity", "0").status == 0
    with ThreadPoolExecutor(3) as pool:
        assert {said.out for said in pool.map(serve, [tmp_path] * 3)} == {"serving\n"}
    assert python(tmp_path, "-c", SERVE, NECKRING_DEBUG="1").status == 0
    with closing(sqlite3.connect(tmp_path / "neckring.sqlite3")) as database:
        found = database.execute("SELECT what, by FROM registry_trailentry").fetchall()
    assert found == [("program", "command line")] * 2


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

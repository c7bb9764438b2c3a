"""The demo: made once, whole, explained by each jurisdiction; and where it is made and served."""

import errno
import io
import json
import shutil
import sqlite3
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from dateutil.relativedelta import relativedelta
from django.contrib.auth.models import User
from django.core.management import CommandError

from registry.items.models import Item
from registry.sites.models import Site
from servicing.management.commands import demo as demo_command
from tests.commands.running import run
from tests.console import Said, manage_each

COUNTED = (
    "servicing_record",
    "registry_item",
    "registry_site",
    "auth_user",
    "servicing_ruleversion",
)


FIVE, THREE, TWO = (relativedelta(years=years) for years in (5, 3, 2))
MONTH_END = relativedelta(day=31)
JURISDICTIONS = [
    ("iso-en-cylinders", "adr-cyl-composite", FIVE, "ADR 2025, P200 (3)(d), note"),
    ("germany", "de-cyl-strength", FIVE + MONTH_END, "BetrSichV table 12, line 7.6 a), 14(5)"),
    ("finland", "fi-cyl-composite", THREE, "Tukes, release of 16 February 2015"),
    ("iso-en-cylinders;finland", "fi-cyl-composite", THREE, "the earliest goes first"),
    ("united-kingdom", "uk-cyl-retest", FIVE, "practice, ISO 18119:2018 alike"),
    ("us-cylinders", "us-cyl-foreign", FIVE + MONTH_END, "49 CFR 180.209(a) and 180.205(c)"),
    ("australia", "au-cyl-retest", FIVE, "AS 2030 as told by a test house"),
    ("new-zealand", "nz-cyl-composite", THREE, "a New Zealand test station's table"),
    ("canada", "ca-cyl-retest", FIVE, "CSA B339 and B340 (from memory)"),
    ("sea", "sea-cyl-five-years", FIVE, "a flag state: five years, any material"),
    ("spain", "es-cyl-retest", FIVE, "RD 809/2021, ITC EP-5, article 7.1"),
    ("france", "fr-cyl-not-metal", TWO, "arrêté of 20 November 2017, article 18 I"),
    ("austria", "at-cyl-composite", FIVE, "VBV 2011, section 5(2); ADR P200"),
]


EXPLAINED = """
import io, json
from django.core.management import call_command
said = {}
for tables in TABLES:
    out = io.StringIO()
    call_command("explain", "00149", "--tables", tables, "--format", "json", stdout=out)
    said[tables] = json.loads(out.getvalue())
print(json.dumps(said))
"""


@dataclass(frozen=True)
class Asked:
    """What a shell saw of commands on the demo, and how much was in it before and after."""

    again: Said
    whole: Said
    nowhere: Said
    explained: dict[str, Any]
    before: dict[str, int]
    after: dict[str, int]


def counts(folder: Path) -> dict[str, int]:
    with sqlite3.connect(folder / "neckring.sqlite3") as database:
        found = {t: database.execute(f"SELECT count(*) FROM {t}").fetchone()[0] for t in COUNTED}
    database.close()
    return found


@pytest.fixture(scope="module")
def asked(demo: Path) -> Asked:
    before = counts(demo)
    script = f"TABLES = {[tables for tables, *_ in JURISDICTIONS]!r}{EXPLAINED}"
    again, whole, nowhere, explained = manage_each(
        demo,
        [
            ["demo", "--no-serve"],
            ["verify_ledger"],
            ["explain", "00149", "--tables", "atlantis"],
            ["shell", "--no-imports", "-c", script],
        ],
    )
    assert (explained.status, explained.err) == (0, "")
    return Asked(again, whole, nowhere, json.loads(explained.out), before, counts(demo))


def test_making_the_demo_again_changes_nothing(asked: Asked) -> None:
    assert asked.before["registry_item"] > 500
    assert (asked.again.status, asked.again.err) == (0, "")
    assert "The demo is ready" in asked.again.out
    assert "Making the fleet" not in asked.again.out
    assert asked.after == asked.before


@pytest.mark.parametrize(
    ("tables", "rule", "span", "source"), JURISDICTIONS, ids=[one[0] for one in JURISDICTIONS]
)
def test_one_cylinder_of_the_demo_is_explained_by_each_jurisdiction(
    asked: Asked, tables: str, rule: str, span: relativedelta, source: str
) -> None:
    """00149 is a carbon composite by EN 12245, tested once since it was made."""
    tasks = {task["task"]: task for task in asked.explained[tables]["tasks"]}
    first = tasks["hydrostatic-retest"]["candidates"][0]
    # In Germany the test, no more than two months early, kept its due month (14(5), sentence 4).
    assert first["counted_from"] == ("due-date" if tables == "germany" else "record")
    due = date.fromisoformat(first["basis_on"]) + span
    assert (first["rule"], first["due_on"]) == (rule, due.isoformat()), source


def test_a_jurisdiction_nobody_loaded_is_named(asked: Asked) -> None:
    assert asked.nowhere.status == 2
    assert "atlantis is no rule table" in asked.nowhere.err


def test_a_shell_sees_0_for_a_ledger_that_holds_and_1_for_one_that_does_not(
    asked: Asked, demo: Path, tmp_path: Path
) -> None:
    assert asked.whole == Said(0, "every chain holds and every guard is in place\n", "")
    folder = shutil.copytree(demo, tmp_path / "copy")
    with sqlite3.connect(folder / "neckring.sqlite3") as database:
        database.execute("DROP TRIGGER record_no_update")
        [[tag, pk]] = database.execute(
            "SELECT i.tag, r.id FROM servicing_record r JOIN registry_item i ON i.id = r.item_id"
            " WHERE r.position = 3 LIMIT 1"
        )
        database.execute("UPDATE servicing_record SET note = 'forged' WHERE id = ?", [pk])
    database.close()
    [done] = manage_each(folder, [["verify_ledger"]])
    assert (done.status, done.out) == (1, "")
    assert done.err.splitlines() == [
        "guard record_no_update is missing",
        f"{tag}: record 3: its content does not give its hash; it was altered",
        "CommandError: the ledger is not whole: 2 faults",
    ]


def test_the_demo_refuses_a_database_with_a_fleet_of_its_own(mask: Item) -> None:
    before = Item.objects.count(), Site.objects.count(), User.objects.count()
    done = run("demo", "--no-serve")
    assert (done.status, done.out) == (1, "Neckring's demo. Preparing the database ...\n")
    assert "This database holds a fleet of its own" in done.err
    assert before == (Item.objects.count(), Site.objects.count(), User.objects.count())


def test_the_demo_is_served_on_this_machine_only(db: None, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: dict[str, Any] = {}

    class Server:
        def run(self) -> None:
            asked["ran"] = True

    def create(_: object, **options: Any) -> Server:
        asked.update(options)
        return Server()

    monkeypatch.setattr("waitress.create_server", create)
    demo_command.Command(stdout=io.StringIO())._serve(8123)
    assert (asked["host"], asked["port"], asked["ran"]) == ("127.0.0.1", 8123, True)


def test_a_port_that_is_taken_is_wrong_use(db: None, monkeypatch: pytest.MonkeyPatch) -> None:
    def create(_: object, **options: Any) -> None:
        raise OSError(errno.EADDRINUSE, "Address already in use")

    monkeypatch.setattr("waitress.create_server", create)
    with pytest.raises(CommandError, match=r"port 8000 .* try --port 8001") as refusal:
        demo_command.Command(stdout=io.StringIO())._serve(8000)
    assert refusal.value.returncode == 2

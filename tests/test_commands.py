"""Commands at a terminal: exit status, streams, columns and files, as README.md promises. E4."""

import csv
import errno
import io
import json
import shutil
import sqlite3
import subprocess
import sys
from argparse import Action, ArgumentParser, ArgumentTypeError, _SubParsersAction
from collections.abc import Iterator, Sequence
from datetime import date
from pathlib import Path
from typing import Any

import pypdf
import pytest
from dateutil.relativedelta import relativedelta
from django.contrib.auth.models import User
from django.core.management import CommandError, call_command, get_commands, load_command_class
from django.core.management.base import BaseCommand

from registry.items.models import Item
from registry.sets.models import Fitting
from registry.sites.models import Site
from registry.trail.models import TrailEntry
from servicing.due.models import StoredObligation
from servicing.due.pure.sheet import GENERAL_CAUTION
from servicing.ledger.models import Record
from servicing.management.commands import demo as demo_command
from tests.console import ROOT, Said, environment, manage, manage_each, python
from tests.people import make_item
from tests.worlds import world_fixture

COLUMNS = [
    "tag",
    "serial",
    "maker",
    "kind",
    "site",
    "task",
    "due_on",
    "state",
    "rule",
    "level",
    "source",
    "counted_from",
    "basis_on",
]
COUNTED = (
    "servicing_record",
    "registry_item",
    "registry_site",
    "auth_user",
    "servicing_ruleversion",
)


def run(*words: str) -> Said:
    """Run a command in this process and return what it left behind."""
    out, err = io.StringIO(), io.StringIO()
    try:
        call_command(*words, stdout=out, stderr=err)
    except CommandError as refusal:
        return Said(refusal.returncode, out.getvalue(), f"{err.getvalue()}{refusal}\n")
    return Said(0, out.getvalue(), err.getvalue())


def due_csv(*words: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(run("due", "--format", "csv", *words).out)))


def tags(rows: Sequence[dict[str, str]]) -> set[str]:
    return {row["tag"] for row in rows}


def text_of(file: Path) -> str:
    return "\n".join(page.extract_text() for page in pypdf.PdfReader(file).pages)


@world_fixture
def fleet(mask: Item, valley: Site) -> Item:
    """A mask and a nameless cylinder at the station, another cylinder above it."""
    make_item(
        mask.site, "C-2", "cylinder", made_on=date(2019, 5, 1), construction="type-1", serial="2"
    )
    make_item(valley, "C-1", "cylinder", construction="type-1", serial="1")
    return mask


# ── due ─────────────────────────────────────────────────────────────────────────────────────────


def test_the_columns_of_due_are_those_that_other_programs_rely_on(fleet: Item) -> None:
    assert run("due", "--format", "csv").out.splitlines()[0] == ",".join(COLUMNS)
    found = json.loads(run("due", "--format", "json").out)
    assert {tuple(row) for row in found} == {tuple(COLUMNS)}
    assert found == due_csv()
    assert run("due").out.splitlines()[0].split() == COLUMNS


def test_due_is_sorted_with_the_undetermined_first(fleet: Item) -> None:
    rows = due_csv()
    keys = [(row["due_on"], row["site"], row["tag"], row["task"]) for row in rows]
    assert keys == sorted(keys)
    assert {row["tag"] for row in rows if not row["due_on"]} == {"C-1"}
    assert rows[0]["state"] == "undetermined"


def test_a_row_of_due_names_its_rule_and_what_it_was_counted_from(fleet: Item) -> None:
    # ISO 18119:2018, informative annex on intervals: metal cylinders every five years.
    row = next(r for r in due_csv("--task", "hydrostatic-retest") if r["tag"] == "C-2")
    assert row == {
        "tag": "C-2",
        "serial": "2",
        "maker": "Pellwright",
        "kind": "cylinder",
        "site": "ST1",
        "task": "hydrostatic-retest",
        "due_on": "2024-05-01",
        "state": "overdue",
        "rule": "iso-cyl-metal",
        "level": "standard",
        "counted_from": "made",
        "basis_on": "2019-05-01",
        "source": "ISO 18119:2018, informative annex on intervals, self-contained breathing air",
    }


def test_due_at_a_site_includes_the_sites_below_it(fleet: Item) -> None:
    assert tags(due_csv("--site", "VAL")) == {"00123", "C-1", "C-2"}
    assert tags(due_csv("--site", "ST1")) == {"00123", "C-2"}


@pytest.mark.parametrize("state", ["undetermined", "overdue", "due-soon", "current"])
def test_due_in_a_state_shows_that_state_and_all_of_it(fleet: Item, state: str) -> None:
    rows = due_csv("--state", state)
    assert rows == [row for row in due_csv() if row["state"] == state]


def test_due_on_a_day_is_as_of_that_day(fleet: Item) -> None:
    # The due date itself is the last good day (due/README 7).
    states = [
        row["state"]
        for on in ("2024-01-31", "2024-02-01", "2024-05-01", "2024-05-02")
        for row in due_csv("--on", on, "--task", "hydrostatic-retest", "--site", "ST1")
    ]
    assert states == ["current", "due-soon", "due-soon", "overdue"]


def test_due_says_so_where_nothing_is(fleet: Item) -> None:
    long_ago = ("due", "--on", "1990-01-01", "--site", "ST1")
    done = run(*long_ago)
    assert (done.status, done.out.splitlines()[0]) == (0, "Nothing is due.")
    assert run(*long_ago, "--format", "csv").out == ",".join(COLUMNS) + "\n"
    assert json.loads(run(*long_ago, "--format", "json").out) == []


def test_the_table_of_due_ends_with_the_caution(fleet: Item) -> None:
    assert run("due").out.endswith("\n".join(GENERAL_CAUTION) + "\n")


# ── explain ─────────────────────────────────────────────────────────────────────────────────────


def test_explain_names_rule_source_base_and_arithmetic(fleet: Item) -> None:
    said = run("explain", "C-2", "--on", "2024-01-01").out
    assert "=> 2024-05-01" in said
    assert "iso-cyl-metal (standard): ISO 18119:2018, informative annex" in said
    assert "2019" in said
    assert GENERAL_CAUTION[0] in said


def test_explain_in_json_has_every_candidate_of_every_task(fleet: Item) -> None:
    found = json.loads(run("explain", "C-2", "--on", "2024-01-01", "--format", "json").out)
    assert (found["tag"], found["on"], found["standing"]) == ("C-2", "2024-01-01", "in-service")
    tasks = {task["task"]: task for task in found["tasks"]}
    retest = tasks["hydrostatic-retest"]
    assert (retest["due_on"], retest["state"]) == ("2024-05-01", "current")
    assert retest["candidates"][0]["rule"] == "iso-cyl-metal"
    assert {"source", "seen", "counted_from", "basis_on", "arithmetic"} <= set(
        retest["candidates"][0]
    )
    assert found["caution"] == " ".join(GENERAL_CAUTION)


# ── report ──────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("words", "there", "not_there"),
    [
        (("overdue",), ("C-1", "C-2"), ()),
        (("overdue", "--site", "ST1"), ("C-2",), ("C-1",)),
        (("record", "00123"), ("00123", "S-00123"), ("C-1", "C-2")),
        (("record", "C-2", "--on", "2024-01-01"), ("C-2", "1 Jan 2024"), ("C-1",)),
    ],
    ids=" ".join,
)
def test_a_report_is_a_pdf_that_can_be_read(
    fleet: Item, tmp_path: Path, words: tuple[str, ...], there: tuple[str, ...], not_there: Any
) -> None:
    file = tmp_path / "paper.pdf"
    assert run("report", *words, "--out", str(file)) == Said(0, f"{file} written\n", "")
    text = text_of(file)
    assert [word for word in there if word not in text] == []
    assert [word for word in not_there if word in text] == []
    assert list(tmp_path.iterdir()) == [file]


def test_a_report_takes_the_place_of_an_older_one(fleet: Item, tmp_path: Path) -> None:
    file = tmp_path / "paper.pdf"
    file.write_text("an older one")
    run("report", "overdue", "--out", str(file))
    assert "C-2" in text_of(file)


@pytest.mark.parametrize("out", ["nowhere/paper.pdf", "."])
def test_a_report_that_cannot_be_written_leaves_no_part_of_it(
    fleet: Item, tmp_path: Path, out: str
) -> None:
    done = run("report", "overdue", "--out", str(tmp_path / out))
    assert (done.status, "can't be written" in done.err) == (2, True)
    assert list(tmp_path.iterdir()) == []


# ── Exit status and streams ─────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        (("due", "--site", "NOPE"), "there is no site 'NOPE'; give the code of one\n"),
        (("due", "--task", "polishing"), "there is no task 'polishing'"),
        (("explain", "NOPE"), "there is no item with the tag 'NOPE'\n"),
        (("report", "overdue", "--site", "NOPE", "--out", "x.pdf"), "there is no site 'NOPE'"),
        (("report", "overdue", "--task", "polishing", "--out", "x.pdf"), "there is no task"),
        (("report", "record", "NOPE", "--out", "x.pdf"), "there is no item with the tag 'NOPE'"),
        (
            ("report", "forecast", "--until", "2001-01-01", "--out", "x.pdf"),
            "--until 2001-01-01 is",
        ),
        (("import_sites", "/no/file.csv"), "/no/file.csv: can't be read: No such file"),
        (("import_register", "/no/file.xlsx"), "/no/file.xlsx: can't be read: No such file"),
        (("import_history", "/dev"), "/dev: can't be read: Is a directory"),
        (("load_rules", "/no/file.toml"), "/no/file.toml: can't be read: No such file"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, tuple) else "",
)
def test_wrong_use_ends_with_2_and_one_line(
    mask: Item, words: tuple[str, ...], complaint: str
) -> None:
    done = run(*words)
    assert (done.status, done.out) == (2, "")
    assert done.err.startswith(complaint)
    assert done.err.count("\n") == 1


BAD_LISTS = {
    "import_sites": "code,name,parent,timezone,rule_tables\nA,,,Europe/Vienna,\nB,B,,Mars/One,\n",
    "import_register": (
        "tag,kind,maker,model,serial,made_on,in_service_on,site\n"
        "1,mask,P,,1,2020,,ST1\n2,maks,P,,2,,,ST1\n"
    ),
    "import_history": (
        "tag,task,done_on,outcome,by,note\n00123,use,soon,pass,B,\n00124,use,2025-01-01,pass,B,\n"
    ),
}


@pytest.mark.parametrize("command", BAD_LISTS)
@pytest.mark.parametrize("options", [(), ("--check",)], ids=["written", "checked"])
def test_refused_rows_end_with_1_and_a_line_for_each(
    mask: Item, tmp_path: Path, command: str, options: tuple[str, ...]
) -> None:
    file = tmp_path / "list.csv"
    file.write_text(BAD_LISTS[command])
    done = run(command, str(file), *options)
    assert (done.status, done.out) == (1, "")
    first, second, last = done.err.splitlines()
    assert first.startswith(f"{file}:2: column ")
    assert second.startswith(f"{file}:3: column ")
    assert last == "2 problems found, nothing was written"
    assert (Site.objects.count(), Item.objects.count(), Record.objects.count()) == (2, 1, 0)


def test_a_rule_table_with_a_fault_ends_with_1_and_its_line(mask: Item, tmp_path: Path) -> None:
    file = tmp_path / "local.toml"
    file.write_text('table = "local"\ntitle = "Local"\n[[rule]]\nid = "x"\nevery = "yearly"\n')
    done = run("load_rules", str(file))
    assert (done.status, done.out) == (1, "")
    assert done.err.startswith(f"{file}:")
    assert done.err.splitlines()[-1].endswith("found, nothing was written")


def test_loading_the_same_rules_again_changes_nothing(rules: None) -> None:
    done = run("load_rules")
    assert done.status == 0
    assert "0 new rows, 0 changed, 0 ended" in done.out
    assert "stored due dates of 0 items changed" in done.out


def test_recomputing_says_how_many_items_it_set_right(fleet: Item) -> None:
    assert "stored due dates of 0 items changed" in run("recompute").out
    StoredObligation.objects.filter(item=fleet).update(due_on=date(2099, 1, 1))
    assert "stored due dates of 1 items changed" in run("recompute").out
    assert "stored due dates of 0 items changed" in run("recompute").out


def test_sites_can_be_brought_in_twice(mask: Item, tmp_path: Path) -> None:
    file = tmp_path / "sites.csv"
    file.write_text(
        "code,name,parent,timezone,rule_tables\n"
        "VAL,Valley service,,Europe/Vienna,iso-en-cylinders;general-apparatus\n"
        "ST1,Station one,VAL,Europe/Vienna,\nST3,Station three,VAL,Europe/Vienna,\n"
    )
    for _ in range(2):
        assert run("import_sites", str(file)) == Said(
            0, "3 sites written; due dates of 0 items moved\n", ""
        )
    assert Site.objects.count() == 3


@pytest.mark.parametrize(
    ("words", "password", "status", "said"),
    [
        (("mira",), "a long invented pass phrase", 0, "mira can sign in as technician at ST1"),
        (("mira",), "short", 1, "at least 15 characters"),
        (("demo-mira",), "a long invented pass phrase", 1, "names with demo- are the demo's"),
        (("mira", "--site", "NOPE"), "a long invented pass phrase", 2, "there is no site"),
        (("mira",), "", 2, "no terminal to ask at; set NECKRING_PASSWORD"),
    ],
)
def test_somebody_is_given_an_account(
    *,
    station: Site,
    monkeypatch: pytest.MonkeyPatch,
    words: tuple[str, ...],
    password: str,
    status: int,
    said: str,
) -> None:
    monkeypatch.setenv("NECKRING_PASSWORD", password)
    monkeypatch.setattr("sys.stdin", io.StringIO())
    rest = ("--site", "ST1", *words[1:], "--role", "technician", "--name", "Mira Holt")
    done = run("add_person", words[0], *rest)
    assert (done.status, said in done.out + done.err) == (status, True)
    assert User.objects.filter(username="mira").exists() == (status == 0)


# ── The demo, from a shell ──────────────────────────────────────────────────────────────────────


def counts(folder: Path) -> dict[str, int]:
    with sqlite3.connect(folder / "neckring.sqlite3") as database:
        found = {t: database.execute(f"SELECT count(*) FROM {t}").fetchone()[0] for t in COUNTED}
    database.close()
    return found


def test_making_the_demo_again_changes_nothing(demo: Path) -> None:
    before = counts(demo)
    assert before["registry_item"] > 500
    done = manage(demo, "demo", "--no-serve")
    assert (done.status, done.err) == (0, "")
    assert "The demo is ready" in done.out
    assert "Making the fleet" not in done.out
    assert counts(demo) == before


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


Spoken = dict[tuple[str, ...], Said]


def explained_by(tables: str) -> tuple[str, ...]:
    return ("explain", "00149", "--tables", tables, "--format", "json")


@pytest.fixture(scope="module")
def spoken(demo: Path) -> Spoken:
    """What a shell sees of each command below, run on the demo."""
    asked = [explained_by(tables) for tables, *_ in JURISDICTIONS]
    asked += [words for words, _ in WRONG_USE]
    return dict(zip(asked, manage_each(demo, asked), strict=True))


@pytest.mark.parametrize(
    ("tables", "rule", "span", "source"), JURISDICTIONS, ids=[one[0] for one in JURISDICTIONS]
)
def test_one_cylinder_of_the_demo_is_explained_by_each_jurisdiction(
    spoken: Spoken, tables: str, rule: str, span: relativedelta, source: str
) -> None:
    """00149 is a carbon composite by EN 12245, tested once since it was made."""
    done = spoken[explained_by(tables)]
    assert (done.status, done.err) == (0, "")
    tasks = {task["task"]: task for task in json.loads(done.out)["tasks"]}
    first = tasks["hydrostatic-retest"]["candidates"][0]
    # In Germany the test, no more than two months early, kept its due month (14(5), sentence 4).
    assert first["counted_from"] == ("due-date" if tables == "germany" else "record")
    due = date.fromisoformat(first["basis_on"]) + span
    assert (first["rule"], first["due_on"]) == (rule, due.isoformat()), source


def test_a_jurisdiction_nobody_loaded_is_named(demo: Path) -> None:
    done = manage(demo, "explain", "00149", "--tables", "atlantis")
    assert done.status == 2
    assert "atlantis is no rule table" in done.err


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


WRONG_USE: list[tuple[tuple[str, ...], str]] = [
    (("due", "--wrong"), "error: unrecognized arguments: --wrong"),
    (("due", "--on", "2026-02-30"), "'2026-02-30' is no day; write one as YYYY-MM-DD"),
    (
        ("due", "--state", "sometimes"),
        "invalid choice: 'sometimes' (choose from 'undetermined', 'overdue', ",
    ),
    (("report", "--out", "x.pdf"), "error: "),
    (("duee",), "there is no command 'duee'; did you mean due? "),
    (("help", "no-such"), "there is no command 'no-such'; manage.py help names"),
    (("demo", "--port", "99999"), "'99999': write a whole number from 1 to 65535"),
    (("air", "--capacity", "six", "--pressure", "300"), "'six': write a number such as 60.5"),
    (("import_register",), "error: the following arguments are required: file"),
    (("due", "--site", "NOPE"), "CommandError: there is no site 'NOPE'"),
]


@pytest.mark.parametrize(
    ("words", "complaint"),
    WRONG_USE,
    ids=lambda value: " ".join(value) if isinstance(value, tuple) else "",
)
def test_a_shell_sees_2_for_wrong_use(
    spoken: Spoken, words: tuple[str, ...], complaint: str
) -> None:
    done = spoken[words]
    assert (done.status, done.out) == (2, "")
    assert complaint in done.err
    assert done.err.count("\n") == 1, "one line says it all"


OURS = sorted(name for name, app in get_commands().items() if not app.startswith("django."))


DJANGOS = {action.dest for action in BaseCommand().create_parser("", "")._actions}


def options(parser: ArgumentParser) -> Iterator[Action]:
    """The options of a command and of its subcommands, without those that Django adds."""
    for action in parser._actions:
        if isinstance(action, _SubParsersAction):
            for below in action.choices.values():
                yield from options(below)
        elif action.dest not in DJANGOS:
            yield action


@pytest.mark.parametrize("name", OURS)
def test_the_options_of_a_command_take_words_and_bounded_numbers(name: str) -> None:
    command = load_command_class(get_commands()[name], name)
    for action in options(command.create_parser("manage.py", name)):
        for choice in action.choices or ():
            assert type(choice) is str, f"{action.dest}: a refusal would print {choice!r}"
            assert choice, f"{action.dest}: a refusal would offer nothing as a word"
        assert action.type not in (int, float), f"{action.dest}: any number is taken"


NONSENSE = ("six", "", "nan", "inf", "1e999", "-1e30", "99999999999999999999")


@pytest.mark.parametrize("name", ["air", "demo", "hydro"])
def test_no_number_of_a_command_takes_nonsense(name: str) -> None:
    command = load_command_class("servicing", name)
    parser = command.create_parser("manage.py", name)
    readers = [action.type for action in options(parser) if callable(action.type)]
    assert readers
    for read in readers:
        for text in NONSENSE:
            with pytest.raises(ArgumentTypeError, match=r"write |can't|is no"):
                read(text)


@pytest.mark.parametrize(
    ("setting", "text", "complaint"),
    [
        ("NECKRING_LOG_LEVEL", "LOUD", "write one of DEBUG, INFO, WARNING, ERROR, CRITICAL"),
        ("NECKRING_DATA_DIR", "", "name a folder, or leave it unset"),
        ("NECKRING_ALLOWED_HOSTS", "https://x.example", "without https://, port or path"),
        ("NECKRING_HTTPS", "yes", "write 1 or 0"),
        ("NECKRING_BEHIND_PROXY", "", "write 1 or 0"),
        ("NECKRING_DEBUG", "true", "write 1 or 0"),
        ("NECKRING_LEAST_FREE_MB", "-1", "write a whole number"),
        ("NECKRING_SECRET_KEY", "short", "use 50 characters"),
        ("DATABASE_URL", "postgres://u:p@host:port/name", "write one such as postgres://"),
    ],
)
def test_a_setting_nobody_can_mean_is_told_in_one_line(
    tmp_path: Path, setting: str, text: str, complaint: str
) -> None:
    done = python(tmp_path, "manage.py", "check", **{setting: text})
    assert (done.status, done.out, done.err.count("\n")) == (2, "", 1)
    assert done.err.startswith(setting)
    assert complaint in done.err


def test_a_shell_sees_0_for_a_ledger_that_holds_and_1_for_one_that_does_not(
    demo: Path, tmp_path: Path
) -> None:
    folder = shutil.copytree(demo, tmp_path / "copy")
    assert manage(folder, "verify_ledger") == Said(
        0, "every chain holds and every guard is in place\n", ""
    )
    with sqlite3.connect(folder / "neckring.sqlite3") as database:
        database.execute("DROP TRIGGER record_no_update")
        [[tag, pk]] = database.execute(
            "SELECT i.tag, r.id FROM servicing_record r JOIN registry_item i ON i.id = r.item_id"
            " WHERE r.position = 3 LIMIT 1"
        )
        database.execute("UPDATE servicing_record SET note = 'forged' WHERE id = ?", [pk])
    database.close()
    done = manage(folder, "verify_ledger")
    assert (done.status, done.out) == (1, "")
    assert done.err.splitlines() == [
        "guard record_no_update is missing",
        f"{tag}: record 3: its content does not give its hash; it was altered",
        "CommandError: the ledger is not whole: 2 faults",
    ]


def test_a_reader_that_has_seen_enough_ends_a_list_without_a_trace(demo: Path) -> None:
    with subprocess.Popen(
        [sys.executable, "manage.py", "due"],
        cwd=ROOT,
        env=environment(demo),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as running:
        assert running.stdout is not None
        assert running.stderr is not None
        first = running.stdout.readline()
        running.stdout.close()
        assert running.stderr.read() == ""
    assert first.split() == COLUMNS
    assert running.returncode == 0


def test_a_database_that_is_not_set_up_is_told_in_one_line(tmp_path: Path) -> None:
    done = manage(tmp_path, "due")
    assert done.status == 2
    assert done.err.count("\n") == 1
    assert "has manage.py migrate been run?" in done.err


# ── sets ────────────────────────────────────────────────────────────────────────────────────────


@pytest.fixture
def sets(mask: Item) -> Path:
    """A set and a frame beside the mask; a list of two fittings of the past and one of now."""
    for tag, kind in (("S001", "set"), ("F001", "frame")):
        make_item(mask.site, tag, kind, made_on=date(2021, 5, 1))
    return Path("fittings.csv")


LIST = (
    "set,part,place,fitted_on,removed_on\n"
    "S001,00123,mask,2022-01-05,2023-01-05\n"
    "S001,F001,frame,2022-01-05,\n"
    "S001,00123,mask,2023-06-01,\n"
)


def test_fittings_come_in_once_and_an_end_closes_them(sets: Path, tmp_path: Path) -> None:
    file = tmp_path / sets
    file.write_text(LIST)
    checked = run("import_fittings", str(file), "--check")
    assert (checked.status, Fitting.objects.count()) == (0, 0)
    assert "3 fittings could be written; nothing was" in checked.out
    assert "3 fittings added, 0 closed, 0 as they were" in run("import_fittings", str(file)).out
    assert "0 fittings added, 0 closed, 3 as they were" in run("import_fittings", str(file)).out
    file.write_text(LIST.replace("2023-06-01,", "2023-06-01,2024-02-29"))
    assert "0 fittings added, 1 closed, 2 as they were" in run("import_fittings", str(file)).out
    assert "0 fittings added, 0 closed, 3 as they were" in run("import_fittings", str(file)).out
    assert TrailEntry.objects.filter(what="fitting").count() == 4
    assert [f.part.tag for f in Fitting.objects.open()] == ["F001"]


def test_a_list_of_fittings_with_a_fault_writes_nothing(sets: Path, tmp_path: Path) -> None:
    file = tmp_path / sets
    file.write_text(LIST + "S001,00123,mask,2023-09-01,\nS001,NOPE,mask,2023-09-01,\n")
    done = run("import_fittings", str(file))
    assert (done.status, Fitting.objects.count()) == (1, 0)
    assert f"{file}:5: column part: '00123' is taken: line 4 has 00123 in S001" in done.err
    assert f"{file}:6: column part: 'NOPE' is not in the register" in done.err
    assert "nothing was written" in done.err


def test_the_paper_of_a_set_is_written(sets: Path, tmp_path: Path) -> None:
    file, paper = tmp_path / sets, tmp_path / "set.pdf"
    file.write_text(LIST)
    run("import_fittings", str(file))
    assert run("report", "set", "S001", "--out", str(paper)).status == 0
    said = text_of(paper)
    assert "NOT READY" in said
    assert "Missing: the reducer." in said
    earlier = run("report", "set", "S001", "--on", "2023-03-01", "--out", str(paper))
    assert earlier.status == 0
    assert "Missing: the mask." in text_of(paper), "it was out between January and June"
    assert run("report", "set", "F001", "--out", str(paper)).status == 2

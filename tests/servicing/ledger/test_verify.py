"""Nothing vanishes unseen, and nobody needs this program to see it: A12, A14, A16."""

import io
import json
import random
import subprocess
import sys
from pathlib import Path

import pytest
from django.contrib.auth.models import User
from django.core.management import CommandError, call_command
from django.db import connection

from registry.sites.models import Site
from registry.trail import guards
from servicing.ledger.actions import sign
from servicing.ledger.models import Record, Signature
from servicing.ledger.queries.whole import ledger_faults
from tests.servicing.ledger.conftest import MOMENT, add_item, add_records

VERIFIER = Path(__file__).resolve().parents[3] / "fixtures" / "audit" / "verify_export.py"
HOLD = "hold, and 0 heads of a list kept outside\n"


def verified(*words: str) -> tuple[int, str]:
    """Return the exit status of verify_ledger and what it wrote to standard error."""
    said = io.StringIO()
    try:
        call_command("verify_ledger", *words, stdout=io.StringIO(), stderr=said)
    except CommandError as refusal:
        return refusal.returncode, said.getvalue()
    return 0, said.getvalue()


def unguarded(statement: str) -> None:
    """Run SQL as somebody does who has taken the guards away, and puts them back."""
    guards.remove(connection)
    with connection.cursor() as cursor:
        cursor.execute(statement)
    guards.install(connection)


def checked(export: Path, *heads: Path) -> tuple[int, str]:
    """Return what the stand-alone verifier says, run by a bare Python away from our code."""
    done = subprocess.run(
        [sys.executable, "-I", "-S", str(VERIFIER), str(export), *map(str, heads)],
        cwd=export.parent,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.stderr == ""
    return done.returncode, done.stdout


def exported(folder: Path, *words: str) -> Path:
    """Return an export of the ledger, written by the command."""
    file = folder / "export.jsonl"
    call_command("export_ledger", "--out", str(file), *words, stdout=io.StringIO())
    return file


@pytest.fixture
def fleet(chain: list[Record], workshop: Site, writer: User) -> list[Record]:
    """Three items with three, four and two records, the first record signed twice."""
    add_records(add_item(workshop, "00124"), "use", "use", "cleaning", "use")
    add_records(add_item(workshop, "00125"), "use", "cleaning")
    checker = User.objects.create_user("piran", first_name="Piran", last_name="Søe")
    for user, meaning in ((writer, "performed"), (checker, "checked")):
        sign(record=chain[0], user=user, meaning=meaning, at=MOMENT, zone="Europe/Vienna")
    return list(Record.objects.order_by("number"))


def test_a_sound_ledger_holds(fleet: list[Record]) -> None:
    assert [record.number for record in fleet] == list(range(1, 10))
    assert list(ledger_faults()) == []


LOST = {
    "tail": ("position > 1 AND marked_as LIKE '00124%%'", ["number 5", "number 6", "number 7"]),
    "item": ("marked_as LIKE '00125%%'", ["number 8", "number 9"]),
    "everything": ("number > 0", ["number 1", "number 9"]),
}


@pytest.mark.parametrize("lost", LOST)
def test_a_lost_tail_and_a_vanished_item_are_named(
    fleet: list[Record], tmp_path: Path, lost: str
) -> None:
    which, named = LOST[lost]
    kept = tmp_path / "heads.csv"
    call_command("heads", out=kept, stdout=io.StringIO())
    assert verified("--heads", str(kept)) == (0, "")
    unguarded("DELETE FROM servicing_signature" if lost == "everything" else "SELECT 1")
    unguarded(f"DELETE FROM servicing_record WHERE {which.replace('%%', '%')}")
    status, said = verified()
    assert status == 1
    for number in named:
        assert f"record {number} is missing" in said
    status, said = verified("--heads", str(kept))
    assert "of the head list is gone or altered" in said


def test_a_tail_lost_with_its_trail_is_named_by_the_list_kept_outside(
    fleet: list[Record], tmp_path: Path
) -> None:
    add_records(fleet[0].item, "use")
    kept = tmp_path / "heads.csv"
    call_command("heads", out=kept, stdout=io.StringIO())
    unguarded("DELETE FROM servicing_record WHERE number = 10")
    unguarded("DELETE FROM registry_trailentry WHERE number = 6")
    assert verified() == (0, "")
    status, said = verified("--heads", str(kept))
    assert (status, said.splitlines()) == (
        1,
        [
            "trail: entry 6 of the head list is gone or altered",
            "00123: record 4 of the head list is gone or altered",
        ],
    )


def test_a_record_that_was_slipped_in_is_named(fleet: list[Record]) -> None:
    columns = [str(field.column) for field in Record._meta.concrete_fields]
    fresh = {"id": "9999", "hash": "'h'", "entry_key": "'k'", "number": "10", "position": "4"}
    values = ", ".join(fresh.get(column, column) for column in columns)
    with connection.cursor() as cursor:
        cursor.execute(
            f"INSERT INTO servicing_record ({', '.join(columns)})"
            f" SELECT {values} FROM servicing_record WHERE number = 3"
        )
    assert "record number 10: the trail does not note it" in list(ledger_faults())


def test_a_signature_copied_to_another_record_is_named(fleet: list[Record]) -> None:
    first = Signature.objects.order_by("pk")[0]
    copy = {f.attname: getattr(first, f.attname) for f in Signature._meta.concrete_fields}
    Signature.objects.create(**{**copy, "id": 99, "record_id": fleet[1].pk, "hash": "copied"})
    [said] = ledger_faults()
    assert "record 2: signature as performed: it was given for another record" in said


@pytest.mark.parametrize(
    ("statement", "words"),
    [
        ("UPDATE servicing_signature SET printed_name = 'X'", "does not give its hash"),
        ("UPDATE servicing_signature SET zone = 'UTC'", "does not give its hash"),
        ("DELETE FROM servicing_signature", "record number 1: a signature is missing"),
        ("DELETE FROM registry_trailentry WHERE what = 'signature'", "the trail does not note it"),
        ("DELETE FROM registry_trailentry WHERE number = 1", "trail: entry 1: entry 1 is missing"),
    ],
)
def test_what_happens_to_signatures_and_trail_is_named(
    fleet: list[Record], statement: str, words: str
) -> None:
    unguarded(statement)
    assert words in "\n".join(ledger_faults())


def test_wrong_use_is_said_with_exit_status_2(db: None, tmp_path: Path) -> None:
    (tmp_path / "bad.csv").write_text("tag,position\nM1,2\n")
    for words in (
        ("verify_ledger", "--heads", str(tmp_path / "bad.csv")),
        ("verify_ledger", "--heads", str(tmp_path / "none.csv")),
        ("heads", "--out", str(tmp_path / "no" / "folder.csv")),
        ("export_ledger", "--out", str(tmp_path / "no" / "folder.jsonl")),
        ("export_ledger", "--out", str(tmp_path / "x.jsonl"), "--item", "NONE"),
    ):
        with pytest.raises(CommandError) as refusal:
            call_command(*words, stdout=io.StringIO(), stderr=io.StringIO())
        assert refusal.value.returncode == 2, words


def test_the_verifier_can_be_read_in_one_sitting_and_imports_nothing_of_ours() -> None:
    text = VERIFIER.read_text()
    assert len(text.splitlines()) <= 60
    imported = [row.split()[1] for row in text.splitlines() if row.startswith(("import", "from"))]
    assert set(imported) <= set(sys.stdlib_module_names)
    said = io.StringIO()
    call_command("export_ledger", "--verifier", stdout=said)
    assert said.getvalue() == text


def test_the_verifier_agrees_with_a_sound_export(fleet: list[Record], tmp_path: Path) -> None:
    assert checked(exported(tmp_path)) == (0, f"15 lines {HOLD}")
    assert checked(exported(tmp_path, "--item", "00124")) == (0, f"5 lines {HOLD}")


@pytest.mark.parametrize(
    ("what", "words"),
    [
        ("line-from-the-middle", "does not follow"),
        ("tail-of-an-item", "missing or altered"),
        ("signature", "a signature that was given is missing"),
        ("copied-signature", "a signature was not given for it"),
        ("end", "the end is missing"),
    ],
)
def test_the_verifier_names_what_was_taken_out(
    fleet: list[Record], tmp_path: Path, what: str, words: str
) -> None:
    file = exported(tmp_path)
    lines = [json.loads(line) for line in file.read_text("utf-8").splitlines()]
    if what == "line-from-the-middle":
        del lines[1]
    elif what == "tail-of-an-item":
        del lines[8]
    elif what == "signature":
        del lines[0]["signatures"][1]
    elif what == "copied-signature":
        lines[4]["signatures"] = lines[0]["signatures"][:1]
    else:
        del lines[-1]
    file.write_text("\n".join(json.dumps(line) for line in lines), encoding="utf-8")
    status, said = checked(file)
    assert status == 1
    assert words in said


@pytest.fixture
def last_week(fleet: list[Record], tmp_path: Path) -> Path:
    """A head list that an auditor took home."""
    kept = tmp_path / "heads.csv"
    call_command("heads", out=kept, stdout=io.StringIO())
    return kept


def test_the_verifier_finds_every_end_of_a_list_kept_outside_after_more_was_entered(
    fleet: list[Record], last_week: Path, tmp_path: Path
) -> None:
    add_records(fleet[0].item, "use")
    hold = "hold, and {} heads of a list kept outside\n"
    assert checked(exported(tmp_path), last_week) == (0, "17 lines " + hold.format(4))
    assert checked(exported(tmp_path, "--item", "00124"), last_week) == (
        0,
        "5 lines " + hold.format(1),
    )


@pytest.mark.parametrize(
    ("records", "entries", "named"),
    [
        ("number = 10", "number = 6", ["00123: "]),
        ("marked_as LIKE '00126%'", "number = 7", ["00126: ", "trail: "]),
        ("number > 9", "number > 5", ["00123: ", "00126: ", "trail: "]),
    ],
    ids=["lost tail", "vanished item", "both"],
)
def test_the_verifier_names_what_was_lost_with_its_trail_by_a_list_kept_outside(
    fleet: list[Record], tmp_path: Path, records: str, entries: str, named: list[str]
) -> None:
    add_records(fleet[0].item, "use")
    add_records(add_item(fleet[0].item.site, "00126"), "use", "cleaning")
    kept = tmp_path / "heads.csv"
    call_command("heads", out=kept, stdout=io.StringIO())
    unguarded(f"DELETE FROM servicing_record WHERE {records}")
    unguarded(f"DELETE FROM registry_trailentry WHERE {entries}")
    file = exported(tmp_path)
    # Lost from the end of the trail as well, the rest holds in itself: only the list tells.
    assert checked(file)[0] == (1 if records == "number = 10" else 0)
    status, said = checked(file, kept)
    assert status == 1
    ends = [row for row in said.splitlines() if "list of heads" in row]
    assert sorted(row.partition(" ")[0] + " " for row in ends) == named


@pytest.mark.parametrize("said", ["a,b\n1,2\n", "tag,position,hash\n00123,3,0\n"])
def test_a_list_that_names_what_is_not_there_does_not_pass(
    fleet: list[Record], tmp_path: Path, said: str
) -> None:
    kept = tmp_path / "heads.csv"
    kept.write_text(said)
    assert checked(exported(tmp_path), kept)[0] == 1


def test_one_flipped_byte_in_a_thousand_records_is_found_and_named(
    workshop: Site, tmp_path: Path
) -> None:
    for number in range(50):
        add_records(add_item(workshop, f"00{number + 200}"), *["use"] * 20)
    file = exported(tmp_path)
    sound = file.read_bytes()
    assert checked(file) == (0, f"1051 lines {HOLD}")
    lines = sound.splitlines(keepends=True)
    starts = [sum(map(len, lines[:line])) for line in range(1001)]
    dice = random.Random(1000)
    for _ in range(12):
        line = dice.randrange(1000)
        at = dice.randrange(starts[line], starts[line + 1] - 1)
        flipped = bytearray(sound)
        flipped[at] ^= 1
        file.write_bytes(flipped)
        status, said = checked(file)
        assert status == 1, (line, at)
        assert f"line {line + 1}" in said, (line, at, said)


@pytest.mark.django_db
def test_a_list_of_heads_that_is_not_there_is_said_without_a_number(tmp_path: Path) -> None:
    with pytest.raises(CommandError, match=r"lost\.csv: can't be read: No such file") as refused:
        call_command("verify_ledger", heads=tmp_path / "lost.csv")
    assert refused.value.returncode == 2

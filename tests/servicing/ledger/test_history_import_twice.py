"""Bringing in what was done before: all or nothing, once, and marked as carried over: A28, C26."""

import hashlib
import io
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from registry.items.models import Item
from registry.sites.models import Site
from servicing.due.models import StoredObligation
from servicing.ledger.models import Record
from servicing.ledger.queries.whole import broken_links
from tests.people import make_item
from tests.servicing.ledger.conftest import add_item, ledger_rows

HEADER = "tag,task,done_on,outcome,by,note,part_made_on,reading:leak,reading:opening"
ROWS = (
    "00123,cleaning,2025-03-02,pass,Ägidius Ørn,gespült,,,",
    '00123,tightness-test,2025-03-02,pass,Ägidius Ørn,"dicht; ok",,"1,10","-0,30 mbar"',
    "00123,diaphragm-renewal,2025-03-03,pass,Bo Lund,,2024-11-30,,",
    "00123,use,2025-04-01,pass,Bo Lund,,,,",
    "00123,use,2025-04-01,pass,Bo Lund,,,,",
    "00123,functional-test,2025-04-02,fail,Bo Lund,valve sticks,,1.10,",
)


def written(folder: Path, *rows: str, name: str = "history.csv") -> Path:
    file = folder / name
    file.write_text("\n".join((HEADER, *rows)) + "\n", encoding="utf-8")
    return file


def brought_in(file: Path, *options: str) -> tuple[int, str, str]:
    """Return exit status, standard output and standard error of import_history."""
    out, err = io.StringIO(), io.StringIO()
    try:
        call_command("import_history", str(file), *options, stdout=out, stderr=err)
    except CommandError as refusal:
        return refusal.returncode, out.getvalue(), f"{err.getvalue()}{refusal}"
    return 0, out.getvalue(), err.getvalue()


@pytest.fixture
def file(item: Item, tmp_path: Path) -> Path:
    """A list of six records of one mask, two of them alike."""
    return written(tmp_path, *ROWS)


def test_the_same_file_again_changes_nothing(file: Path) -> None:
    assert "6 records added, 0 were in the ledger already" in brought_in(file)[1]
    before = ledger_rows()
    status, said, _ = brought_in(file)
    assert status == 0
    assert "0 records added, 6 were in the ledger already" in said
    assert ledger_rows() == before
    assert list(broken_links()) == []


def test_the_same_file_again_leaves_the_due_dates(mask: Item, tmp_path: Path) -> None:
    file = written(tmp_path, *ROWS)
    brought_in(file)
    before = list(StoredObligation.objects.order_by("pk").values())
    assert before
    brought_in(file)
    assert list(StoredObligation.objects.order_by("pk").values()) == before


def test_the_same_rows_under_another_name_are_known(file: Path, tmp_path: Path) -> None:
    brought_in(file)
    again = written(tmp_path, *ROWS, name="copy of history.csv")
    assert "0 records added, 6 were" in brought_in(again)[1]


def test_a_file_that_has_grown_adds_only_what_is_new(file: Path, tmp_path: Path) -> None:
    brought_in(file)
    grown = written(tmp_path, *ROWS, ROWS[4], "00123,use,2025-05-01,pass,Bo Lund,,,,")
    assert "2 records added, 6 were" in brought_in(grown)[1]
    assert Record.objects.filter(task="use").count() == 4


def test_a_condemnation_can_be_brought_in_twice(item: Item, tmp_path: Path) -> None:
    file = written(tmp_path, *ROWS, "00123,functional-test,2025-04-03,condemned,Bo Lund,torn,,,")
    assert brought_in(file)[0] == 0
    status, said, _ = brought_in(file)
    assert (status, "0 records added, 7 were" in said) == (0, True)


def test_two_equal_rows_are_two_records(file: Path) -> None:
    brought_in(file)
    assert Record.objects.filter(task="use", done_on="2025-04-01").count() == 2


def test_records_stand_in_the_order_of_the_file(file: Path) -> None:
    brought_in(file)
    tasks = Record.objects.order_by("position").values_list("task", flat=True)
    assert list(tasks) == [row.split(",")[1] for row in ROWS]


def test_checking_writes_nothing(file: Path) -> None:
    assert brought_in(file, "--check") == (0, "6 records could be written; nothing was\n", "")
    assert not Record.objects.exists()


@pytest.mark.parametrize("options", [(), ("--check",)])
def test_one_bad_row_at_the_end_keeps_everything_out(
    item: Item, tmp_path: Path, options: tuple[str, ...]
) -> None:
    file = written(
        tmp_path,
        ROWS[0],
        "00124,use,2025-04-01,pass,Bo Lund,,,,",
        "00123,polishing,2025-04-01,perhaps,Bo Lund,,,,",
        "00123,use,2125-04-01,pass,,,,,",
    )
    status, said, complaints = brought_in(file, *options)
    assert (status, said) == (1, "")
    lines = complaints.splitlines()
    assert len(lines) == 6
    for line, column in ((3, "tag"), (4, "task"), (4, "outcome"), (5, "done_on"), (5, "by")):
        assert any(each.startswith(f"{file}:{line}: column {column}:") for each in lines)
    assert lines[-1] == "5 problems found, nothing was written"
    assert not Record.objects.exists()


def test_a_record_says_which_file_it_was_carried_over_from(file: Path) -> None:
    brought_in(file)
    digest = hashlib.sha256(file.read_bytes()).hexdigest()
    record = Record.objects.get(task="cleaning")
    assert record.carried_over_from == f"history.csv (SHA-256 {digest})"
    assert (record.performed_by, record.entered_by) == ("Ägidius Ørn", "command line")
    assert record.marked_as == "00123 · Pellwright · S-00123"


def test_readings_stay_as_they_were_typed(file: Path) -> None:
    brought_in(file)
    readings = {
        record.task: [[reading.name, reading.typed] for reading in record.readings_as_read]
        for record in Record.objects.exclude(readings=[])
    }
    assert readings == {
        "tightness-test": [["leak", "1,10"], ["opening", "-0,30 mbar"]],
        "functional-test": [["leak", "1.10"]],
    }


def test_the_made_date_of_a_renewed_part_is_kept(file: Path) -> None:
    brought_in(file)
    assert str(Record.objects.get(task="diaphragm-renewal").part_made_on) == "2024-11-30"


def test_what_a_condemned_item_did_afterwards_is_refused(file: Path, tmp_path: Path) -> None:
    brought_in(written(tmp_path, "00123,use,2025-04-01,condemned,Bo Lund,,,,", name="end.csv"))
    before = ledger_rows()
    status, _, complaints = brought_in(file)
    assert (status, "was condemned in the register, on 2025-04-01" in complaints) == (1, True)
    assert ledger_rows() == before


def test_records_of_several_items_keep_to_their_own_chains(
    file: Path, workshop: Site, tmp_path: Path
) -> None:
    add_item(workshop, "00124")
    mixed = [row.replace("00123", tag, 1) for row in ROWS for tag in ("00123", "00124")]
    brought_in(written(tmp_path, *mixed))
    counts = [item.records.count() for item in Item.objects.order_by("tag")]
    assert counts == [6, 6]
    assert list(broken_links()) == []


def test_an_item_of_another_maker_may_have_the_same_serial(mask: Item, tmp_path: Path) -> None:
    other = make_item(mask.site, "00777", maker="Ferrowane", serial=mask.serial)
    brought_in(written(tmp_path, "00777,use,2025-04-01,pass,Bo Lund,,,,"))
    assert other.records.get().marked_as == f"00777 · Ferrowane · {mask.serial}"

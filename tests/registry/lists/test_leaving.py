"""Lists that leave: safe in a spreadsheet, read back alike. X10, B19, D39."""

import csv
import io
from datetime import UTC, date, datetime

import pytest

from registry.lists.pure.leaving import csv_pieces, file_name, safe_cell
from tests.registry.lists.making import plain_rows


@pytest.mark.parametrize(
    "text",
    ["=HYPERLINK(1)", "+1", "-17", "@SUM(1)", "\t=1", "\r=1", "\n=1", "\uff1d1", "\uff0b1"],
)
def test_no_cell_is_a_formula(text: str) -> None:
    assert safe_cell(text) == f"'{text}"
    assert safe_cell("M040") == "M040"


def test_days_moments_and_nothing_are_cells_for_machines() -> None:
    assert safe_cell(date(2026, 11, 25)) == "2026-11-25"
    assert safe_cell(datetime(2026, 11, 25, 6, 40, tzinfo=UTC)) == "2026-11-25T06:40:00+00:00"
    assert safe_cell(None) == ""
    assert safe_cell(0) == "0"


def test_a_list_of_any_length_comes_whole_and_in_pieces() -> None:
    rows = [[f"{number:06}", 'a "quoted", long note\nof two lines'] for number in range(5000)]
    pieces = list(csv_pieces(["tag", "note"], rows))
    assert len(pieces) > 2
    text = "".join(pieces).removeprefix("\ufeff")
    assert list(csv.reader(io.StringIO(text, newline=""))) == [["tag", "note"], *rows]


def test_what_left_is_read_back_alike() -> None:
    sent = "".join(
        csv_pieces(["tag", "task"], [["=1+1", "use"], ["00123", "use"], ["-17", "-"]])
    ).encode()
    rows, problems = plain_rows(sent)
    assert not problems
    assert [row.cells["tag"] for row in rows] == ["=1+1", "00123", "-17"]
    assert rows[-1].cells["task"] == "-"


def test_a_file_name_is_taken_by_every_system() -> None:
    assert file_name("trail", 'M/0"4', "2026-11-25") == "trail-M-0-4-2026-11-25.csv"

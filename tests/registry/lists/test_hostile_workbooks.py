"""Workbooks made to harm: refused from their claims, or read in pieces that stay small.

Nothing here measures time or memory. What is refused by a claim is never unpacked, which the
tests see by the parts being rubbish; what is unpacked goes through in pieces of 64 kB.
"""

import io
import struct
import tracemalloc
import zipfile

import pytest

from registry.lists.pure.archive import CHUNK, MAX_PARTS, MAX_RATIO
from tests.registry.lists.making import (
    GOOD,
    HEADER,
    MAIN,
    SHEET,
    plain_rows,
    read,
    with_parts,
    with_sheet,
    workbook,
)

BOOK = workbook([HEADER, GOOD])
HEAD = (
    '<row r="1"><c r="A1" t="str"><v>tag</v></c><c r="B1" t="str"><v>task</v></c></row>'
    '<row r="2"><c r="A2" t="str"><v>1</v></c><c r="B2" t="str"><v>a</v></c></row>'
)
LAUGHS = "".join(
    f'<!ENTITY l{n} "{f"&l{n - 1};" * 10}">' if n else '<!ENTITY l0 "ha">' for n in range(9)
)


def only_words(content: bytes) -> str:
    """Return what is said about a workbook that is refused as a whole."""
    items, problems = read(content, "fleet.xlsx")
    assert items == []
    assert [(p.line, p.column) for p in problems] == [(1, "")]
    return problems[0].remedy


def test_a_hundred_megabytes_of_zeros_in_97_kilobytes_are_refused_by_the_claim() -> None:
    bomb = with_parts(BOOK, {SHEET: bytes(100 * 2**20)})
    assert len(bomb) < 150_000
    assert f"more than {MAX_RATIO} times its size" in only_words(bomb)


def test_the_same_hidden_in_any_other_part_is_refused() -> None:
    bomb = with_parts(BOOK, {"xl/media/image1.png": bytes(100 * 2**20)})
    assert f"more than {MAX_RATIO} times its size" in only_words(bomb)


def test_a_part_that_is_larger_than_it_claims_is_not_unpacked_whole() -> None:
    honest = with_parts(BOOK, {SHEET: b"<worksheet>" + b" " * (50 * 2**20)})
    claims = struct.pack("<L", 50 * 2**20 + 11)
    assert honest.count(claims) == 2  # before the part and in the list at the end
    lying = honest.replace(claims, struct.pack("<L", 1000))
    tracemalloc.start()
    words = only_words(lying)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert "is damaged" in words
    assert peak < 50 * CHUNK


def test_many_parts_are_counted_before_they_are_listed() -> None:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        for number in range(MAX_PARTS + 1):
            archive.writestr(f"{number}", b"")
    assert f"has more than {MAX_PARTS} parts" in only_words(stream.getvalue())


@pytest.mark.parametrize("part", [SHEET, "docProps/core.xml", "xl/styles.xml", "xl/new.xml"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
def test_a_document_type_definition_is_refused_in_any_part(part: str, encoding: str) -> None:
    text = f'<?xml version="1.0" encoding="{encoding}"?><!DOCTYPE x [{LAUGHS}]><x>&l8;</x>'
    words = only_words(with_parts(BOOK, {part: text.encode(encoding)}))
    assert "holds a document type definition" in words


def test_an_entity_that_reads_a_file_is_refused() -> None:
    text = '<!DOCTYPE x [<!ENTITY f SYSTEM "file:///etc/hostname">]><x>&f;</x>'
    assert "document type definition" in only_words(with_parts(BOOK, {SHEET: text.encode()}))


def test_a_sheet_may_claim_any_size() -> None:
    content = with_sheet(HEAD, before='<dimension ref="A1:XFD1048576"/>')
    rows, problems = plain_rows(content, "list.xlsx")
    assert problems == []
    assert [row.line for row in rows] == [2]


def test_a_cell_at_the_last_row_makes_no_rows_between() -> None:
    last = '<row r="1048576"><c r="A1048576" t="str"><v>2</v></c><c t="str"><v>b</v></c></row>'
    rows, problems = plain_rows(with_sheet(HEAD + last), "list.xlsx")
    assert problems == []
    assert [row.line for row in rows] == [2, 1_048_576]


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ('<row r="99999999999"><c t="str"><v>2</v></c></row>', "is damaged"),
        ('<row r="3"><c r="XFD3" t="str"><v>2</v></c></row>', "beyond column 512"),
        ('<row r="3"><c r="AAAAAA3" t="str"><v>2</v></c></row>', "is damaged"),
        ('<row r="3"><c r="A3" t="s"><v>77</v></c></row>', "is damaged"),
        ('<row r="3"><c r="A3"><v>twelve</v></c></row>', "is damaged"),
        ('<row r="3"><c r="A3" s="999"><v>12</v></c></row>', "is damaged"),
        ('<row r="3"><c r="A3"><v>12</v></row>', "is damaged"),
        ('<row r="3"><c r="A3"><v>' + "9" * 5000 + "</v></c></row>", "is damaged"),
    ],
)
def test_a_sheet_that_makes_no_sense_is_refused(row: str, words: str) -> None:
    _, problems = plain_rows(with_sheet(HEAD + row), "list.xlsx")
    assert len(problems) == 1
    assert words in problems[0].remedy


def test_empty_cells_that_are_only_coloured_may_stand_anywhere() -> None:
    row = '<row r="3"><c r="A3" s="0"/><c r="XFD3" s="0"/></row>'
    rows, problems = plain_rows(with_sheet(HEAD + row), "list.xlsx")
    assert problems == []
    assert [row.line for row in rows] == [2]


def test_a_text_of_any_length_is_kept_only_as_far_as_it_could_be_wanted() -> None:
    row = f'<row r="3"><c r="A3" t="str"><v>{"x" * 500_000}</v></c><c t="str"><v>b</v></c></row>'
    rows, problems = plain_rows(with_sheet(HEAD + row), "list.xlsx")
    assert [row.cells["task"] for row in rows] == ["a", "b"]
    assert problems[0].value == "x" * 59 + "…"
    assert "write 2000 at most" in problems[0].remedy


def noise(count: int) -> str:
    """Return text that does not compress far, so that its ratio does not give it away."""
    return "".join(f"{number * 7919 % 65521:x}" for number in range(count))


@pytest.mark.parametrize(
    "sheet",
    [
        "<a>" * 2000 + "</a>" * 2000,
        f'<worksheet note="{noise(600_000)}"/>',
        f"<worksheet><!--{noise(600_000)}--></worksheet>",
    ],
    ids=["elements in elements in elements", "a tag of megabytes", "a comment of megabytes"],
)
def test_what_a_parser_would_have_to_hold_in_memory_is_refused(sheet: str) -> None:
    assert "is damaged" in only_words(with_parts(BOOK, {SHEET: sheet.encode()}))


def test_an_encrypted_part_is_refused() -> None:
    mark = b"PK\x01\x02"
    start = BOOK.index(mark) + 8
    locked = BOOK[:start] + b"\x01" + BOOK[start + 1 :]
    assert "is protected or packed in an unusual way" in only_words(locked)


def test_a_part_that_is_there_twice_is_refused() -> None:
    stream = io.BytesIO(BOOK)
    with zipfile.ZipFile(stream, "a") as archive, pytest.warns(UserWarning, match="Duplicate"):
        archive.writestr(SHEET, f'<worksheet xmlns="{MAIN}"/>')
    assert "is damaged" in only_words(stream.getvalue())


@pytest.mark.parametrize(
    ("part", "words"),
    [
        ("xl/vbaProject.bin", "holds macros"),
        ("xl/macrosheets/sheet1.xml", "holds macros"),
        ("xl/externalLinks/externalLink1.xml", "takes values from other workbooks"),
        ("xl/workbook.bin", "is a binary workbook"),
        ("mimetype", "is an OpenDocument file"),
        ("word/document.xml", "is a text document"),
    ],
)
def test_what_no_list_needs_is_refused_by_its_name(part: str, words: str) -> None:
    assert words in only_words(with_parts(BOOK, {part: b"\xff not even XML"}))


def test_a_zip_without_a_workbook_is_refused() -> None:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        archive.writestr("list.csv", "tag\n1\n")
    assert "is a zip without a workbook in it" in only_words(stream.getvalue())

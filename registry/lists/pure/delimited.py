"""CSV as spreadsheets write it: comma, semicolon or tab, with or without a mark in front."""

import codecs
import csv
import io
import re
from collections.abc import Callable, Iterator
from itertools import islice

from registry.lists.pure.raw import NotReadable, RawRow

DELIMITERS = ",;\t"
HEAD_ROWS = 10
HEAD_BYTES = 65536

CELL_END = re.compile(rb"[,;\t\r\n\"]")
SAVE_AS_UTF8 = "save the file again as 'CSV UTF-8'"
FOREIGN_STARTS = (
    (b"\xff\xfe", f"is UTF-16 text; {SAVE_AS_UTF8}"),
    (b"\xfe\xff", f"is UTF-16 text; {SAVE_AS_UTF8}"),
    (b"%PDF", f"is a PDF; {SAVE_AS_UTF8} or as .xlsx from the program that made it"),
    (b"<", "is a web page or XML; open it in a spreadsheet program and save it as .xlsx"),
)

Fitness = Callable[[list[list[str]]], tuple[bool, int]]


def csv_rows(content: bytes, fitness: Fitness) -> Iterator[RawRow]:
    """Return the rows of a CSV file, blank ones too.

    fitness: how well the first rows fit as a header; it decides between the delimiters.
    Raises NotReadable for other encodings at once, and while the rows are asked for at a
    quotation mark that isn't closed.
    """
    _refuse_other_text(content)
    return _rows(content, max(DELIMITERS, key=lambda mark: fitness(_head(content, mark))))


def _rows(content: bytes, delimiter: str) -> Iterator[RawRow]:
    reader = csv.reader(_lines(content), delimiter=delimiter, strict=True, skipinitialspace=True)
    line = 1
    try:
        for cells in reader:
            yield RawRow(line, cells)
            line = reader.line_num + 1
    except csv.Error:
        raise NotReadable(
            "begins a row with a quotation mark that is not closed or not doubled (reading "
            f"stopped at line {reader.line_num}); put quotation marks around the whole cell and "
            "double those inside it. Rows from here on were not looked at",
            line=line,
        ) from None


def _lines(content: bytes) -> io.TextIOWrapper:
    return io.TextIOWrapper(io.BytesIO(content), encoding="utf-8-sig", newline="")


def _head(content: bytes, delimiter: str) -> list[list[str]]:
    """Return the first rows as this delimiter would cut them."""
    text = content[:HEAD_BYTES].decode("utf-8-sig", errors="ignore")
    lines = io.StringIO(text, newline="")
    reader = csv.reader(lines, delimiter=delimiter, skipinitialspace=True)
    return list(islice(reader, HEAD_ROWS))


def _refuse_other_text(content: bytes) -> None:
    for start, remedy in FOREIGN_STARTS:
        if content[:64].removeprefix(codecs.BOM_UTF8).lstrip().startswith(start):
            raise NotReadable(remedy)
    if (position := content.find(b"\0")) >= 0:
        raise NotReadable(
            "holds NUL bytes, so it is not plain text (UTF-16 without its mark, or damaged); "
            + SAVE_AS_UTF8,
            line=_line_at(content, position),
        )
    try:
        content.decode("utf-8")
    except UnicodeDecodeError as bad:
        raise NotReadable(
            "is not UTF-8 text: the file was saved in an older encoding such as Latin-1; "
            + SAVE_AS_UTF8,
            line=_line_at(content, bad.start),
            value=_around(content, bad.start),
        ) from None


def _line_at(content: bytes, position: int) -> int:
    return content.count(b"\n", 0, position) + 1


def _around(content: bytes, position: int) -> str:
    """Return the word with the odd byte as an older program would have shown it."""
    before = CELL_END.split(content[max(0, position - 20) : position])[-1]
    after = CELL_END.split(content[position : position + 20])[0]
    return (before + after).decode("cp1252", errors="replace")

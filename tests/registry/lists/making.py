"""Registers and workbooks for the tests of lists, made on the spot."""

import io
import zipfile
from collections.abc import Callable, Mapping, Sequence
from datetime import date
from typing import Any

import openpyxl
from openpyxl.worksheet.worksheet import Worksheet

from registry.lists.pure.problems import Problem
from registry.lists.pure.register import ItemRow, read_register
from registry.lists.pure.tables import Row, read_rows

TODAY = date(2026, 11, 25)
SITES = {"NORTH": TODAY, "SOUTH": TODAY, "ISLAND": date(2026, 11, 26)}
REGISTERED = {
    "00900": ("Northvale", "S900"),
    "00901": ("Northvale", "S901"),
}
HEADER = ("tag", "kind", "maker", "model", "serial", "made_on", "in_service_on", "site")
"""The columns that every list of items has, as README promises them."""
HEAD = ",".join(HEADER)
GOOD = ("00123", "mask", "Northvale", "M1", "00042", "2019-05", "2019-06-01", "NORTH")


def register_csv(*rows: Sequence[str], header: Sequence[str] = HEADER, mark: str = ",") -> bytes:
    """Return a register whose cells need no quotation marks."""
    return "\n".join(mark.join(row) for row in (header, *rows)).encode()


def changed(**cells: str) -> tuple[str, ...]:
    """Return the good row with some cells replaced."""
    return tuple(cells.get(column, cell) for column, cell in zip(HEADER, GOOD, strict=True))


def read(content: bytes, name: str = "fleet.csv") -> tuple[list[ItemRow], list[Problem]]:
    """Read a register against the sites and items above."""
    return read_register(name, content, sites=SITES, registered=REGISTERED)


def plain_rows(content: bytes, name: str = "list.csv") -> tuple[list[Row], list[Problem]]:
    """Read any list with the columns tag, task and note, of which tag and task must be there."""
    return read_rows(
        name,
        content,
        columns=frozenset({"tag", "task", "note"}),
        required=frozenset({"tag", "task"}),
    )


def workbook(
    rows: Sequence[Sequence[Any]],
    *,
    formats: Mapping[str, str] | None = None,
    change: Callable[[openpyxl.Workbook, Worksheet], None] = lambda book, sheet: None,
) -> bytes:
    """Return a workbook of one sheet. formats: number formats by cell, such as B2."""
    book = openpyxl.Workbook()
    sheet = book.active
    assert isinstance(sheet, Worksheet)
    for row in rows:
        sheet.append(list(row))
    for cell, code in (formats or {}).items():
        sheet[cell].number_format = code
    change(book, sheet)
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def with_parts(content: bytes, parts: Mapping[str, bytes]) -> bytes:
    """Return a workbook with some of its parts replaced or added."""
    stream = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(content)) as old,
        zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for name in old.namelist():
            if name not in parts:
                new.writestr(name, old.read(name))
        for name, part in parts.items():
            new.writestr(name, part)
    return stream.getvalue()


SHEET = "xl/worksheets/sheet1.xml"
MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"


def with_sheet(data: str, before: str = "") -> bytes:
    """Return a workbook whose sheet is written by hand. before: what stands above its data."""
    sheet = f'<worksheet xmlns="{MAIN}">{before}<sheetData>{data}</sheetData></worksheet>'
    return with_parts(workbook([["tag"]]), {SHEET: sheet.encode()})

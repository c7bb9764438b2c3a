"""Workbooks: what a cell shows is what is read, and what could hide something is refused."""

import io
import re
import zipfile
from datetime import date, datetime, time
from typing import Any

import openpyxl
import pytest
from openpyxl.utils.datetime import MAC_EPOCH
from openpyxl.worksheet.worksheet import Worksheet

from registry.cells.pure.days import day
from registry.cells.pure.values import ValueProblem
from registry.lists.pure.cells import EPOCH_1900, EPOCH_1904, Dated, Shape, text_as_shown
from tests.registry.lists.making import (
    GOOD,
    HEADER,
    changed,
    plain_rows,
    read,
    with_sheet,
    workbook,
)


def cell_text(value: Any, code: str = "General") -> str:
    """Return how a cell of a column of notes is read."""
    content = workbook([["tag", "task", "note"], ["1", "a", value]], formats={"C2": code})
    rows, problems = plain_rows(content, "list.xlsx")
    assert problems == []
    return rows[0].cells["note"]


@pytest.mark.parametrize(
    ("value", "code", "text"),
    [
        ("00123", "General", "00123"),
        (123, "General", "123"),
        (123.0, "General", "123"),
        (123, "00000", "00123"),
        (12345678, "00000", "12345678"),
        (6.8, "General", "6.8"),
        (0.1 + 0.2, "General", "0.3"),  # 15 digits are kept, as spreadsheets show
        (1.1, "0.00", "1.10"),
        (1.125, "0.0", "1.125"),  # fewer places are shown than are there: nothing is rounded
        (-5, "000", "-5"),
        (0.00002, "General", "0.00002"),
        (120000000000, "General", "120000000000"),  # shown as 1.2E+11, and still exact
        (1234567890123456, "General", "1.23456789012346e+15"),  # rounded, so refused as a code
        (0.209, "0.0%", "20.9%"),  # a share that shows as a percentage is not 0.209
        (1234.5, "#,##0.00", "1234.5"),
        (date(2026, 3, 5), "yyyy-mm-dd", "2026-03-05"),
        (date(2026, 3, 5), "dd/mm/yy", "2026-03-05"),
        (date(2026, 3, 5), '[$-407]d. mmmm yyyy"\xa0"', "2026-03-05"),
        (date(2019, 5, 1), "mmm-yy", "2019-05"),  # what a spreadsheet makes of a typed 2019-05
        (date(2019, 5, 17), "mmm-yy", "2019-05-17"),
        (date(2019, 1, 1), "yyyy", "2019"),
        (date(2026, 5, 19), "d-mmm", "19 May"),  # typed as 5/19: the year is a guess
        (date(2026, 5, 19), "dd.mm.", "19 May"),
        (datetime.fromisoformat("2026-03-05T14:30"), "yyyy-mm-dd hh:mm", "2026-03-05 14:30:00"),
        (time(14, 30), "hh:mm", "14:30:00"),
        (date(1900, 2, 28), "yyyy-mm-dd", "1900-02-28"),
        (date(1900, 3, 1), "yyyy-mm-dd", "1900-03-01"),
        (60, "yyyy-mm-dd", "1900-02-29"),  # no real day, so no column of days takes it
        (-1, "yyyy-mm-dd", "-1"),
        (5, '0 "days"', "5"),
        (5, "General;[Red]-General", "5"),
    ],
)
def test_a_cell_reads_as_it_shows(value: Any, code: str, text: str) -> None:
    assert cell_text(value, code) == text


@pytest.mark.parametrize("epoch", [EPOCH_1900, EPOCH_1904])
@pytest.mark.parametrize("raw", ["2957003.9999999", "2958465", "2958465.9999999", "1e300"])
def test_a_number_past_the_last_day_is_no_day_and_no_harm(raw: str, epoch: datetime) -> None:
    text = text_as_shown(raw, Shape(dated=Dated.WHOLE), epoch=epoch)
    with pytest.raises(ValueProblem):
        day(text)


@pytest.mark.parametrize("raw", ["NaN", "INF", "-INF", "0x10", "1,5"])
def test_what_is_no_number_is_not_shown_as_one(raw: str) -> None:
    with pytest.raises(ValueError, match=re.escape(raw)):
        text_as_shown(raw, Shape(), epoch=EPOCH_1900)


def test_a_workbook_that_counts_from_1904_shows_the_same_days() -> None:
    def count_from_1904(book: openpyxl.Workbook, sheet: Worksheet) -> None:
        book.epoch = MAC_EPOCH
        sheet["C2"] = date(2026, 3, 5)

    content = workbook([["tag", "task", "note"], ["1", "a", None]], change=count_from_1904)
    assert plain_rows(content, "list.xlsx")[0][0].cells["note"] == "2026-03-05"


def test_rich_text_is_joined_and_phonetic_guides_are_left_out() -> None:
    shared = "<is><r><t>Nor</t></r><r><t>th</t></r><rPh sb='0' eb='1'><t>nooth</t></rPh></is>"
    data = (
        '<row><c t="inlineStr"><is><t>tag</t></is></c><c t="inlineStr"><is><t>task</t></is></c>'
        f'</row><row><c t="inlineStr">{shared}</c><c t="str"><v>a_x000A_b_xD83D_c</v></c></row>'
    )
    rows, problems = plain_rows(with_sheet(data), "list.xlsx")
    assert problems == []
    assert rows[0].cells == {"tag": "North", "task": "a\nb_xD83D_c"}


def test_a_day_cell_is_a_day_and_a_moment_is_refused() -> None:
    days = changed(made_on="", in_service_on="")
    late = changed(tag="2", serial="2", in_service_on="")

    def date_cells(_: openpyxl.Workbook, sheet: Worksheet) -> None:
        sheet["F2"] = date(2019, 5, 17)
        sheet["G3"] = datetime.fromisoformat("2019-06-01T08:15")

    content = workbook([HEADER, days, late], change=date_cells)
    items, problems = read(content, "fleet.xlsx")
    assert [(item.attributes["made_on"], item.attributes["made_to_month"]) for item in items] == [
        (date(2019, 5, 17), False)
    ]
    assert [(p.line, p.column, p.value) for p in problems] == [
        (3, "in_service_on", "2019-06-01 08:15:00")
    ]
    assert problems[0].remedy == "has a time of day; write the day alone: 2019-06-01"


def test_a_tag_that_the_spreadsheet_made_a_date_is_refused() -> None:
    content = workbook(
        [HEADER, changed(tag="")],
        change=lambda _, sheet: sheet.__setitem__("A2", date(2026, 3, 5)),
    )
    items, problems = read(content, "fleet.xlsx")
    assert items == []
    assert [(p.column, p.value) for p in problems] == [("tag", "2026-03-05")]
    assert "is a date to the spreadsheet" in problems[0].remedy


@pytest.mark.parametrize(
    ("value", "shown", "words"),
    [
        ("=1+1", "=1+1", "is a formula (cell E2), and the result stored with it may be old"),
        (True, "TRUE", "is a yes/no cell (E2); format the column as text"),
        ("#N/A", "#N/A", "is a failed calculation (cell E2); type the value itself"),
        (1234567890123456, "1.23456789012346e+15", "a number that a spreadsheet has rounded"),
    ],
)
def test_a_cell_without_a_plain_value_is_refused(value: Any, shown: str, words: str) -> None:
    content = workbook([HEADER, GOOD], change=lambda _, sheet: sheet.__setitem__("E2", value))
    items, problems = read(content, "fleet.xlsx")
    assert items == []
    assert [(p.line, p.column, p.value) for p in problems] == [(2, "serial", shown)]
    assert words in problems[0].remedy


def test_a_text_that_begins_with_an_equals_sign_is_no_formula() -> None:
    data = (
        '<row><c t="inlineStr"><is><t>tag</t></is></c><c t="inlineStr"><is><t>task</t></is></c>'
        '</row><row><c t="inlineStr"><is><t>=1+1</t></is></c><c t="str"><v>a</v></c></row>'
    )
    rows, problems = plain_rows(with_sheet(data), "list.xlsx")
    assert problems == []
    assert rows[0].cells["tag"] == "=1+1"


def test_a_formula_above_the_header_or_beside_the_list_is_told_only_beside_it() -> None:
    rows = [["as of", "=TODAY()"], ["tag", "task"], ["1", "a", "=1+1"]]
    found, problems = plain_rows(workbook(rows), "list.xlsx")
    assert found == []
    assert [(p.line, p.value) for p in problems] == [(3, "=1+1")]


def test_other_sheets_that_hold_data_are_named() -> None:
    def add(book: openpyxl.Workbook, _: Worksheet) -> None:
        book.create_sheet("Old list")["A1"] = "tag"
        book.create_sheet("Empty")
        book.create_sheet("Spare")["B9"] = 7

    items, problems = read(workbook([HEADER, GOOD], change=add), "fleet.xlsx")
    assert [item.tag for item in items] == ["00123"]
    assert [(p.line, p.column, p.value) for p in problems] == [(1, "", "Old list, Spare")]
    assert "only the first sheet is read" in problems[0].remedy


def test_a_merged_title_and_gaps_between_rows_are_taken() -> None:
    def shape(_: openpyxl.Workbook, sheet: Worksheet) -> None:
        sheet["A1"] = "Fleet of the northern stations"
        sheet.merge_cells("A1:H1")
        for place, (name, cell) in enumerate(zip(HEADER, GOOD, strict=True), start=1):
            sheet.cell(4, place, name)
            sheet.cell(9, place, cell)

    items, problems = read(workbook([], change=shape), "fleet.xlsx")
    assert problems == []
    assert [(item.line, item.tag) for item in items] == [(9, "00123")]


STRICT = "http://purl.oclc.org/ooxml"
OFFICE = f"{STRICT}/officeDocument/relationships"
PACKAGE = "http://schemas.openxmlformats.org/package/2006/relationships"


def test_a_workbook_of_another_make_reads_the_same() -> None:
    """The strict edition of the format, prefixes, other folders, and nothing but what must be."""

    def relations(kind: str, target: str) -> bytes:
        link = f'<Relationship Id="a" Type="{OFFICE}/{kind}" Target="{target}"/>'
        return f'<Relationships xmlns="{PACKAGE}">{link}</Relationships>'.encode()

    cells = ("tag", "task", "00123", "a")
    row = "<x:row>{}</x:row>"
    texts = [f'<x:c t="inlineStr"><x:is><x:t>{cell}</x:t></x:is></x:c>' for cell in cells]
    data = row.format("".join(texts[:2])) + row.format("".join(texts[2:]))
    main = f'xmlns:x="{STRICT}/spreadsheetml/main"'
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        archive.writestr("_rels/.rels", relations("officeDocument", "book/main.xml"))
        archive.writestr("book/_rels/main.xml.rels", relations("worksheet", "/cells/One.xml"))
        archive.writestr(
            "book/main.xml",
            f'<x:workbook {main} xmlns:r="{OFFICE}"><x:sheets><x:sheet name="L" r:id="a"/>'
            "</x:sheets></x:workbook>",
        )
        archive.writestr(
            "cells/One.xml", f"<x:worksheet {main}><x:sheetData>{data}</x:sheetData></x:worksheet>"
        )
    rows, problems = plain_rows(stream.getvalue(), "list.xlsx")
    assert problems == []
    assert [(row.line, row.cells) for row in rows] == [(2, {"tag": "00123", "task": "a"})]

"""Files as spreadsheets and people make them, and the sentence each is refused with.

The column `source` says where the fault was seen: what DEVELOPERS.md lists (X9,
X10, X11, B18, C19, D5, D40) or the habit of a spreadsheet.
"""

import re
from pathlib import Path

import pytest

from registry.lists.pure.tables import MAX_BYTES
from tests.registry.lists.making import (
    GOOD,
    HEADER,
    changed,
    read,
    register_csv,
    with_parts,
    workbook,
)

REFUSED = Path(__file__).parents[2] / "refused" / "lists"
TEXT = register_csv(GOOD)

FILES = [
    # file, line, column, value, words of the remedy, source
    ("no-header.csv", 1, "", "", "has no header in its first 10 rows; name the columns", "D40"),
    ("misspelt-column.csv", 1, "", "serail", "rename it serial if that is meant", "D40"),
    ("misspelt-column.csv", 1, "serial", "", "is missing; add this column", "D40"),
    ("column-twice.csv", 1, "tag", "tag", "named twice; delete one", "D40"),
    ("nameless-column.csv", 2, "", "blue", "name the column or empty the cell", "D40"),
    ("decimal-comma.csv", 2, "", "8", "put quotation marks around a cell", "decimal comma"),
    ("open-quotation.csv", 2, "", "", "stopped at line 3", "RFC 4180, 2.7"),
    ("rounded-tag.csv", 2, "tag", "1.2E+11", "format the column as text", "D40, 1.2E+11"),
    ("rounded-serial.csv", 2, "serial", "1,23457E+14", "format the column as text", "D40"),
    ("two-digit-year.csv", 2, "in_service_on", "01/06/19", "two figures; write all four", "D40"),
    (
        "day-or-month-first.csv",
        2,
        "in_service_on",
        "03/04/2025",
        "3 April or 4 March; write YYYY-MM-DD, 2025-04-03 or 2025-03-04",
        "X9",
    ),
    ("month-after-day.csv", 2, "in_service_on", "13/04/2025", "YYYY-MM-DD: 2025-04-13", "X9"),
    ("years-only.csv", 2, "made_on", "2019", "has no month; write YYYY-MM", "X9, 2025"),
    ("years-only.csv", 2, "in_service_on", "2025", "write YYYY-MM-DD", "X9, 2025"),
    ("narrow-column.csv", 2, "in_service_on", "########", "too narrow; widen it", "saved as shown"),
    ("failed-calculation.csv", 2, "serial", "#REF!", "failed calculation; type the", "as shown"),
    ("lost-letters.csv", 2, "maker", "N�rthvale", "letters that were lost", "wrong encoding"),
    ("look-alike-letters.csv", 3, "tag", "AВ125", "2 is CYRILLIC CAPITAL LETTER VE", "D40"),
    ("dash-for-hyphen.csv", 2, "tag", "A–12", "character 2 is EN DASH", "autocorrection"),
    ("unbroken-space-inside.csv", 2, "tag", "A\u00a012", "2 is NO-BREAK SPACE", "D40, NBSP"),
    ("tag-twice.csv", 4, "tag", "00123", "stands in line 2 already", "contract of import"),
    ("web-page.csv", 1, "", "", "is a web page or XML; open it", "exports called .csv"),
]


@pytest.mark.parametrize("case", FILES, ids=lambda case: f"{case[0]} {case[4][:20]}")
def test_a_text_file_is_refused_with_a_remedy(case: tuple[str, int, str, str, str, str]) -> None:
    file, line, column, value, words, source = case
    _, problems = read((REFUSED / file).read_bytes(), file)
    told = [(p.file, p.line, p.column, p.value) for p in problems if words in p.remedy]
    assert told == [(file, line, column, value)], (source, problems)


BYTES = [
    ("empty.csv", b"", 1, "", "is empty; bring a CSV file", "0 bytes, B17"),
    ("blank.csv", b"\xef\xbb\xbf\r\n;;;\r\n", 1, "", "is empty; bring", "D40"),
    ("large.csv", b"x" * (MAX_BYTES + 1), 1, "", "larger than 64 MB; split", "B18"),
    (
        "utf16.csv",
        TEXT.decode().encode("utf-16"),
        1,
        "",
        "UTF-16 text; save",
        "spreadsheet 'Unicode'",
    ),
    ("utf16be.csv", b"\xfe\xff\0t\0a", 1, "", "UTF-16 text; save", "spreadsheet 'Unicode'"),
    ("utf16le.csv", TEXT.decode().encode("utf-16-le"), 1, "", "holds NUL bytes", "no mark"),
    ("nul.csv", TEXT.replace(b"M1", b"M\0"), 2, "", "holds NUL bytes, so it is not", "damage"),
    (
        "latin1.csv",
        TEXT.replace(b"Northvale", "Nörthvale".encode("latin-1")),
        2,
        "Nörthvale",
        "is not UTF-8 text: the file was saved in an older",
        "D40",
    ),
    ("old.xls", b"\xd0\xcf\x11\xe0" + bytes(600), 1, "", "old workbook (.xls)", "D40"),
    ("locked.xlsx", b"\xd0\xcf\x11\xe0" + bytes(600), 1, "", "one with a password", "D40"),
    ("text.xlsx", TEXT, 1, "", "is not a workbook although its name ends", "B17"),
    ("book.csv", workbook([HEADER, GOOD]), 1, "", "is a workbook although", "B17"),
    ("fleet.ods", TEXT, 1, "", "has the ending .ods; bring a CSV", "B17"),
    ("book.pdf.csv", b"%PDF-1.7\n", 1, "", "is a PDF; save", "B17"),
    ("cut.xlsx", workbook([HEADER, GOOD])[:3000], 1, "", "is damaged; open it", "broken copy"),
    (
        "macros.xlsx",
        with_parts(workbook([HEADER]), {"xl/vbaProject.bin": b"x"}),
        1,
        "",
        "holds macros; save it as .xlsx",
        "B18",
    ),
    (
        "linked.xlsx",
        with_parts(workbook([HEADER]), {"xl/externalLinks/a.xml": b"<a/>"}),
        1,
        "",
        "from other workbooks; copy its cells",
        "B18",
    ),
]


@pytest.mark.parametrize("case", BYTES, ids=lambda case: str(case[0]))
def test_a_file_of_another_kind_is_refused_once_with_a_remedy(
    case: tuple[str, bytes, int, str, str, str],
) -> None:
    file, content, line, value, words, source = case
    items, problems = read(content, file)
    assert items == []
    assert [(p.file, p.line, p.column, p.value) for p in problems] == [(file, line, "", value)]
    assert words in problems[0].remedy, source


def test_no_message_speaks_like_a_machine() -> None:
    contents = [(file, (REFUSED / file).read_bytes()) for file, *_ in FILES]
    contents += [(file, content) for file, content, *_ in BYTES]
    contents.append(("forty.csv", (REFUSED / "register-40-faults.csv").read_bytes()))
    said = [problem.remedy for file, content in contents for problem in read(content, file)[1]]
    machine = re.compile(
        r"\b(invalid|error|illegal|null|none|nan|regex|parse|exception|utf8|0x\w+|E\d{2,})\b", re.I
    )
    assert len(said) > 70
    assert [remedy for remedy in said if machine.search(remedy)] == []


def test_every_problem_of_a_row_is_told() -> None:
    row = changed(tag="1.2E+11", kind="masks", made_on="2019", site="WEST")
    _, problems = read(register_csv(row))
    assert [problem.column for problem in problems] == ["kind", "made_on", "site", "tag"]


def test_rows_above_an_open_quotation_are_still_judged() -> None:
    content = register_csv(changed(tag="A", serial="A", site="WEST"), GOOD) + b'\n00124,mask,"N\n'
    items, problems = read(content)
    assert [item.tag for item in items] == ["00123"]
    assert [(problem.line, problem.column) for problem in problems] == [(2, "site"), (4, "")]


def test_a_long_value_is_quoted_in_part() -> None:
    _, problems = read(register_csv(changed(tag="x" * 3000)))
    assert len(problems[0].value) == 60
    assert problems[0].value.endswith("x…")
    assert problems[0].remedy == "has 3000 characters; write 2000 at most"

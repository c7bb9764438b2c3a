"""What a spreadsheet adds by itself is taken without a word (D40), and codes stay codes (D5)."""

import pytest

from registry.lists.pure.tables import read_rows
from tests.registry.lists.making import GOOD, HEADER, changed, plain_rows, read, register_csv

TITLE = "Fleet of the northern stations"


def quoted(content: bytes) -> bytes:
    """Return a CSV file with every cell in quotation marks."""
    lines = content.decode().split("\n")
    return "\n".join(",".join(f'"{cell}"' for cell in line.split(",")) for line in lines).encode()


PLAIN = register_csv(GOOD)
TAKEN = {
    "a mark in front": b"\xef\xbb\xbf" + PLAIN,
    "semicolons": register_csv(GOOD, mark=";"),
    "tabs": register_csv(GOOD, mark="\t"),
    "semicolons told by an extra first line": b"sep=;\n" + register_csv(GOOD, mark=";"),
    "CRLF": PLAIN.replace(b"\n", b"\r\n") + b"\r\n",
    "CR alone": PLAIN.replace(b"\n", b"\r"),
    "quotation marks everywhere": quoted(PLAIN),
    "spaces after the commas": quoted(PLAIN).replace(b",", b", "),
    "trailing blank rows": PLAIN + b"\n,,,,,,,\n\n   \n,,,,,,,\n",
    "trailing separators": PLAIN.replace(b"\n", b",,,\n") + b",,,",
    "a title row": f"{TITLE},,,,,,,\n".encode() + PLAIN,
    "nine rows of title": b"Fleet; and more\n" * 9 + PLAIN,
    "capitals in the header": PLAIN.replace(b"tag,", b" TAG ,").replace(b"site", b"Site"),
    "unbroken spaces around": PLAIN.replace(b"00123", "\u00a000123\u2003\u200b".encode()),
    "capitals in words": PLAIN.replace(b"mask", b"Mask"),
    "columns in another order": register_csv(GOOD[::-1], header=HEADER[::-1]),
}


@pytest.mark.parametrize("content", TAKEN.values(), ids=TAKEN.keys())
def test_it_reads_as_if_it_were_plain(content: bytes) -> None:
    items, problems = read(content)
    assert problems == []
    (item,) = items
    assert (item.tag, item.kind, item.serial, item.site) == ("00123", "mask", "00042", "NORTH")
    assert item.attributes["made_to_month"]


def test_a_row_keeps_the_line_it_begins_on() -> None:
    content = b'tag,task,note\n1,a,"one\ntwo\r\nthree"\n\n2,b,\n'
    rows, problems = plain_rows(content)
    assert problems == []
    assert [(row.line, row.cells["tag"]) for row in rows] == [(2, "1"), (6, "2")]
    assert rows[0].cells["note"] == "one\ntwo\r\nthree"


def test_inner_spaces_and_other_letters_are_kept() -> None:
    rows, problems = plain_rows("tag,task,note\n1,a, é\u00a0à  ö \n".encode())
    assert problems == []
    assert rows[0].cells["note"] == "é\u00a0à  ö"


def test_a_short_row_has_empty_cells() -> None:
    rows, _ = plain_rows(b"tag,task,note\n1,a\n")
    assert rows[0].cells == {"tag": "1", "task": "a", "note": ""}


@pytest.mark.parametrize(
    ("cell", "text"),
    [("'=1+1", "=1+1"), ("'-17", "-17"), ("''@x", "'@x"), ("'＝1", "＝1"), ("-17", "-17")],
)
def test_an_apostrophe_that_an_export_added_is_taken_off(cell: str, text: str) -> None:
    """B19: our own import reads an export back the same."""
    rows, problems = plain_rows(f"tag,task\n{cell},a\n".encode())
    assert problems == []
    assert rows[0].cells["tag"] == text


def test_tags_that_differ_in_zeros_or_capitals_are_different_tags() -> None:
    rows = [changed(tag=tag, serial=tag) for tag in ("00123", "123", "a1", "A1")]
    items, problems = read(register_csv(*rows))
    assert problems == []
    assert [item.tag for item in items] == ["00123", "123", "a1", "A1"]


def test_a_header_without_rows_is_an_empty_list() -> None:
    assert read(register_csv()) == ([], [])


def test_an_unknown_column_does_not_hide_what_is_wrong_in_the_rows() -> None:
    content = register_csv((*changed(site="WEST"), "red"), header=(*HEADER, "colour"))
    _, problems = read(content)
    assert [(problem.line, problem.value) for problem in problems] == [(1, "colour"), (2, "WEST")]


def test_the_name_after_a_prefix_is_kept_as_written() -> None:
    header = b"tag,READING: Leak_mbar,reading:leak_mbar,reading:,temperature\n"
    rows, problems = read_rows(
        "list.csv",
        header + b"1,1.10,2,3,4\n",
        columns=frozenset({"tag"}),
        required=frozenset({"tag"}),
        extra_prefix="reading:",
    )
    assert rows[0].cells == {"tag": "1", "reading:Leak_mbar": "1.10"}
    assert [(problem.value, problem.remedy) for problem in sorted(problems)] == [
        ("reading:", "names nothing after reading:; write the name there"),
        ("temperature", "is not a column of this list; delete it, or give it the name of one"),
        ("reading:leak_mbar", "is named twice; delete one of the two columns"),
    ]


def test_a_list_has_an_end(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("registry.lists.pure.tables.MAX_ROWS", 2)
    rows, problems = plain_rows(b"tag,task\n1,a\n2,a\n3,a\n4,a\n")
    assert len(rows) == 2
    assert [(problem.line, problem.remedy) for problem in problems] == [
        (4, "is past row 2; split the list")
    ]

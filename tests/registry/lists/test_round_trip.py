"""Codes come back as they went out, through CSV and through a workbook (D5)."""

import csv
import io

from hypothesis import given, settings
from hypothesis import strategies as st

from tests.registry.lists.making import HEADER, changed, plain_rows, read, register_csv, workbook

TAGS = st.lists(
    st.from_regex(r"0{0,5}[0-9A-Za-z]{1,8}([-./ #][0-9A-Za-z]{1,4})?", fullmatch=True),
    min_size=1,
    max_size=8,
    unique=True,
)
NOTES = st.text(
    st.characters(exclude_categories=("Cs", "Cc", "Cn"), exclude_characters="\ufffd#'"),
    max_size=30,
).map(str.strip)


@given(TAGS)
@settings(max_examples=200, deadline=None)
def test_tags_through_csv(tags: list[str]) -> None:
    items, problems = read(register_csv(*(changed(tag=tag, serial=tag) for tag in tags)))
    assert problems == []
    assert [(item.tag, item.serial) for item in items] == [(tag, tag) for tag in tags]


@given(TAGS)
@settings(max_examples=50, deadline=None)
def test_tags_through_a_workbook(tags: list[str]) -> None:
    rows = [HEADER, *(changed(tag=tag, serial=tag) for tag in tags)]
    items, problems = read(workbook(rows), "fleet.xlsx")
    assert problems == []
    assert [(item.tag, item.serial) for item in items] == [(tag, tag) for tag in tags]


@given(st.integers(0, 10**8), st.integers(1, 12))
@settings(max_examples=50, deadline=None)
def test_numbers_that_show_leading_zeros_keep_them(number: int, digits: int) -> None:
    content = workbook([["tag", "task"], [number, "a"]], formats={"A2": "0" * digits})
    rows, problems = plain_rows(content, "list.xlsx")
    assert problems == []
    assert rows[0].cells["tag"] == str(number).zfill(digits)


@given(NOTES, st.sampled_from(",;\t"))
@settings(max_examples=200, deadline=None)
def test_any_text_through_csv(note: str, mark: str) -> None:
    stream = io.StringIO()
    writer = csv.writer(stream, delimiter=mark)
    writer.writerows([["tag", "task", "note"], ["1", "a", note]])
    rows, problems = plain_rows(stream.getvalue().encode())
    assert problems == []
    assert rows[0].cells["note"].strip() == note.strip(
        "\u200b\u200c\u200d\u200e\u200f\u2060\ufeff "
    )

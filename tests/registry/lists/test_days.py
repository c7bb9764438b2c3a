"""Days are ISO 8601; what else people write is refused with the day they may have meant (X9)."""

import re
from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from registry.cells.pure.days import day, month_or_day
from registry.cells.pure.values import ValueProblem
from registry.wording.pure.dates import MONTHS


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("2026-03-05", date(2026, 3, 5)),
        ("2024-02-29", date(2024, 2, 29)),
        ("1900-01-01", date(1900, 1, 1)),
        ("2199-12-31", date(2199, 12, 31)),
    ],
)
def test_a_day_is_read(text: str, expected: date) -> None:
    assert day(text) == expected


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("2026-02-29", "does not exist: February 2026 has 28 days"),
        ("1900-02-29", "does not exist: February 1900 has 28 days"),  # a spreadsheet's false day
        ("31.02.2026", "does not exist: February 2026 has 28 days"),
        ("02/30/2026", "does not exist: February 2026 has 28 days"),
        ("2026-13-01", "has the month 13, and there are 12"),
        ("2026-00-10", "has the month 0"),
        ("32/33/2026", "has the month 32"),
        ("0202-01-01", "has the year 202; write a year from 1900 to 2199"),
        ("2202-01-01", "has the year 2202"),
        ("03/04/2025", "3 April or 4 March; write YYYY-MM-DD, 2025-04-03 or 2025-03-04"),
        ("3.4.2025", "3 April or 4 March"),
        ("13/04/2025", "has the year last; write YYYY-MM-DD: 2025-04-13"),
        ("04/13/2025", "has the year last; write YYYY-MM-DD: 2025-04-13"),
        ("04-04-2025", "has the year last; write YYYY-MM-DD: 2025-04-04"),
        ("03.04.25", "a year of two figures; write all four"),
        ("25-04-03", "a year of two figures"),
        ("2025/4/3", "write 2025-04-03"),
        ("2025-4-3", "write 2025-04-03"),
        ("20250403", "write 2025-04-03"),
        ("2026/02/30", "does not exist"),
        ("2025-04", "has no day; write YYYY-MM-DD"),
        ("2025-04-03 14:30:00", "has a time of day; write the day alone: 2025-04-03"),
        ("2025-04-03T00:00", "has a time of day"),
        ("45750", "a spreadsheet's number for a day, perhaps 2025-04-03"),
        ("45750.5", "a spreadsheet's number for a day, perhaps 2025-04-03"),
        ("2025", "is not a day; write YYYY-MM-DD"),
        ("10", "is not a day"),
        ("3 Apr 2025", "is not in the form YYYY-MM-DD; write 2025-04-03"),
        ("April 3rd, 2025", "write 2025-04-03"),
        ("2025 April 03", "write 2025-04-03"),
        ("Thursday 3 April 2025", "write 2025-04-03"),
        ("Friday 3 April 2025", "is not a day"),  # it was a Thursday: one of the two is wrong
        ("31 Feb 2025", "is not a day"),
        ("3 Apr 25", "is not a day"),
        ("Apr 2025", "is not a day"),
        ("3 Apr", "is not a day"),
        ("next Thursday", "is not a day"),
        ("2025-W14-4", "is not a day"),
        ("٢٠٢٥-٠٤-٠٣", "is not a day"),
        ("", "is empty"),
    ],
)
def test_another_way_of_writing_is_refused(text: str, words: str) -> None:
    with pytest.raises(ValueProblem) as refused:
        day(text)
    assert words in refused.value.remedy


@pytest.mark.parametrize(
    ("text", "expected"),
    [("2019-05", (date(2019, 5, 1), True)), ("2019-05-01", (date(2019, 5, 1), False))],
)
def test_a_month_is_told_from_its_first_day(text: str, expected: tuple[date, bool]) -> None:
    assert month_or_day(text) == expected


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("05/2019", "has the year last; write YYYY-MM: 2019-05"),
        ("5.2019", "write YYYY-MM: 2019-05"),
        ("13/2019", "has the month 13"),
        ("2019-13", "has the month 13"),
        ("2019", "has no month; write YYYY-MM, or YYYY-MM-DD"),
        ("05/19", "is not a day"),
        ("1899-12", "has the year 1899"),
    ],
)
def test_another_way_of_writing_a_month_is_refused(text: str, words: str) -> None:
    with pytest.raises(ValueProblem) as refused:
        month_or_day(text)
    assert words in refused.value.remedy


@given(st.text(max_size=50) | st.from_regex(r"\d{0,4}[ ./,-]?[A-Za-z]{3,9}[ ./,-]?\d{0,4}"))
@settings(deadline=None)
def test_nothing_is_read_as_a_day_because_it_can_be_guessed(text: str) -> None:
    for read in (day, month_or_day):
        try:
            read(text)
        except ValueProblem:
            continue
        assert re.fullmatch(r"\d{4}-\d{2}(-\d{2})?", text, re.ASCII)


@given(
    st.dates(date(1900, 1, 1), date(2199, 12, 31)),
    st.sampled_from(
        ["{d} {b} {y}", "{d}. {B} {y}", "{B} {d}, {y}", "{y} {b} {d:02}", "{d}-{b}-{y}"]
    ),
)
@settings(deadline=None)
def test_a_month_in_letters_brings_the_one_day_to_write(meant: date, form: str) -> None:
    name = MONTHS[meant.month - 1]
    text = form.format(d=meant.day, b=name[:3], B=name, y=meant.year)
    with pytest.raises(ValueProblem, match=f"write {meant.isoformat()}$"):
        day(text)


@pytest.mark.parametrize("text", ["March 2019", "Mar 2019", "2019 Mar", "mar-2019"])
def test_a_month_in_letters_without_a_day_brings_the_month_to_write(text: str) -> None:
    with pytest.raises(ValueProblem, match=r"write 2019-03$"):
        month_or_day(text)

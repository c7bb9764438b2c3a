"""Ages and lateness in words; each row can be counted off on a calendar."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry.wording.pure.spans import age_words, how_far, how_many, span_words
from servicing.rules.pure.durations import add_months

DAYS = st.dates(date(1900, 1, 1), date(2199, 12, 31))


@pytest.mark.parametrize(
    ("start", "end", "words"),
    [
        (date(2026, 8, 24), date(2026, 11, 26), "3 months 2 days"),
        (date(2026, 10, 31), date(2026, 11, 26), "26 days"),
        (date(2026, 11, 25), date(2026, 11, 26), "1 day"),
        (date(2026, 11, 26), date(2026, 11, 26), "0 days"),
        (date(2025, 11, 26), date(2026, 11, 26), "1 year"),
        (date(2023, 10, 20), date(2026, 11, 21), "3 years 1 month 1 day"),
        (date(2026, 1, 31), date(2026, 2, 28), "1 month"),
        (date(2026, 1, 31), date(2026, 3, 1), "1 month 1 day"),
        (date(2024, 2, 29), date(2025, 2, 28), "1 year"),
        (date(2024, 2, 29), date(2025, 3, 1), "1 year 1 day"),
    ],
)
def test_a_span_is_whole_months_and_then_days(start: date, end: date, words: str) -> None:
    assert span_words(start, end) == words


@given(DAYS, DAYS)
def test_a_span_in_words_leads_from_the_one_day_to_the_other(one: date, other: date) -> None:
    start, end = min(one, other), max(one, other)
    told = span_words(start, end).split()
    parts = dict(zip((word.rstrip("s") for word in told[1::2]), map(int, told[::2]), strict=True))
    months = 12 * parts.get("year", 0) + parts.get("month", 0)
    # By the engine's months, which share nothing with those of relativedelta.
    assert add_months(start, months) + timedelta(days=parts.get("day", 0)) == end
    assert parts.get("month", 0) < 12
    assert parts.get("day", 0) < 31


@pytest.mark.parametrize(
    ("made_on", "on", "words"),
    [
        (date(2014, 8, 1), date(2026, 11, 26), "12 years 3 months"),
        (date(2014, 11, 26), date(2026, 11, 26), "12 years"),
        (date(2014, 11, 27), date(2026, 11, 26), "11 years 11 months"),
        (date(2026, 10, 26), date(2026, 11, 26), "1 month"),
        (date(2026, 11, 9), date(2026, 11, 26), "17 days"),
    ],
)
def test_an_age_is_said_in_whole_months(made_on: date, on: date, words: str) -> None:
    assert age_words(made_on, on) == words


@pytest.mark.parametrize(
    ("due_on", "words"),
    [
        (date(2026, 8, 24), "3 months 2 days over"),
        (date(2026, 11, 25), "1 day over"),
        (date(2026, 11, 26), "the last good day"),
        (date(2026, 11, 27), "in 1 day"),
        (date(2027, 11, 26), "in 1 year"),
    ],
)
def test_how_far_a_due_date_is_off(due_on: date, words: str) -> None:
    assert how_far(due_on, date(2026, 11, 26)) == words


def test_one_is_one_and_two_are_several() -> None:
    assert (how_many(1, "day"), how_many(2, "day")) == ("1 day", "2 days")
    assert how_many(2, "body", "bodies") == "2 bodies"

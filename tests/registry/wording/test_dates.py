"""A day that can't be misread, and the same in Python, on pages and on paper."""

from datetime import UTC, date, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import pytest
from django.utils.dateformat import format as as_django
from hypothesis import given
from hypothesis import strategies as st

from registry.wording.pure.dates import day_words, moment_and_zone, moment_words, month_words


def test_a_day_names_its_month() -> None:
    assert day_words(date(2026, 3, 4)) == "4 Mar 2026"
    assert month_words(date(2026, 9, 30)) == "Sep 2026"


@given(st.datetimes())
def test_templates_say_days_and_moments_as_sentences_do(at: datetime) -> None:
    assert day_words(at.date()) == as_django(at.date(), "j M Y")
    assert month_words(at.date()) == as_django(at.date(), "M Y")
    assert moment_words(at) == as_django(at, "j M Y, H:i")


@pytest.mark.parametrize(
    ("at", "words"),
    [
        (datetime(2026, 3, 4, 5, 6, tzinfo=UTC), "4 Mar 2026, 05:06 (UTC)"),
        (
            datetime(2026, 7, 4, 23, 59, 59, tzinfo=ZoneInfo("Europe/Berlin")),
            "4 Jul 2026, 23:59 (Europe/Berlin)",
        ),
        (
            datetime(2026, 7, 4, 0, 0, tzinfo=timezone(timedelta(hours=-3.5))),
            "4 Jul 2026, 00:00 (UTC-03:30)",
        ),
    ],
)
def test_a_moment_is_said_by_its_own_clock_with_its_zone(at: datetime, words: str) -> None:
    assert moment_and_zone(at) == words

"""Letters that fit the line, days and moments that can't be misread."""

from datetime import UTC, date, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from registry.lettering.pure import joined, runs_leftwards
from reports.documents.pure.marks import can_be_code, code_path, mark_path, stamp, state_colour
from reports.documents.pure.text import (
    BODY,
    STRONG,
    one_line,
    printable,
    width,
    wrap,
    wrap_at_most,
    zone,
)
from reports.documents.pure.wording import basis_words, rule_words


@given(st.text(), st.floats(min_value=20, max_value=400))
@settings(deadline=None)
def test_no_line_is_wider_than_its_room_and_no_letter_is_lost(text: str, room: float) -> None:
    lines = wrap(text, BODY, room)
    assert all(width(line, BODY) <= room + 1e-6 for line in lines)
    kept = "".join(lines).replace(" ", "")
    typed = joined(printable(text)).replace(" ", "").replace("\n", "")
    # Letters that are read from the right stand the other way round, and brackets among them.
    assert len(kept) == len(typed) if runs_leftwards(typed) else kept == typed


@given(st.text(), st.integers(1, 5))
@settings(deadline=None)
def test_a_text_cut_short_says_so(text: str, most: int) -> None:
    whole, cut = wrap(text, STRONG, 60), wrap_at_most(most, text, STRONG, 60)
    assert len(cut) <= most
    assert (cut == whole) or cut[-1].endswith("…")
    assert all(width(line, STRONG) <= 60 + 1e-6 for line in cut)


@pytest.mark.parametrize(
    ("typed", "printed"),
    [
        ("plain", "plain"),
        ("e\N{COMBINING ACUTE ACCENT}", "é"),
        ("a\tb", "a    b"),
        ("a\r\nb\rc", "a\nb\nc"),
        ("a\N{LINE SEPARATOR}b", "a\nb"),
        ("\x00\x1b\x7f", "[U+0000][U+001B][U+007F]"),
        ("\N{ZERO WIDTH SPACE}\N{RIGHT-TO-LEFT OVERRIDE}", "[U+200B][U+202E]"),
        ("\N{FIRE}\ud800", "[U+1F525][U+D800]"),
        ("氧气瓶 マスク 마스크", "氧气瓶 マスク 마스크"),
        ("מסכה قناع", "מסכה قناع"),
        ("<b>&amp;", "<b>&amp;"),
    ],
)
def test_what_people_type_prints_letter_by_letter(typed: str, printed: str) -> None:
    assert printable(typed) == printed


def test_a_text_from_the_right_is_drawn_in_the_order_in_which_it_is_seen() -> None:
    assert wrap("M040 קנ", BODY, 400) == ("M040 נק",)
    assert wrap("קנ M040", BODY, 400) == ("M040 נק",), "the whole text runs from the right"
    assert wrap("(קנ)", BODY, 400) == ("(נק)",), "brackets open where they opened"
    # Arabic letters join: lam and alef to one shape, the seen in front of them begins a word.
    assert wrap("سلام", BODY, 400) == ("\ufee1\ufefc\ufeb3",)
    narrow = wrap("קנה מידה ארוך", BODY, 30)
    assert len(narrow) > 1
    assert narrow[0] == "הנק", "the first line holds the first word"
    assert wrap_at_most(1, "קנה מידה ארוך", BODY, 30) == ("…הנק",)


def test_a_long_word_breaks_after_a_hyphen_if_it_can() -> None:
    assert wrap("hydrostatic-retest", BODY, 60) == ("hydrostatic-", "retest")


def test_one_line_is_one_line() -> None:
    assert one_line("a\nb\r\nc") == "a b c"


@pytest.mark.parametrize(
    ("at", "named"),
    [
        (datetime(2026, 3, 4, 5, 6, tzinfo=UTC), "UTC"),
        (datetime(2026, 7, 4, 5, 6, tzinfo=ZoneInfo("Europe/Berlin")), "Europe/Berlin, UTC+02:00"),
        (datetime(2026, 7, 4, 5, 6, 7, 8, tzinfo=timezone(timedelta(hours=-3.5))), "UTC-03:30"),
    ],
)
def test_a_moment_names_its_zone(at: datetime, named: str) -> None:
    assert zone(at) == named


def test_the_stamp_sets_year_and_month_large_and_the_day_small() -> None:
    (large, small), _ = stamp(date(2026, 10, 5), "current", 0, 20)
    assert (large.text, small.text) == ("2026·10", "05")  # type: ignore[union-attr]
    assert large.style.size > small.style.size  # type: ignore[union-attr]


def test_each_state_has_a_shape_of_its_own() -> None:
    states = ("overdue", "due-soon", "current", "undetermined", "out-of-service", "condemned")
    assert len({mark_path(state) for state in states}) == len(states)


def test_an_unknown_state_never_looks_fine() -> None:
    assert mark_path("fine") == mark_path("undetermined")
    assert state_colour("fine") == state_colour("undetermined")


@pytest.mark.parametrize(
    ("text", "good"), [("ab" * 32, True), ("", False), ("xyz" * 9, False), ("a" * 999, False)]
)
def test_only_a_hash_becomes_a_code(text: str, good: bool) -> None:
    assert can_be_code(text) is good


def test_a_code_stays_in_its_square() -> None:
    numbers = [float(each) for each in code_path("ab" * 32).split() if each not in {"re", "f"}]
    assert all(0 <= each <= 1 for each in numbers)


def test_words_for_rule_base_and_number() -> None:
    made = date(2019, 3, 1)
    assert rule_words("r-1", "law", "Act, s. 2") == "r-1 (law), Act, s. 2"
    assert rule_words("r-1", "", "") == "r-1"
    assert basis_words(made, "made", made) == "counted from the day it was made, 1 Mar 2019"
    assert basis_words(made, "else", None) == "counted from else"
    assert basis_words(None, "made", None).startswith("nothing to count from")

"""A service record says first whether the item may be used, then proves it."""

import re
from datetime import date, datetime
from io import BytesIO
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from pypdf import PdfReader

from reports.documents.pure.record import RecordEntry, record_pdf
from reports.documents.pure.verdict import verdict_of
from servicing.due.pure.answer import Answer, placed
from tests.reports.documents.papers import (
    ON,
    READY,
    because,
    entry,
    hash_of,
    pages_of,
    service_record,
    task_line,
    text_of,
    without_spaces,
)

SAID, WHY = "The first line of its page.", "And what stands under it."
AWAY = "away since 3 Nov 2026 at Ambrask retest house (consignment 2026-001)"


@pytest.mark.parametrize(
    ("state", "first"),
    [
        ("current", "Ready on 17 Mar 2026"),
        ("due-soon", "Ready on 17 Mar 2026"),
        ("overdue", "NOT READY on 17 Mar 2026"),
        ("undetermined", "NOT READY on 17 Mar 2026"),
        ("in-doubt", "NOT READY on 17 Mar 2026"),
        ("incomplete", "NOT READY on 17 Mar 2026"),
        ("out-of-service", "OUT OF SERVICE"),
        ("condemned", "CONDEMNED"),
    ],
)
def test_the_first_line_says_whether_it_may_be_used(state: str, first: str) -> None:
    answer = Answer(state, SAID, WHY, ("the mask is missing",))
    assert verdict_of(answer, ON).state == state
    assert verdict_of(answer, ON).forbids is not first.startswith("Ready")
    text = text_of(record_pdf(service_record(answer=answer)))
    assert text.index(first) < text.index(SAID) < text.index(WHY) < text.index("At Alder Bridge")
    assert "Also: the mask is missing." in text


def test_an_item_that_is_away_is_not_ready_on_paper_either() -> None:
    found = verdict_of(placed(READY, "TV-00012", AWAY), ON)
    assert (found.state, found.forbids) == ("incomplete", True)
    assert found.words.startswith("NOT READY on")
    out = verdict_of(placed(Answer("out-of-service", SAID, WHY), "TV-00012", AWAY), ON)
    assert out.words == "OUT OF SERVICE"


@pytest.mark.parametrize("state", ["", "fine", "OVERDUE"])
def test_a_state_nobody_knows_is_not_ready(state: str) -> None:
    assert verdict_of(Answer(state, SAID, WHY), ON).forbids


def test_each_task_stands_with_every_rule_that_asks_for_it() -> None:
    other = because(rule="maker-row", arithmetic="made 1 Jan 2019 + 10 years = 1 Jan 2029")
    late = task_line(late="3 months 2 days over", reasons=(because(), other))
    dropped = task_line(task="overhaul", dropped=True)
    text = text_of(record_pdf(service_record(tasks=(late, dropped))))
    assert "3 months 2 days over" in text
    assert "also asked: maker-row, made 1 Jan 2019" in text
    assert "dropped: service life ends first" in text


def test_the_item_can_not_be_mistaken() -> None:
    text = text_of(record_pdf(service_record()))
    assert "TV-00012: cylinder, Northgate Pressure NP 6.8-300, serial NP7712345" in text
    assert "relates only to the item named above: TV-00012" in text
    assert "working pressure 300 bar" in text
    assert "put in service 2 May 2019" in text


def test_a_due_date_shows_rule_source_base_and_arithmetic() -> None:
    text = text_of(record_pdf(service_record()))
    assert text.count("2026·10 31") == 2
    assert "us-cyl-3al (law), 49 CFR 180.209(a), Table 1" in text
    assert "counted from the last pass, 14 Oct 2021" in text
    assert "14 Oct 2021 + 5 years = 14 Oct 2026, to the month's end: 31 Oct 2026" in text


def test_records_stand_newest_first() -> None:
    late = entry(3, done_on=date(2021, 1, 2))
    text = text_of(record_pdf(service_record(entry(1), entry(2), late)))
    places = [text.index(f"record {position} ") for position in (2, 3, 1)]
    assert places == sorted(places)


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({}, "done by Maren Kvist, entered by Ole Brandt 2 Jan 2021, 14:05"),
        ({"days_late": 3}, "entered 3 days later"),
        ({"days_late": 1}, "entered 1 day later"),
        ({"carried_over_from": "cards-2021.xlsx"}, "carried over from cards-2021.xlsx"),
        ({"note": "disc renewed"}, "disc renewed"),
        ({"part_made_on": date(2020, 6, 1)}, "part made on 1 Jun 2020"),
        ({"outcome": "fail"}, "periodic-inspection: FAIL"),
        ({"outcome": "condemned"}, "periodic-inspection: CONDEMNED"),
        ({"procedure": "leak test, version 3"}, "procedure leak test, version 3"),
        ({"instruments": ("bench TB-2, calibrated 4 Jan 2021",)}, "with bench TB-2, calibrated"),
        ({"corrected_by": 2}, "amended, see record 2"),
        ({"corrects": 9, "reason": "misread"}, "corrects record 9: misread"),
    ],
)
def test_a_record_says_who_when_and_what(changes: dict[str, Any], said: str) -> None:
    text = text_of(record_pdf(service_record(entry(1, **changes))))
    assert said in text
    assert "leak 0.4 mbar (limit 1.0 mbar)" in text
    assert hash_of(1) in text


def test_entered_at_once_says_nothing_of_later() -> None:
    assert "later" not in text_of(record_pdf(service_record(entry(1))))


def test_a_corrected_ledger_says_so_on_the_first_page_and_a_clean_one_does_not() -> None:
    amended = service_record(entry(1, corrected_by=2), entry(2, corrects=1, reason="misread"))
    said = "Amended since first entry: record 2 corrects record 1."
    assert said in pages_of(record_pdf(amended))[0]
    assert "mended" not in text_of(record_pdf(service_record(entry(1), entry(2))))


def struck_runs(pdf: bytes) -> int:
    """Return how many runs of words of the first page have a line through their middle."""
    content = PdfReader(BytesIO(pdf)).pages[0].get_contents()
    assert content is not None
    drawn, number = content.get_data().decode("latin-1"), r"(-?[\d.]+)"
    rules = re.findall(rf"{number} {number} m {number} {number} l S", drawn)
    lines = [(float(x), float(y), float(until)) for x, y, until, _ in rules]
    runs = re.findall(rf"1 0 0 1 {number} {number} Tm \S+ {number} Tf", drawn)
    return sum(
        any(
            x <= float(at) < until and 0.2 < (y - float(base)) / float(size) < 0.35
            for x, y, until in lines
        )
        for at, base, size in runs
    )


def test_a_corrected_record_is_struck_through_and_still_legible() -> None:
    """A7: the original stays legible and is struck through; not by colour alone."""
    note = {"note": "the disc was renewed", "instruments": ("bench TB-2",)}
    plain = record_pdf(service_record(entry(1, **note)))
    amended = record_pdf(service_record(entry(1, **note, corrected_by=2)))
    assert struck_runs(plain) == 0
    # The day, the task, the people, the reading's name and value, the instrument, the note.
    assert struck_runs(amended) == 7
    text = text_of(amended)
    for said in ("periodic-inspection: pass", "0.4 mbar (limit 1.0 mbar)", "the disc was renewed"):
        assert said in text
    assert "amended, see record 2; struck through, it does not count" in text


def test_a_record_of_nothing_says_so() -> None:
    text = text_of(record_pdf(service_record(entry(2, outcome="void", corrects=1, reason="no"))))
    assert "periodic-inspection: NEVER HAPPENED" in text


def test_the_moment_of_entry_is_in_the_zone_the_sheet_names() -> None:
    summer = datetime(2021, 7, 1, 22, 30, tzinfo=ZoneInfo("UTC"))
    text = text_of(record_pdf(service_record(entry(1, entered_at=summer))))
    assert "2 Jul 2021, 00:30" in text
    assert "Moments of entry in Europe/Berlin." in text


def test_a_moment_without_zone_is_refused() -> None:
    naive = datetime(2021, 7, 1, 22, 30)  # noqa: DTZ001
    with pytest.raises(ValueError, match="time zone"):
        record_pdf(service_record(entry(1, entered_at=naive)))


@pytest.mark.parametrize(("entries", "least", "most"), [(1, 1, 1), (12, 2, 2), (500, 40, 40)])
def test_each_page_counts_itself_and_the_end_is_clear(entries: int, least: int, most: int) -> None:
    pages = pages_of(record_pdf(service_record(*[entry(n) for n in range(1, entries + 1)])))
    assert least <= len(pages) <= most
    for number, page in enumerate(pages, start=1):
        assert f"page {number} of {len(pages)}" in page
        assert "SR-2026-000231" in page
        assert "Service record of TV-00012" in page
    assert "End of document SR-2026-000231" in pages[-1]
    assert hash_of(entries) in without_spaces("".join(pages))


def test_an_item_without_records_has_no_chain() -> None:
    text = text_of(record_pdf(service_record()))
    assert "none: no record has been entered" in text


def test_a_note_longer_than_a_page_is_printed_whole() -> None:
    note = "\n".join(f"line {number} of a long note" for number in range(200))
    text = text_of(record_pdf(service_record(_with_note(note))))
    assert all(f"line {number} of a long note" in text for number in range(200))


def _with_note(note: str) -> RecordEntry:
    return entry(1, note=note)

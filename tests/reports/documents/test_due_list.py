"""The paper of a due list: its rows in its order, the sentence over them, close together."""

from dataclasses import replace
from datetime import date

from reports.documents.pure.duelist import DueList, due_list_pdf
from servicing.due.pure.obligations import State
from servicing.due.pure.sheet import DueRow
from tests.reports.documents.papers import ON, overdue_report, overdue_row, pages_of, text_of


def paper(*rows: DueRow, assumption: str = "") -> DueList:
    like = overdue_report()
    return DueList(
        number="DL-20260317-00000001",
        sentence="All tasks of all kinds at all sites",
        assumption=assumption,
        on=ON,
        printed_at=like.printed_at,
        printed_by=like.printed_by,
        cautions=like.cautions,
        rows=rows,
    )


def test_the_first_line_counts_the_rows_and_the_second_is_the_sentence() -> None:
    soon = replace(overdue_row(2), state=State.DUE_SOON, late="")
    text = text_of(due_list_pdf(paper(overdue_row(1), soon, soon)))
    assert "3 obligations: 1 overdue, 2 due soon." in text
    assert "All tasks of all kinds at all sites; as of 17 Mar 2026." in text
    assert "Due list" in text


def test_an_empty_list_says_so() -> None:
    text = text_of(due_list_pdf(paper()))
    assert "0 obligations." in text
    assert "Nothing falls under this sentence." in text


def test_rows_keep_the_order_of_the_list() -> None:
    rows = [overdue_row(number, due_on=date(2026, 1, number)) for number in (9, 3, 7)]
    text = text_of(due_list_pdf(paper(*rows)))
    places = [text.index(f"TV-0000{number}") for number in (9, 3, 7)]
    assert places == sorted(places)


def test_what_comes_once_another_is_done_says_so_and_shows_no_state() -> None:
    again = replace(
        overdue_row(1), state=None, late="", counted_from="if-done", basis_on=date(2026, 5, 2)
    )
    text = text_of(due_list_pdf(paper(overdue_row(2), again, assumption="Each is done on time.")))
    assert "2 obligations: 1 overdue, 1 again if done on time." in text
    assert "the day on which it is taken to be done, 2 May 2026" in " ".join(text.split())
    assert "Each is done on time." in text


def test_a_page_holds_some_twenty_five_rows_whole_under_their_heads() -> None:
    pages = pages_of(due_list_pdf(paper(*[overdue_row(number) for number in range(200)])))
    full = pages[1:-1]
    assert all(page.count("TV-") == page.count("counted from the") >= 22 for page in full)
    assert all("task, site" in page for page in full)
    for number, page in enumerate(pages, start=1):
        assert f"page {number} of {len(pages)}" in page
        assert "Printed 17 Mar 2026, 14:05 (Europe/Berlin, UTC+01:00) by Maren Kvist" in page

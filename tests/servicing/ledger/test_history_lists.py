"""A list of what was done: which records fit the items, the days and each other."""

from datetime import date
from typing import Any

import pytest

from registry.lists.pure.problems import Problem
from servicing.ledger.pure.history import HistoryRow, KnownItem, read_history
from tests.registry.lists.making import workbook

TODAY = date(2026, 11, 25)
ITEMS = {
    "00123": KnownItem(made_on=date(2019, 5, 1), today=TODAY, condemned_on=None),
    "A-7": KnownItem(made_on=None, today=date(2026, 11, 26), condemned_on=None),
    "OLD": KnownItem(date(2001, 1, 1), TODAY, condemned_on=date(2024, 6, 30)),
}
TASKS = frozenset({"cleaning", "flow-test", "hydrostatic-retest", "diaphragm-renewal", "use"})
HEADER = "tag,task,done_on,outcome,by,note,part_made_on,reading:leak_mbar,reading:Flow"


def read(*rows: str, header: str = HEADER) -> tuple[list[HistoryRow], list[Problem]]:
    """Read a list of records."""
    content = "\n".join((header, *rows)).encode()
    return read_history("past.csv", content, items=ITEMS, tasks=TASKS)


def only(problems: list[Problem]) -> tuple[int, str, str, str]:
    """Return the only problem."""
    (problem,) = problems
    return problem.line, problem.column, problem.value, problem.remedy


def test_a_record_is_read_whole() -> None:
    records, problems = read(
        '00123,diaphragm-renewal,2024-03-05,Pass,"Ada Berg","new one, ok",2023-11-20,1.10,'
    )
    assert problems == []
    assert records == [
        HistoryRow(
            line=2,
            tag="00123",
            task="diaphragm-renewal",
            done_on=date(2024, 3, 5),
            outcome="pass",
            by="Ada Berg",
            note="new one, ok",
            part_made_on=date(2023, 11, 20),
            readings=(("leak_mbar", "1.10"),),
        )
    ]


def test_readings_stay_as_they_were_typed() -> None:
    """A3: 1,10 is not 1.1."""
    records, _ = read('00123,flow-test,2024-03-05,pass,A. Berg,,,"1,10",> 350')
    assert records[0].readings == (("leak_mbar", "1,10"), ("Flow", "> 350"))


def test_columns_of_notes_parts_and_readings_may_be_absent() -> None:
    records, problems = read("00123,use,2024-03-05,pass,A", header="tag,task,done_on,outcome,by")
    assert problems == []
    assert (records[0].note, records[0].part_made_on, records[0].readings) == ("", None, ())


@pytest.mark.parametrize(
    ("row", "column", "value", "words"),
    [
        ("123,use,2024-03-05,pass,A", "tag", "123", "00123 is: write that if it is meant"),
        ("a7,use,2024-03-05,pass,A", "tag", "a7", "A-7 is: write that if it is meant"),
        ("OО123,use,2024-03-05,pass,A", "tag", "OО123", "mixes Latin and Cyrillic"),
        ("B9,use,2024-03-05,pass,A", "tag", "B9", "correct it, or bring the item in first"),
        ("1.2E+11,use,2024-03-05,pass,A", "tag", "1.2E+11", "a spreadsheet has rounded"),
        (",use,2024-03-05,pass,A", "tag", "", "is empty; every row needs its tag"),
        ("00123,flowtest,2024-03-05,pass,A", "task", "flowtest", "write flow-test if that"),
        ("00123,use,2024-03-05,passed,A", "outcome", "passed", "write pass if that is meant"),
        ("00123,use,2024-03-05,done,A", "outcome", "done", "one of condemned, fail, pass"),
        ("00123,use,2024-03-05,,A", "outcome", "", "is empty"),
        ("00123,use,2024-03-05,pass,", "by", "", "is empty; every row needs its by"),
        ("00123,use,05/03/2024,pass,A", "done_on", "05/03/2024", "5 March or 3 May"),
        ("00123,use,,pass,A", "done_on", "", "is empty; every row needs its done_on"),
        ("00123,use,2026-11-26,pass,A", "done_on", "2026-11-26", "site today is 2026-11-25"),
        ("00123,use,2019-04-30,pass,A", "done_on", "2019-04-30", "before the item was made"),
        ("00123,use,2024-03-05,pass,A,b\u200bc", "note", "b\u200bc", "ZERO WIDTH SPACE); take"),
        ("00123,use,2024-03-05,pass,A,,2024-03-06", "part_made_on", "2024-03-06", "was fitted"),
        ("00123,use,2024-03-05,pass,A,,2024-03", "part_made_on", "2024-03", "has no day"),
        (
            f"00123,use,2024-03-05,pass,A,,,{'9' * 65}",
            "reading:leak_mbar",
            "9" * 59 + "…",
            "of 64 characters at most",
        ),
        ("00123,use,2024-03-05,pass,A,,,#N/A", "reading:leak_mbar", "#N/A", "failed calculation"),
        ("OLD,use,2024-07-01,pass,A", "done_on", "2024-07-01", "in the register, on 2024-06-30"),
    ],
)
def test_a_record_that_does_not_fit_is_refused(
    row: str, column: str, value: str, words: str
) -> None:
    records, problems = read("00123,use,2024-01-01,pass,A. Berg", row)
    assert [record.line for record in records] == [2]
    line, *told, remedy = only(problems)
    assert (line, told) == (3, [column, value])
    assert words in remedy


def test_today_is_the_day_at_the_items_own_site() -> None:
    records, problems = read("A-7,use,2026-11-26,pass,A", "A-7,use,1950-01-01,pass,A")
    assert problems == []
    assert len(records) == 2


def test_every_problem_of_a_row_is_told() -> None:
    _, problems = read("123,tests,2024,maybe,,,2025-13-01")
    columns = ["by", "done_on", "outcome", "part_made_on", "tag", "task"]
    assert [problem.column for problem in problems] == columns


def test_nothing_follows_a_condemnation_whatever_the_order_of_the_rows() -> None:
    records, problems = read(
        "00123,use,2025-01-02,pass,A",
        "00123,use,2024-12-31,pass,A",
        "00123,hydrostatic-retest,2025-01-01,condemned,A",
        "00123,use,2025-01-01,pass,A",
        "A-7,use,2025-01-02,pass,A",
    )
    assert [record.line for record in records] == [3, 4, 6]
    assert [(p.line, p.column, p.value) for p in problems] == [
        (2, "done_on", "2025-01-02"),
        (5, "done_on", "2025-01-01"),
    ]
    assert "is after the item was condemned in line 4, on 2025-01-01" in problems[0].remedy


def test_records_of_the_day_itself_come_before_it_if_they_stand_before_it() -> None:
    rows = ("00123,use,2025-01-01,fail,A", "00123,use,2025-01-01,condemned,A")
    assert read(*rows)[1] == []


def test_an_item_is_condemned_once() -> None:
    rows = ("00123,use,2025-01-01,condemned,A", "00123,use,2025-01-01,condemned,A")
    assert only(read(*rows)[1])[:3] == (3, "done_on", "2025-01-01")


def test_a_file_that_led_to_a_condemnation_can_be_brought_in_again() -> None:
    """C26: the same file again changes nothing, so it must not be refused."""
    rows = ("OLD,use,2024-06-30,fail,A", "OLD,hydrostatic-retest,2024-06-30,condemned,A")
    records, problems = read(*rows)
    assert problems == []
    assert len(records) == 2


def test_a_condemnation_counts_even_if_something_else_in_its_row_is_refused() -> None:
    rows = ("00123,use,2025-01-01,condemned,", "00123,use,2025-01-02,pass,A")
    records, problems = read(*rows)
    assert records == []
    assert [(problem.line, problem.column) for problem in problems] == [(2, "by"), (3, "done_on")]


def test_two_fills_of_a_day_are_two_records() -> None:
    row = "00123,use,2025-01-01,pass,A"
    assert [record.line for record in read(row, row)[0]] == [2, 3]


def test_problems_of_cells_and_of_records_come_in_the_order_of_lines() -> None:
    rows = ("B9,use,2025-01-01,pass,A", "00123,use,2025-01-01,pass,#N/A", "B9,use,2024,pass,A")
    assert [problem.line for problem in read(*rows)[1]] == [2, 3, 4, 4]


def test_a_workbook_reads_like_the_csv() -> None:
    rows: list[list[Any]] = [
        HEADER.split(","),
        ["00123", "use", date(2024, 3, 5), "pass", "A", "", None, 1.1, 350],
    ]
    content = workbook(rows, formats={"C2": "dd.mm.yyyy", "H2": "0.00"})
    records, problems = read_history("past.xlsx", content, items=ITEMS, tasks=TASKS)
    assert problems == []
    assert records == read("00123,use,2024-03-05,pass,A,,,1.10,350")[0]


def test_a_reading_that_the_spreadsheet_made_a_date_is_refused() -> None:
    rows: list[list[Any]] = [
        HEADER.split(","),
        ["00123", "use", "2024-03-05", "pass", "A", "", "", date(2024, 2, 1)],
    ]
    content = workbook(rows)
    records, problems = read_history("past.xlsx", content, items=ITEMS, tasks=TASKS)
    assert records == []
    assert only(problems)[1] == "reading:leak_mbar"
    assert "is a date to the spreadsheet" in problems[0].remedy


STAMPED = "tag,task,done_on,outcome,by,stamped_next,stamped_end,stamped_permit,stamped_body"


def test_what_was_marked_at_a_retest_is_read_as_readings_of_it() -> None:
    records, problems = read(
        "00123,hydrostatic-retest,2024-06-08,pass,A,06/2029,2034-05,SP-7,A123", header=STAMPED
    )
    assert problems == []
    assert records[0].readings == (
        ("stamped next test", "06/2029"),
        ("stamped end of life", "2034-05"),
        ("stamped permit", "SP-7"),
        ("stamped body", "A123"),
    )


@pytest.mark.parametrize(
    ("row", "column", "words"),
    [
        ("hydrostatic-retest,2024-06-08,pass,A,05/2024,,,", "stamped_next", "before the test"),
        ("hydrostatic-retest,2024-06-08,pass,A,06/2024,,,", "stamped_next", "when it was tested"),
        ("hydrostatic-retest,2024-06-08,pass,A,,6/34,,", "stamped_end", "all four figures"),
        ("hydrostatic-retest,2024-06-08,fail,A,06/2029,,,", "stamped_next", "that was passed"),
        ("flow-test,2024-06-08,pass,A,,,SP-7,", "stamped_permit", "only at a hydrostatic-retest"),
    ],
)
def test_what_nobody_can_have_marked_is_refused(row: str, column: str, words: str) -> None:
    records, problems = read(f"00123,{row}", header=STAMPED)
    assert records == []
    assert only(problems)[1] == column
    assert words in only(problems)[3]

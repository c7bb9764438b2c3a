"""A list of what was fitted to which set: everything that contradicts itself or the register."""

from datetime import date

import pytest

from registry.lists.pure.fittings import (
    FittingRow,
    KnownFitting,
    KnownThing,
    read_fittings,
)
from registry.lists.pure.problems import Problem

TODAY = date(2026, 11, 25)
ITEMS = {
    "S1": KnownThing("set", None, TODAY, None),
    "S2": KnownThing("set", None, TODAY, None),
    "M1": KnownThing("mask", date(2024, 1, 10), TODAY, None),
    "M2": KnownThing("mask", None, TODAY, None),
    "C1": KnownThing("cylinder", None, TODAY, None),
    "OLD": KnownThing("cylinder", None, TODAY, date(2025, 6, 30)),
    "P1": KnownThing("compressor", None, TODAY, None),
}
HEADER = "set,part,place,fitted_on,removed_on"
KNOWN = KnownFitting("S1", "M1", "mask", date(2024, 3, 1), None)
CLOSED = KnownFitting("S1", "M1", "mask", date(2024, 3, 1), date(2025, 3, 1))


def read(
    *rows: str, known: tuple[KnownFitting, ...] = ()
) -> tuple[list[FittingRow], list[Problem]]:
    """Read a list of fittings."""
    content = "\n".join((HEADER, *rows)).encode()
    return read_fittings("sets.csv", content, items=ITEMS, known=known)


def test_a_fitting_is_read_whole() -> None:
    rows, problems = read("S1,M1,mask,2024-03-01,2025-03-01", "S1,M2,mask,2025-03-01,")
    assert problems == []
    assert rows == [
        FittingRow(2, "S1", "M1", "mask", date(2024, 3, 1), date(2025, 3, 1)),
        FittingRow(3, "S1", "M2", "mask", date(2025, 3, 1), None),
    ]


@pytest.mark.parametrize(
    ("row", "column", "remedy"),
    [
        ("S9,M1,mask,2024-03-01,", "set", "is not in the register"),
        ("M2,M1,mask,2024-03-01,", "set", "is no set but a mask"),
        ("S1,P1,mask,2024-03-01,", "part", "is a compressor, which is no part of a set"),
        ("S1,S2,frame,2024-03-01,", "part", "is a set, which is no part of a set"),
        ("S1,M1,reducer,2024-03-01,", "place", "is no place for a mask; write mask"),
        ("S1,C1,mask,2024-03-01,", "place", "write cylinder or cylinder-2"),
        ("S1,M1,face,2024-03-01,", "place", "is not a place of a set"),
        ("S1,M1,mask,,", "fitted_on", "is empty"),
        ("S1,M1,mask,01/03/2024,", "fitted_on", "can be"),
        ("S1,M1,mask,2024-01-09,", "fitted_on", "before the part was made, 2024-01-10"),
        ("S1,M1,mask,2026-11-26,", "fitted_on", "is in the future"),
        ("S1,M1,mask,2024-03-01,2024-02-29", "removed_on", "is before it was fitted"),
        ("S1,M1,mask,2024-03-01,2026-11-26", "removed_on", "is in the future"),
        ("S1,OLD,cylinder,2024-03-01,", "part", "was condemned on 2025-06-30"),
        ("S1,OLD,cylinder,2024-03-01,2025-07-01", "part", "was condemned on 2025-06-30"),
    ],
)
def test_what_can_not_have_been_is_named_with_its_remedy(
    row: str, column: str, remedy: str
) -> None:
    rows, [problem] = read(row)
    assert rows == []
    assert (problem.line, problem.column) == (2, column)
    assert remedy in problem.remedy


@pytest.mark.parametrize(
    ("rows", "column", "remedy"),
    [
        (("S1,M1,mask,2024-03-01,", "S2,M1,mask,2024-06-01,"), "part", "line 2 has M1 in S1"),
        (("S1,M1,mask,2024-03-01,", "S1,M2,mask,2024-06-01,"), "place", "line 2 has M1 in S1"),
        (("S1,M1,mask,2024-03-01,", "S1,M1,mask,2024-03-01,"), "part", "stands in line 2 already"),
    ],
)
def test_two_rows_that_can_not_both_be_are_told(
    rows: tuple[str, ...], column: str, remedy: str
) -> None:
    found, [problem] = read(*rows)
    assert len(found) == 1
    assert (problem.line, problem.column) == (3, column)
    assert remedy in problem.remedy


def test_a_condemned_part_that_came_out_in_time_is_history() -> None:
    assert read("S1,OLD,cylinder,2024-03-01,2025-06-30")[1] == []


def test_what_the_register_has_already_may_be_repeated_and_closed() -> None:
    assert read("S1,M1,mask,2024-03-01,", known=(KNOWN,))[1] == []
    assert read("S1,M1,mask,2024-03-01,2025-03-01", known=(KNOWN,))[1] == []
    rows, problems = read(
        "S1,M1,mask,2024-03-01,2025-03-01", "S1,M2,mask,2025-03-01,", known=(KNOWN,)
    )
    assert problems == []
    assert len(rows) == 2


def test_what_the_register_has_closed_is_not_changed_by_a_list() -> None:
    _, [problem] = read("S1,M1,mask,2024-03-01,2025-04-01", known=(CLOSED,))
    assert "differs from the register, which has 2025-03-01" in problem.remedy
    _, [problem] = read("S1,M2,mask,2025-02-28,", known=(CLOSED,))
    assert problem.column == "place"
    assert "the register has M1 in S1 as mask from 2024-03-01 until 2025-03-01" in problem.remedy

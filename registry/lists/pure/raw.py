"""Rows as they come out of a file, before anybody asks what they mean."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import NamedTuple

from registry.lists.pure.problems import Problem

SHOWN = 60
"""So many characters of a value are quoted in a message."""


class NotReadable(Exception):
    """From here on the file can't be read; `remedy` says what to do."""

    def __init__(self, remedy: str, *, line: int = 1, value: str = "") -> None:
        super().__init__(remedy)
        self.remedy = remedy
        self.line = line
        self.value = value


class CellFault(NamedTuple):
    """A cell that holds no plain value. remedy: as in Problem."""

    value: str
    remedy: str


NO_FAULTS: Mapping[int, CellFault] = MappingProxyType({})
NO_DAYS: frozenset[int] = frozenset()


class RawRow(NamedTuple):
    """One row of a table, cells from the left.

    line: where it begins, counted from 1. faults: by position, cells that can't be used.
    days: positions of cells that a workbook keeps as dates and not as text.
    """

    line: int
    cells: list[str]
    faults: Mapping[int, CellFault] = NO_FAULTS
    days: frozenset[int] = NO_DAYS


def fault(file: str, line: int, column: str, value: str, remedy: str) -> Problem:
    """Return a problem with its value cut to what fits in a message."""
    shown = value if len(value) <= SHOWN else value[: SHOWN - 1] + "…"
    return Problem(file, line, column, shown, remedy)

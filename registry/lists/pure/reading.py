"""Reading the cells of one row, so that all its problems are told at once."""

from collections.abc import Callable
from typing import TypeVar

from registry.cells.pure.values import ValueProblem
from registry.lists.pure.problems import Problem
from registry.lists.pure.raw import fault
from registry.lists.pure.tables import Row

T = TypeVar("T")
U = TypeVar("U")

MADE_A_DAY = (
    "is a date to the spreadsheet, which may have made it of something else; format the column "
    "as text and type it again"
)


class RowReader:
    """One row of a file; `problems` grows with what is refused in it."""

    __slots__ = ("_cells", "_file", "problems", "row")

    def __init__(self, file: str, row: Row) -> None:
        self.row = row
        self.problems: list[Problem] = []
        self._cells = row.cells
        self._file = file

    @property
    def faultless(self) -> bool:
        """Whether nothing of this row has been refused, here or before."""
        return not (self.problems or self.row.refused)

    def read(self, column: str, parse: Callable[[str], T], otherwise: U) -> T | U:
        """Return a cell's value; `otherwise` where it is empty, absent or refused."""
        if text := self._cells.get(column, ""):
            try:
                return parse(text)
            except ValueProblem as problem:
                self.refuse(column, problem.remedy)
        return otherwise

    def need(self, column: str, parse: Callable[[str], T], otherwise: U) -> T | U:
        """Return a cell's value, and refuse an empty cell; the column must be there."""
        if text := self._cells[column]:
            try:
                return parse(text)
            except ValueProblem as problem:
                self.refuse(column, problem.remedy)
        elif column not in self.row.refused:
            self.refuse(column, f"is empty; every row needs its {column}")
        return otherwise

    def keep(self, *columns: str) -> None:
        """Refuse codes and words that a workbook keeps as dates: 5-3 was not meant as 5 March."""
        if self.row.days:
            for column in self.row.days.intersection(columns):
                self.refuse(column, MADE_A_DAY)

    def refuse(self, column: str, remedy: str) -> None:
        """Add a problem with a cell, whose text is quoted."""
        text = self._cells.get(column, "")
        self.problems.append(fault(self._file, self.row.line, column, text, remedy))

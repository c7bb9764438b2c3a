"""Finding the line that names the columns, and what is wrong with it."""

from collections.abc import Sequence
from dataclasses import dataclass

from registry.cells.pure.bare import SPACES
from registry.cells.pure.values import Vocabulary
from registry.lists.pure.problems import Problem
from registry.lists.pure.raw import NotReadable, RawRow, fault

HEAD_ROWS = 10
"""A title may stand above the header; it is looked for so far down."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """The columns a list may have.

    columns: every name, in lower case. required: those that must be there.
    extra_prefix: columns that begin so are taken whatever follows.
    """

    columns: frozenset[str]
    required: frozenset[str]
    extra_prefix: str = ""

    def column(self, cell: str) -> str:
        """Return the column that a header cell names, or nothing."""
        name = cell.strip(SPACES)
        folded = name.casefold()
        if folded in self.columns:
            return folded
        prefix = self.extra_prefix
        if prefix and folded.startswith(prefix) and (rest := name[len(prefix) :].strip(SPACES)):
            return prefix + rest
        return ""

    def fitness(self, cells: Sequence[str]) -> tuple[bool, int]:
        """Tell whether a row names all required columns, and how many columns it names."""
        named = {self.column(cell) for cell in cells} - {""}
        return self.required <= named, len(named)


@dataclass(frozen=True, slots=True)
class Header:
    """The columns of one file from the left.

    names: empty where a column is not to be read: it has no name, or one that is refused.
    unnamed: the places of those without a name.
    """

    names: tuple[str, ...]
    unnamed: frozenset[int]


def best_fit(rows: Sequence[Sequence[str]], wanted: Wanted) -> tuple[bool, int]:
    """Return how well the best of the first rows fits as a header."""
    return max(map(wanted.fitness, rows), default=(False, 0))


def header_place(rows: Sequence[Sequence[str]], wanted: Wanted) -> int:
    """Return which of the first rows is the header: the first that names every required column.

    Where none does, the one that names most. Raises NotReadable where none names any.
    """
    fits = [wanted.fitness(row) for row in rows]
    complete = [place for place, fit in enumerate(fits) if fit[0]]
    if complete:
        return complete[0]
    if max(fits, default=(False, 0))[1] == 0:
        names = ", ".join(sorted(wanted.required))
        raise NotReadable(f"has no header in its first {HEAD_ROWS} rows; name the columns: {names}")
    return fits.index(max(fits))


def read_header(file: str, raw: RawRow, wanted: Wanted) -> tuple[Header, list[Problem]]:
    """Return the columns and every problem with their names.

    An unknown or repeated column is told and left out, so that its rows can still be read.
    """
    cells = [cell.strip(SPACES) for cell in raw.cells]
    while cells and not cells[-1]:
        cells.pop()
    vocabulary = Vocabulary(wanted.columns, "a column of this list")
    names: list[str] = []
    problems: list[Problem] = []
    for cell in cells:
        name = wanted.column(cell)
        if cell and not name:
            problems.append(fault(file, raw.line, "", cell, _unknown(cell, wanted, vocabulary)))
        elif name and name.casefold() in map(str.casefold, names):
            remedy = "is named twice; delete one of the two columns"
            problems.append(fault(file, raw.line, name, cell, remedy))
            name = ""
        names.append(name)
    problems += [
        fault(file, raw.line, column, "", "is missing; add this column to the header")
        for column in sorted(wanted.required - set(names))
    ]
    unnamed = frozenset(place for place, cell in enumerate(cells) if not cell)
    return Header(tuple(names), unnamed), problems


def _unknown(cell: str, wanted: Wanted, vocabulary: Vocabulary) -> str:
    if wanted.extra_prefix and cell.casefold().startswith(wanted.extra_prefix):
        return f"names nothing after {wanted.extra_prefix}; write the name there"
    if near := vocabulary.nearest(cell):
        return f"is not a column of this list; rename it {near} if that is meant, or delete it"
    return "is not a column of this list; delete it, or give it the name of one"

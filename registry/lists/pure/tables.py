"""A list as people bring it: a CSV file or a workbook, turned into rows of named cells.

What a spreadsheet adds by itself is taken without a word: marks in front of the file, blank
rows, a title above the header, spaces around a cell. What changes a value is refused.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import chain, islice
from pathlib import PurePath

from registry.cells.pure.bare import MAX_CELL, SPACES, bare, sound
from registry.cells.pure.values import ValueProblem
from registry.lists.pure.delimited import csv_rows
from registry.lists.pure.header import (
    HEAD_ROWS,
    Header,
    Wanted,
    best_fit,
    header_place,
    read_header,
)
from registry.lists.pure.problems import Problem
from registry.lists.pure.raw import CellFault, NotReadable, RawRow, fault
from registry.lists.pure.workbook import open_workbook

MAX_BYTES = 64 * 2**20
MAX_ROWS = 1_000_000

ZIP_START = b"PK\x03\x04"
BLANK = b"\xef\xbb\xbf\r\n\t ,;"
OLD_START = b"\xd0\xcf\x11\xe0"
TEXT_NAMES = ("", ".csv", ".tsv", ".txt")
TOO_MANY = (
    "stands right of the last column; put quotation marks around a cell that holds the "
    "separator, or name the column"
)
UNNAMED = "stands in a column without a name; name the column or empty the cell"


@dataclass(frozen=True, slots=True)
class Row:
    """One row of a list.

    line: where it begins. cells: trimmed text by column, every readable column of the header.
    days: columns whose cell the workbook keeps as a date. refused: columns whose cell was
    refused already; its text is empty.
    """

    line: int
    cells: dict[str, str]
    days: frozenset[str] = frozenset()
    refused: frozenset[str] = frozenset()


def read_rows(
    name: str,
    content: bytes,
    *,
    columns: frozenset[str],
    required: frozenset[str],
    extra_prefix: str = "",
) -> tuple[list[Row], list[Problem]]:
    """Return the rows of a list, and every problem with the file, its header and its cells.

    The arguments are those of `each_row`.
    """
    problems: list[Problem] = []
    rows = each_row(
        name, content, problems, columns=columns, required=required, extra_prefix=extra_prefix
    )
    return list(rows), problems


def each_row(
    name: str,
    content: bytes,
    problems: list[Problem],
    *,
    columns: frozenset[str],
    required: frozenset[str],
    extra_prefix: str = "",
) -> Iterator[Row]:
    """Yield the rows of a list one by one, which keeps a long list out of memory.

    name: the file's name; its ending and the content must agree. problems: grows with those of
    the file, its header and its cells. columns, required: names in lower case. extra_prefix:
    columns that begin so are taken too, as written after the prefix.
    Rows whose cells can't be told apart are left out. Where reading has to stop, what stood
    before is yielded; where a required column is missing, no rows are.
    """
    reader = _Reader(name, Wanted(columns, required, extra_prefix), problems)
    try:
        yield from reader.rows(content)
    except NotReadable as stop:
        reader.report(stop)


class _Reader:
    """Reads one file; `problems` grows as it goes."""

    def __init__(self, name: str, wanted: Wanted, problems: list[Problem]) -> None:
        self.name = name
        self.wanted = wanted
        self.problems = problems
        self.header = Header((), frozenset())
        self._even = False

    def report(self, stop: NotReadable) -> None:
        """Tell why reading stopped."""
        self.problems.append(fault(self.name, stop.line, "", stop.value, stop.remedy))

    def rows(self, content: bytes) -> Iterator[Row]:
        """Read the file; raises NotReadable where it can't be begun, or goes on for too long."""
        raws = self._until_stopped(self._source(content))
        head = list(islice(raws, HEAD_ROWS))
        if self.problems and not head:
            return
        place = header_place([raw.cells for raw in head], self.wanted)
        self.header, problems = read_header(self.name, head[place], self.wanted)
        self.problems += problems
        if not self.wanted.required <= set(self.header.names):
            return
        self._even = "" not in self.header.names
        count = 0
        for raw in chain(head[place + 1 :], raws):
            if (row := self._row(raw)) is None:
                continue
            if count == MAX_ROWS:
                raise NotReadable(f"is past row {MAX_ROWS}; split the list", line=raw.line)
            count += 1
            yield row

    def _source(self, content: bytes) -> Iterator[RawRow]:
        """Return the rows of either kind of file, blank ones too."""
        if remedy := _refusal(self.name, content):
            raise NotReadable(remedy)
        if not content.startswith(ZIP_START):
            return csv_rows(content, lambda rows: best_fit(rows, self.wanted))
        book = open_workbook(content)
        if book.others:
            stop = "also holds data, and only the first sheet is read; move it there or delete it"
            self.report(NotReadable(stop, value=", ".join(book.others)))
        return book.rows

    def _until_stopped(self, raws: Iterator[RawRow]) -> Iterator[RawRow]:
        try:
            yield from raws
        except NotReadable as stop:
            self.report(stop)

    def _row(self, raw: RawRow) -> Row | None:
        """Return a row of trimmed cells; None for a blank row and for one that is too long."""
        cells, joined = raw.cells, "".join(raw.cells)
        even = self._even and len(cells) == len(self.header.names)
        if even and _plain(joined) and not (raw.faults or raw.days):
            # Most rows go this way, in half the time.
            if joined.isspace():
                return None
            if " " in joined:
                cells = [cell.strip() for cell in cells]
            return Row(raw.line, dict(zip(self.header.names, cells, strict=True)))
        if raw.faults or joined.strip(SPACES):
            return self._uneven_row(raw)
        return None

    def _uneven_row(self, raw: RawRow) -> Row | None:
        names = self.header.names
        cells, refused = self._tidied(raw)
        if over := " ".join(filter(None, cells[len(names) :])):
            self._tell(raw, "", over, TOO_MANY)
            return None
        cells += [""] * (len(names) - len(cells))
        for place in self.header.unnamed:
            if cells[place]:
                self._tell(raw, "", cells[place], UNNAMED)
        row = dict(zip(names, cells, strict=False))
        row.pop("", None)
        days = frozenset(names[place] for place in raw.days if place < len(names))
        return Row(raw.line, row, days - {""}, refused)

    def _tidied(self, raw: RawRow) -> tuple[list[str], frozenset[str]]:
        """Trim the cells one by one, and empty those that are refused."""
        names, refused = self.header.names, set()
        cells = raw.cells + [""] * (max(raw.faults, default=-1) + 1 - len(raw.cells))
        for place, cell in enumerate(cells):
            cells[place] = text = bare(cell)
            if found := raw.faults.get(place) or _cell_fault(text):
                column = names[place] if place < len(names) else ""
                cells[place] = "" if column else found.value
                if column:
                    self._tell(raw, column, *found)
                    refused.add(column)
        return cells, frozenset(refused)

    def _tell(self, raw: RawRow, column: str, value: str, remedy: str) -> None:
        self.problems.append(fault(self.name, raw.line, column, value, remedy))


def _refusal(name: str, content: bytes) -> str:
    """Return why a file can't be taken by its size and its first bytes, or nothing."""
    if not content.strip(BLANK):
        return "is empty; bring a CSV file or a workbook (.xlsx) with a header and rows"
    if len(content) > MAX_BYTES:
        return f"is larger than {MAX_BYTES // 2**20} MB; split the list"
    if content.startswith(OLD_START):
        return "is an old workbook (.xls) or one with a password; save it as .xlsx without one"
    return _name_refusal(PurePath(name).suffix.lower(), zipped=content.startswith(ZIP_START))


def _name_refusal(ending: str, *, zipped: bool) -> str:
    """Return how a file's name and content disagree, or nothing."""
    if ending not in (*TEXT_NAMES, ".xlsx"):
        return f"has the ending {ending}; bring a CSV file (.csv) or a workbook (.xlsx)"
    if ending == ".xlsx" and not zipped:
        return "is not a workbook although its name ends with .xlsx; save it as .xlsx or .csv"
    if ending in TEXT_NAMES[1:] and zipped:
        return f"is a workbook although its name ends with {ending}; rename it to end with .xlsx"
    return ""


def _plain(joined: str) -> bool:
    """Tell whether the cells of a row, joined, need no more than to be trimmed."""
    return (
        joined.isascii()
        and joined.isprintable()
        and 0 < len(joined) <= MAX_CELL
        and "'" not in joined
        and "#" not in joined
    )


def _cell_fault(text: str) -> CellFault | None:
    """Return why a cell's text can't be used in any column."""
    try:
        sound(text)
    except ValueProblem as problem:
        return CellFault(text, problem.remedy)
    return None

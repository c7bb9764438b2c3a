"""The cells of one sheet, as they stream by."""

import re
from collections.abc import Sequence
from datetime import datetime
from functools import cache

from registry.lists.pure.archive import DAMAGED, Attributes, Handlers
from registry.lists.pure.cells import Shape, text_as_shown
from registry.lists.pure.raw import CellFault, NotReadable, RawRow

MAX_COLUMNS = 512
MAX_ROW = 1_048_576
MAX_TEXT = 4000
"""More of one text is not kept; a cell of a list may hold less than that."""
MAX_STRINGS = 3_000_000

# Not the halves of a pair, which are no characters by themselves.
ESCAPED = re.compile(r"_x((?![Dd][89A-Fa-f])[0-9A-Fa-f]{4})_")
DIGITS = "0123456789"
COLUMN = re.compile(r"[A-Z]{1,3}", re.ASCII)

FORMULA = (
    "is a formula (cell {cell}), and the result stored with it may be old; "
    "copy the column and paste it back as values only"
)
YES_NO = "is a yes/no cell ({cell}); format the column as text and type what is meant"
FAILED = "is a failed calculation (cell {cell}); type the value itself or empty the cell"
TOO_WIDE = f"holds cells beyond column {MAX_COLUMNS}; copy the list into a new workbook"
PLAIN = Shape()


class Text(Handlers):
    """Gathers the text of a cell or a shared string, leaving out phonetic guides."""

    def __init__(self) -> None:
        self._pieces: list[str] = []
        self._length = 0
        self._taking = False
        self._phonetic = False

    def start(self, name: str, attributes: Attributes) -> None:
        """Begin taking text at a value, a text or a formula."""
        if name in ("v", "t", "f"):
            self._taking = not self._phonetic
        elif name == "rPh":
            self._phonetic = True

    def end(self, name: str) -> None:
        """Stop taking text."""
        self._taking = False
        if name == "rPh":
            self._phonetic = False

    def text(self, piece: str) -> None:
        """Take a piece, up to what anybody could want."""
        if self._taking and self._length <= MAX_TEXT:
            self._pieces.append(piece)
            self._length += len(piece)

    def _gathered(self) -> str:
        """Return the text since the last call, with escaped characters restored."""
        text = "".join(self._pieces)
        self._pieces.clear()
        self._length = 0
        if "_x" in text:
            text = ESCAPED.sub(lambda found: chr(int(found[1], 16)), text)
        return text


class Strings(Text):
    """The texts that cells refer to by number."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def end(self, name: str) -> None:
        """Keep a finished text."""
        super().end(name)
        if name == "si":
            self.found.append(self._gathered())
            if len(self.found) > MAX_STRINGS:
                raise NotReadable("holds more texts than a list can; save it as 'CSV UTF-8'")


class FirstCell(Handlers):
    """Is done when any cell has turned out to hold something."""

    def start(self, name: str, attributes: Attributes) -> None:
        """Note a value, a text or a formula."""
        if name in ("v", "is", "f"):
            self.done = True


class Sheet(Text):
    """Builds rows from the elements of a sheet; `take` hands over what is finished.

    strings: the texts that cells refer to by number. shapes: what each style shows.
    epoch: the day from which the workbook counts.
    """

    def __init__(self, strings: Sequence[str], shapes: Sequence[Shape], epoch: datetime) -> None:
        super().__init__()
        self._strings = strings
        self._shapes = shapes
        self._epoch = epoch
        self._ready: list[RawRow] = []
        self._line = 0
        self._clear_row()

    def take(self) -> list[RawRow]:
        """Return the rows finished since the last call, without those that hold nothing."""
        ready, self._ready = self._ready, []
        return ready

    def start(self, name: str, attributes: Attributes) -> None:
        """Begin a row, a cell or its value."""
        if name == "c":
            self._begin_cell(attributes)
        elif name == "row":
            self._begin_row(attributes)
        else:
            super().start(name, attributes)

    def end(self, name: str) -> None:
        """Finish a row, a cell or its value."""
        super().end(name)
        if name == "c":
            self._end_cell()
        elif name == "f":
            self._formula = f"={self._gathered()}"
        elif name == "row" and (self._cells or self._faults):
            width = max(self._cells, default=-1) + 1
            cells = [self._cells.get(place, "") for place in range(width)]
            self._ready.append(RawRow(self._line, cells, self._faults, frozenset(self._days)))

    def _begin_row(self, attributes: Attributes) -> None:
        number = attributes.get("r", "")
        self._line = int(number) if number.isdecimal() else self._line + 1
        if self._line > MAX_ROW:
            raise NotReadable(DAMAGED, line=MAX_ROW)
        self._clear_row()

    def _clear_row(self) -> None:
        self._place = -1
        self._cells: dict[int, str] = {}
        self._faults: dict[int, CellFault] = {}
        self._days: list[int] = []

    def _begin_cell(self, attributes: Attributes) -> None:
        reference = attributes.get("r", "")
        self._place = _place(reference.rstrip(DIGITS)) if reference else self._place + 1
        self._kind = attributes.get("t", "n")
        self._style = attributes.get("s", "0")
        self._formula = ""

    def _end_cell(self) -> None:
        text = self._gathered()
        if not (text or self._formula):
            return
        if self._place >= MAX_COLUMNS:
            raise NotReadable(TOO_WIDE, line=self._line)
        if self._formula:
            self._refuse(self._formula, FORMULA)
        elif self._kind == "s":
            self._cells[self._place] = self._strings[int(text)]
        elif self._kind == "n":
            self._number(text)
        elif self._kind == "d":
            self._days.append(self._place)
            self._cells[self._place] = text.removesuffix("T00:00:00").replace("T", " ")
        elif self._kind == "b":
            self._refuse("TRUE" if text == "1" else "FALSE", YES_NO)
        elif self._kind == "e":
            self._refuse(text, FAILED)
        else:
            self._cells[self._place] = text

    def _number(self, text: str) -> None:
        shape = self._shapes[int(self._style)] if self._shapes else PLAIN
        self._cells[self._place] = text_as_shown(text, shape, epoch=self._epoch)
        if shape.dated:
            self._days.append(self._place)

    def _refuse(self, value: str, remedy: str) -> None:
        cell = f"{_letters(self._place)}{self._line}"
        self._faults[self._place] = CellFault(value, remedy.format(cell=cell))


@cache
def _place(letters: str) -> int:
    """Return a column's place from its letters, A being 0."""
    if COLUMN.fullmatch(letters) is None:
        raise NotReadable(DAMAGED)
    place = 0
    for letter in letters:
        place = 26 * place + ord(letter) - ord("A") + 1
    return place - 1


def _letters(place: int) -> str:
    """Return a column's letters from its place."""
    letters = ""
    place += 1
    while place:
        place, letter = divmod(place - 1, 26)
        letters = chr(ord("A") + letter) + letters
    return letters

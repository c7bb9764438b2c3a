"""The shape of a state and the date stamp: the same on paper as on screen.

A state is a word, a shape and a colour, in this order of weight: the shapes tell the states
apart on a print without colour. The typeface has no squares, so they are drawn.
"""

import re
from datetime import date
from functools import lru_cache

from reportlab.graphics.barcode.qrencoder import QRCode, QRErrorCorrectLevel

from registry.lettering.pure import Face
from reports.documents.pure import ink
from reports.documents.pure.text import Colour, Style, one_line, width

WORDS = {
    "due-soon": "due soon",
    "in-service": "in service",
    "out-of-service": "out of service",
    "in-doubt": "in doubt",
}
COLOURS = {
    "overdue": Colour.OVERDUE,
    "due-soon": Colour.DUE_SOON,
    "current": Colour.CURRENT,
    "in-service": Colour.CURRENT,
    "undetermined": Colour.UNDETERMINED,
    "in-doubt": Colour.UNDETERMINED,
    "out-of-service": Colour.INK,
    "incomplete": Colour.INK,
    "condemned": Colour.OVERDUE,
}
NO_DATE = "no date"

# Each shape in a square of side 1, in PDF operators: re a rectangle, m l c a path, S its line,
# f its inside, B both.
_OPEN = ".12 w .06 .06 .88 .88 re"
_PATHS = {
    "overdue": f"{_OPEN} B",
    "due-soon": f"{_OPEN} S 0 0 1 .5 re f",
    "current": f"{_OPEN} S",
    "in-service": f"{_OPEN} S",
    "undetermined": (
        f"{_OPEN} S .13 w .31 .62 m .31 .9 .72 .9 .7 .62 c .68 .5 .5 .52 .5 .36 c S "
        ".43 .15 .14 .14 re f"
    ),
    "in-doubt": f"{_OPEN} S .13 w .5 .38 m .5 .82 l S .43 .16 .14 .14 re f",
    "out-of-service": f"{_OPEN} S 0 .35 1 .3 re f",
    "incomplete": f"[.42 .22] 0 d {_OPEN} S",
    "condemned": f"{_OPEN} S .16 w .1 .1 m .9 .9 l .1 .9 m .9 .1 l S",
}


def state_word(state: str) -> str:
    """Return a state as people say it; an unknown one stands as it came."""
    return WORDS.get(state, state)


def state_colour(state: str) -> Colour:
    """Return the colour of a state; an unknown one looks undetermined, never fine."""
    return COLOURS.get(state, Colour.UNDETERMINED)


def state_line(state: str, x: float, size: float) -> ink.Line:
    """Return the mark of a state and its word beside it, `size` points high."""
    style = Style(Face.SEMIBOLD, size, state_colour(state))
    square = size * 0.9
    return ink.Mark(x, square, state), ink.Words(
        x + square + size * 0.45, one_line(state_word(state)), style
    )


def stamp(due_on: date | None, state: str, x: float, size: float) -> tuple[ink.Line, ink.Line]:
    """Return a due date set like the mark on a cylinder's shoulder, and its state.

    Year and month are large, the day small beside them; the state comes under them.
    """
    small = max(8.0, size * 0.58)
    under = state_line(state, x, max(8.0, size * 0.5))
    if due_on is None:
        return (ink.Words(x, NO_DATE, Style(Face.SEMIBOLD, size, Colour.MUTED)),), under
    large = Style(Face.SEMIBOLD, size)
    month = f"{due_on.year:04d}·{due_on.month:02d}"
    beside = x + width(month, large) + size * 0.28
    dated = (
        ink.Words(x, month, large),
        ink.Words(beside, f"{due_on.day:02d}", Style(Face.SEMIBOLD, small)),
    )
    return dated, under


def can_be_code(text: str) -> bool:
    """Tell whether a text may be drawn as a code: only what a hash is made of."""
    return re.fullmatch(r"[0-9a-fA-F]{8,128}", text) is not None


def mark_path(state: str) -> str:
    """Return the PDF operators that draw a state in the square from 0, 0 to 1, 1."""
    return _PATHS.get(state, _PATHS["undetermined"])


@lru_cache(maxsize=64)
def code_path(text: str) -> str:
    """Return the PDF operators that draw a text as a QR code from 0, 0 to 1, 1."""
    code = QRCode(None, QRErrorCorrectLevel.M)
    code.addData(text)
    code.make()
    side = code.moduleCount
    squares = [
        f"{along / side:.4f} {1 - (down + 1) / side:.4f} {1 / side:.4f} {1 / side:.4f} re"
        for down in range(side)
        for along in range(side)
        if code.modules[down][along]
    ]
    return " ".join([*squares, "f"])

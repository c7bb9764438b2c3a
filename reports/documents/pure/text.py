"""Words on paper: the typeface, what a person typed made fit to print, lines that fit.

Nothing here understands markup. What people type is drawn letter by letter, so a note can
spoil neither the page nor the file (expectations X8 and B20).
"""

import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from functools import lru_cache
from threading import Lock
from typing import NamedTuple

import ttf_opensans
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
NOT_IN_FONT = "\N{REPLACEMENT CHARACTER}"
# In the font, but without ink: they would print as nothing and hide in a copied text.
INVISIBLE = {"\N{ZERO WIDTH SPACE}", "\N{ZERO WIDTH NO-BREAK SPACE}"}
LEFT_OUT = "\N{HORIZONTAL ELLIPSIS}"
WORTH_REMEMBERING = 200
BREAK_AFTER = "-/_.,;:\\"

# The font objects are shared by all documents and cut their subset with a moving read position,
# so two threads may neither register nor save at the same moment.
FONT_LOCK = Lock()


class Face(StrEnum):
    """The three weights in use; the value is the name reportlab knows them by."""

    REGULAR = "Neckring-Regular"
    SEMIBOLD = "Neckring-SemiBold"
    BOLD = "Neckring-Bold"


class Colour(StrEnum):
    """The light column of the palette; on paper the ground is white."""

    INK = "#1D1C1A"
    MUTED = "#5A5750"
    LINE = "#8C877C"
    ACCENT = "#0A5A61"
    OVERDUE = "#9A1B1B"
    DUE_SOON = "#7A4A00"
    CURRENT = "#28572F"
    UNDETERMINED = "#4B3F72"


class Style(NamedTuple):
    """How a run of words looks; size in points. struck: with a line through it, still legible."""

    face: Face
    size: float
    colour: Colour = Colour.INK
    struck: bool = False


BODY = Style(Face.REGULAR, 9)
STRONG = Style(Face.SEMIBOLD, 9)
SMALL = Style(Face.REGULAR, 8)
QUIET = Style(Face.REGULAR, 8, Colour.MUTED)
HEADING = Style(Face.SEMIBOLD, 12, Colour.ACCENT)
LEAD = Style(Face.REGULAR, 11)
ANSWER = Style(Face.SEMIBOLD, 18)


class _PrintsAs(dict[int, str]):
    """A `str.translate` table: what the font has stays, the rest becomes a visible mark."""

    def __missing__(self, code: int) -> str:
        return NOT_IN_FONT


@dataclass(frozen=True, slots=True)
class _Font:
    prints_as: _PrintsAs
    em: dict[str, float]


_FILES = {
    Face.REGULAR: ttf_opensans.OPENSANS_REGULAR,
    Face.SEMIBOLD: ttf_opensans.OPENSANS_SEMIBOLD,
    Face.BOLD: ttf_opensans.OPENSANS_BOLD,
}
_fonts: dict[Face, _Font] = {}


def _load(face: Face, path: str) -> _Font:
    ttf = TTFont(face, path)
    pdfmetrics.registerFont(ttf)
    widths: dict[int, float] = ttf.face.charWidths
    glyphs: dict[int, int] = ttf.face.charToGlyph
    shown = {code: chr(code) for code in glyphs if code >= 32}
    prints_as = _PrintsAs({code: char for code, char in shown.items() if char not in INVISIBLE})
    prints_as.update({ord("\n"): "\n", ord("\t"): "    "})
    return _Font(prints_as, {char: widths[code] / 1000 for code, char in shown.items()})


def font(face: Face) -> _Font:
    """Return what is needed to measure a face, loading it at the first call."""
    if face not in _fonts:
        with FONT_LOCK:
            if face not in _fonts:
                _fonts[face] = _load(face, str(_FILES[face].path))
    return _fonts[face]


def printable(text: str) -> str:
    """Return what somebody typed as it will stand on paper.

    Letters are composed, line ends become one kind, and each character the typeface lacks, or
    that would not show, becomes one visible mark. Everything else stays as it was typed.
    """
    lines = text.replace("\r\n", "\n").replace("\r", "\n")
    lines = lines.replace("\N{LINE SEPARATOR}", "\n").replace("\N{PARAGRAPH SEPARATOR}", "\n")
    return unicodedata.normalize("NFC", lines).translate(font(Face.REGULAR).prints_as)


def one_line(text: str) -> str:
    """Return printable text without line ends, for places that have one line."""
    return " ".join(printable(text).split("\n"))


def width(text: str, style: Style) -> float:
    """Return how wide printable text is, in points."""
    em = font(style.face).em
    return sum(map(em.__getitem__, text)) * style.size


def wrap(text: str, style: Style, room: float) -> tuple[str, ...]:
    """Return the printable lines of a text, none wider than `room` points.

    Lines break at spaces; a word wider than the room breaks after a sign such as a hyphen if
    one stands in its last half, else anywhere.
    """
    wrapped = _remembered if len(text) <= WORTH_REMEMBERING else _wrapped
    return wrapped(text, style, room)


def wrap_at_most(most: int, text: str, style: Style, room: float) -> tuple[str, ...]:
    """Return the printable lines of a text, the last one ending in a sign if some are left out."""
    lines = wrap(text, style, room)
    if len(lines) <= most:
        return lines
    last = lines[most - 1].rstrip()
    while last and width(last + LEFT_OUT, style) > room:
        last = last[:-1]
    return (*lines[: most - 1], last + LEFT_OUT)


def _wrapped(text: str, style: Style, room: float) -> tuple[str, ...]:
    lines: list[str] = []
    for paragraph in printable(text).split("\n"):
        if width(paragraph, style) <= room:
            lines.append(paragraph)
        else:
            lines.extend(_broken(paragraph, style, room))
    return tuple(lines)


_remembered = lru_cache(maxsize=4096)(_wrapped)


def _broken(paragraph: str, style: Style, room: float) -> Iterator[str]:
    space = width(" ", style)
    line: list[str] = []
    used = 0.0
    for word in paragraph.split(" "):
        wide = width(word, style)
        if line and used + space + wide > room:
            yield " ".join(line)
            line, used = [], 0.0
        if wide > room:
            *full, word = _cut(word, style, room)  # noqa: PLW2901
            yield from full
            wide = width(word, style)
        used += wide + (space if line else 0.0)
        line.append(word)
    yield " ".join(line)


def _cut(word: str, style: Style, room: float) -> Iterator[str]:
    em, size = font(style.face).em, style.size
    start, used = 0, 0.0
    for place, char in enumerate(word):
        used += em[char] * size
        if used > room and place > start:
            end = _good_end(word, start, place)
            yield word[start:end]
            start, used = end, width(word[end : place + 1], style)
    yield word[start:]


def _good_end(word: str, start: int, limit: int) -> int:
    for place in range(limit, (start + limit) // 2, -1):
        if word[place - 1] in BREAK_AFTER:
            return place
    return limit


def day(on: date) -> str:
    """Return a day no reader can misread, such as 31 Oct 2026."""
    return f"{on.day} {MONTHS[on.month - 1]} {on.year}"


def bound(text: str) -> str:
    """Return a text that lines don't break inside of."""
    return text.replace(" ", "\N{NO-BREAK SPACE}")


def zone(at: datetime) -> str:
    """Return the name of a moment's time zone with its distance from UTC."""
    offset = at.isoformat()[19:].lstrip(".0123456789")
    if not offset:
        raise ValueError("A printed moment needs a time zone.")
    utc = "UTC" if offset == "+00:00" else f"UTC{offset}"
    name = zone_name(at)
    return utc if name in {utc, "UTC"} else f"{name}, {utc}"


def zone_name(at: datetime) -> str:
    """Return the name of a moment's time zone, good for other moments in it too."""
    return str(getattr(at.tzinfo, "key", None) or at.tzname())


def moment(at: datetime) -> str:
    """Return a moment to the minute, without its zone: say the zone once, beside it."""
    return f"{day(at)} {at:%H:%M}"

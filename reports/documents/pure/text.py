"""Words on paper: the typeface, what a person typed made fit to print, lines that fit.

Nothing here understands markup. What people type is drawn letter by letter, so a note can
spoil neither the page nor the file (X8 and B20 of DEVELOPERS.md).
"""

import unicodedata
from collections.abc import Iterator
from datetime import datetime
from enum import StrEnum
from functools import cache, lru_cache
from typing import NamedTuple

from registry.lettering import pure as lettering
from registry.wording.pure.dates import zone_name

LEFT_OUT = "\N{HORIZONTAL ELLIPSIS}"
WORTH_REMEMBERING = 200
BREAK_AFTER = "-/_.,;:\\"


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

    face: lettering.Face
    size: float
    colour: Colour = Colour.INK
    struck: bool = False


BODY = Style(lettering.Face.REGULAR, 9)
STRONG = Style(lettering.Face.SEMIBOLD, 9)
SMALL = Style(lettering.Face.REGULAR, 8)
QUIET = Style(lettering.Face.REGULAR, 8, Colour.MUTED)
HEADING = Style(lettering.Face.SEMIBOLD, 12, Colour.ACCENT)
LEAD = Style(lettering.Face.REGULAR, 11)
ANSWER = Style(lettering.Face.SEMIBOLD, 18)


class _PrintsAs(dict[int, str]):
    """A `str.translate` table: what can be printed stays, the rest becomes a visible mark."""

    def __missing__(self, code: int) -> str:
        sign = chr(code)
        self[code] = f"[{lettering.code_of(sign)}]" if lettering.unprintable(sign) else sign
        return self[code]


_PRINTS_AS = _PrintsAs({ord("\n"): "\n", ord("\t"): "    "})


class _Widths(dict[str, float]):
    """How wide each printable sign is in a style of this face, in sizes."""

    def __init__(self, face: lettering.Face) -> None:
        super().__init__(lettering.em(face))
        self._first = face

    def __missing__(self, sign: str) -> float:
        face = lettering.face_with(sign, self._first)
        if face is None:
            raise ValueError(f"{sign!r} was not made printable.")
        self[sign] = lettering.em(face)[sign]
        return self[sign]


@cache
def widths(face: lettering.Face) -> _Widths:
    """Return how wide signs are in a face, loading it at the first call."""
    return _Widths(face)


def printable(text: str) -> str:
    """Return what somebody typed as it will stand on paper.

    Letters are composed, line ends become one kind, and each sign that no typeface has, or
    that would not show, becomes its number in brackets, so that two texts never look alike.
    Everything else stays as it was typed.
    """
    lines = text.replace("\r\n", "\n").replace("\r", "\n")
    lines = lines.replace("\N{LINE SEPARATOR}", "\n").replace("\N{PARAGRAPH SEPARATOR}", "\n")
    return unicodedata.normalize("NFC", lines).translate(_PRINTS_AS)


def one_line(text: str) -> str:
    """Return printable text without line ends, for places that have one line."""
    return " ".join(printable(text).split("\n"))


def width(text: str, style: Style) -> float:
    """Return how wide printable text is, in points."""
    return sum(map(widths(style.face).__getitem__, text)) * style.size


def wrap(text: str, style: Style, room: float) -> tuple[str, ...]:
    """Return the printable lines of a text, none wider than `room` points.

    Lines break at spaces; a word wider than the room breaks after a sign such as a hyphen if
    one stands in its last half, else anywhere.
    """
    return tuple(lettering.as_seen(line, text) for line in _lines(text, style, room))


def wrap_at_most(most: int, text: str, style: Style, room: float) -> tuple[str, ...]:
    """Return the printable lines of a text, the last one ending in a sign if some are left out."""
    lines = _lines(text, style, room)
    if len(lines) > most:
        last = lines[most - 1].rstrip()
        while last and width(last + LEFT_OUT, style) > room:
            last = last[:-1]
        lines = (*lines[: most - 1], last + LEFT_OUT)
    return tuple(lettering.as_seen(line, text) for line in lines)


def _lines(text: str, style: Style, room: float) -> tuple[str, ...]:
    """Return the lines of a text in the order in which they are read."""
    wrapped = _remembered if len(text) <= WORTH_REMEMBERING else _wrapped
    return wrapped(text, style, room)


def _wrapped(text: str, style: Style, room: float) -> tuple[str, ...]:
    lines: list[str] = []
    for paragraph in lettering.joined(printable(text)).split("\n"):
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
    em, size = widths(style.face), style.size
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

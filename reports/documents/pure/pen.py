"""Puts strips on a page in the language of PDF itself.

A list of ten thousand rows has a quarter of a million things to place; writing their few
operators here is several times faster than asking the canvas for each. Words go in as
hexadecimal codes of the embedded font, so no character of a text can mean anything to a reader.
"""

from collections.abc import Iterator, Sequence
from functools import cache
from itertools import groupby
from typing import Any, Protocol, cast

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfgen.canvas import Canvas

from registry.lettering import pure as lettering
from reports.documents.pure import ink
from reports.documents.pure.marks import code_path, mark_path, state_colour
from reports.documents.pure.text import Colour, Style, width

REMEMBERED = 4096
STRUCK_RISE = 0.27
"""In sizes above the baseline: the small letters of the typeface are 0.54 high."""


class _SubsetFont(Protocol):
    """What reportlab's TrueType font offers; its stubs leave the types out."""

    def splitString(self, text: str, doc: object) -> list[tuple[int, bytes]]: ...  # noqa: N802

    def getSubsetInternalName(self, subset: int, doc: object) -> str: ...  # noqa: N802


@cache
def _rgb(colour: Colour) -> str:
    parts = (int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5))
    return " ".join(f"{part:.3f}" for part in parts)


def _by_font(text: str, first: lettering.Face) -> Iterator[tuple[_SubsetFont, str]]:
    """Yield the runs of a text that one typeface draws, in their order."""
    if lettering.em(first).keys() >= set(text):
        yield cast(_SubsetFont, pdfmetrics.getFont(str(first))), text
        return
    for face, run in groupby(text, key=lambda sign: lettering.face_with(sign, first)):
        yield cast(_SubsetFont, pdfmetrics.getFont(str(face))), "".join(run)


def _through(words: ink.Words) -> ink.Rule:
    """Return the line through struck words: thin, at half the height of small letters."""
    size = words.style.size
    until = words.x + width(words.text, words.style)
    rise, weight = size * STRUCK_RISE, max(0.5, size * 0.06)
    return ink.Rule(words.x, until, rise, weight, words.style.colour)


class Pen:
    """Draws on the current page of a canvas; `margin` is where x is 0."""

    def __init__(self, canvas: Canvas, margin: float) -> None:
        self._canvas = canvas
        self._doc: object = cast(Any, canvas)._doc  # fonts keep their subsets by document
        self._margin = margin
        self._shown: dict[tuple[str, lettering.Face, float], str] = {}

    def draw(self, strips: Sequence[ink.Strip], top: float) -> None:
        """Draw strips one under the other, the first one's upper edge at `top`."""
        words: list[str] = []
        shapes: list[str] = []
        drawn: Style | None = None
        for strip in strips:
            base = top - strip.baseline
            for op in strip.ops:
                if isinstance(op, ink.Words):
                    if op.style != drawn:
                        drawn = op.style
                        words.append(f"{_rgb(drawn.colour)} rg")
                    at = f"1 0 0 1 {self._margin + op.x:.2f} {base + op.rise:.2f} Tm"
                    words.append(f"{at} {self._show(op.text, op.style)}")
                    if op.style.struck and op.text.strip():
                        line = _through(op)
                        shapes.append(self._shape(line, base + op.rise + line.rise))
                else:
                    rise = 0.0 if isinstance(op, ink.Stroke) else op.rise
                    shapes.append(self._shape(op, base + rise))
            top -= strip.height
        self._canvas.addLiteral("\n".join(["q", *shapes, "BT", *words, "ET", "Q"]))

    def _show(self, text: str, style: Style) -> str:
        key = (text, style.face, style.size)
        if (known := self._shown.get(key)) is not None:
            return known
        shown = " ".join(
            f"{font.getSubsetInternalName(subset, self._doc)} {style.size:g} Tf <{codes.hex()}> Tj"
            for font, run in _by_font(text, style.face)
            for subset, codes in font.splitString(run, self._doc)
        )
        if len(self._shown) < REMEMBERED:
            self._shown[key] = shown
        return shown

    def _shape(self, op: ink.Mark | ink.Rule | ink.Code | ink.Stroke, y: float) -> str:
        x = self._margin + op.x
        if isinstance(op, ink.Stroke):
            steps = [f"{x + right:.2f} {y + up:.2f}" for right, up in op.points]
            path = f"{steps[0]} m " + " ".join(f"{step} l" for step in steps[1:])
            dash = "[2 2] 0 d" if op.dashed else "[] 0 d"
            return f"q {_rgb(op.colour)} RG {op.weight:g} w {dash} {path} S Q"
        if isinstance(op, ink.Rule):
            until = self._margin + op.until
            pen = f"{_rgb(op.colour)} RG {op.weight:g} w"
            return f"{pen} {x:.2f} {y:.2f} m {until:.2f} {y:.2f} l S"
        if isinstance(op, ink.Mark):
            colour, path = _rgb(state_colour(op.state)), mark_path(op.state)
        else:
            colour, path = _rgb(Colour.INK), code_path(op.text)
            y -= op.size
        place = f"{op.size:g} 0 0 {op.size:g} {x:.2f} {y:.2f} cm"
        return f"q {place} {colour} RG {colour} rg {path} Q"

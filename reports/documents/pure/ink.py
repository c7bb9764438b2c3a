"""What can stand on a page, and the strips a page is built of.

A strip is one line of the sheet: words, marks and rules around one baseline. A block is the
strips that belong together. Everything is placed before anything is drawn, so that the number
of pages is known when the first foot is written.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import zip_longest
from typing import NamedTuple

from reports.documents.pure.text import Colour, Style, width, wrap


class Words(NamedTuple):
    """A run of printable words; `x` from the left margin, `rise` above the baseline."""

    x: float
    text: str
    style: Style
    rise: float = 0.0


class Mark(NamedTuple):
    """The shape of a state, a square of `size` standing on the baseline."""

    x: float
    size: float
    state: str
    rise: float = 0.0


class Rule(NamedTuple):
    """A horizontal line."""

    x: float
    until: float
    rise: float
    weight: float
    colour: Colour


class Code(NamedTuple):
    """A square that a camera can read; it hangs down from `rise`."""

    x: float
    size: float
    text: str
    rise: float = 0.0


class Stroke(NamedTuple):
    """A line through points, each (right, up) from `x` on the baseline; `dashed` for a hint."""

    x: float
    points: tuple[tuple[float, float], ...]
    weight: float
    colour: Colour
    dashed: bool = False


Op = Words | Mark | Rule | Code | Stroke
Line = tuple[Op, ...]


class Strip(NamedTuple):
    """One line of a page. `baseline` is measured down from the top of the strip."""

    height: float
    baseline: float
    ops: Line
    bookmark: str = ""


UNDER_A_REPEATED_HEAD = 5.0


@dataclass(frozen=True, slots=True)
class Block:
    """Strips that stay on one page if they fit on one.

    running: repeated on top when the block, or its rest, opens a page.
    with_next: never the last thing on a page.
    """

    strips: tuple[Strip, ...]
    running: tuple[Strip, ...] = ()
    with_next: bool = False

    @property
    def height(self) -> float:
        """The height of all its strips."""
        return height(self.strips)


def column(x: float, room: float, *parts: tuple[str, Style]) -> list[Line]:
    """Return texts set one under the other, each wrapped to the room."""
    return [(Words(x, line, style),) for text, style in parts for line in wrap(text, style, room)]


def right(edge: float, text: str, style: Style) -> Words:
    """Return printable words that end at `edge`: numbers line up on the right."""
    return Words(edge - width(text, style), text, style)


def row(
    columns: Sequence[Sequence[Line]],
    lead: float,
    *,
    above: float = 0.0,
    below: float = 0.0,
    ruled: Rule | None = None,
) -> tuple[Strip, ...]:
    """Return columns side by side as strips of `lead` points.

    above, below: clear space over the first and under the last line.
    ruled: drawn on the upper edge of the first strip; its `rise` is ignored.
    """
    lines = [tuple(op for line in lines for op in line) for lines in _side_by_side(columns)]
    strips = []
    for number, ops in enumerate(lines):
        over = above if number == 0 else 0.0
        under = below if number == len(lines) - 1 else 0.0
        baseline = over + lead * 0.76
        edge: Line = ()
        if ruled is not None and number == 0:
            edge = (ruled._replace(rise=baseline),)
        strips.append(Strip(over + lead + under, baseline, edge + ops))
    return tuple(strips)


def _side_by_side(columns: Sequence[Sequence[Line]]) -> list[tuple[Line, ...]]:
    return list(zip_longest(*columns, fillvalue=()))


def paragraph(
    text: str, style: Style, room: float, *, x: float = 0.0, above: float = 0.0, below: float = 0.0
) -> tuple[Strip, ...]:
    """Return one text as strips over the width given."""
    return row([column(x, room, (text, style))], style.size * 1.32, above=above, below=below)


def clear(height: float) -> tuple[Strip, ...]:
    """Return clear space of a height."""
    return (Strip(height, height, ()),)


def paginate(blocks: Sequence[Block], room: float) -> list[list[Strip]]:
    """Return the strips of each page, none higher than `room`.

    A block that fits on a page is never split; a higher one flows, strip by strip.
    """
    pages: list[list[Strip]] = [[]]
    left = room
    for chunk in _chunks(blocks):
        if sum(block.height for block in chunk) > left and pages[-1]:
            pages.append(_on_top(chunk[0], room))
            left = room - height(pages[-1])
        for block in chunk:
            for strip in block.strips:
                if strip.height > left and pages[-1]:
                    pages.append([*_on_top(block, room), *clear(UNDER_A_REPEATED_HEAD)])
                    left = room - height(pages[-1])
                pages[-1].append(strip)
                left -= strip.height
    return pages


def height(strips: Iterable[Strip]) -> float:
    """Return how high strips are together."""
    return sum(strip.height for strip in strips)


def _on_top(block: Block, room: float) -> list[Strip]:
    """Return what is repeated over a block, unless it would leave no room for the block."""
    return list(block.running) if height(block.running) < room / 2 else []


def _chunks(blocks: Sequence[Block]) -> list[list[Block]]:
    chunks: list[list[Block]] = [[]]
    for block in blocks:
        chunks[-1].append(block)
        if not block.with_next:
            chunks.append([])
    return [chunk for chunk in chunks if chunk]

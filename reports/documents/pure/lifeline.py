"""An item's life lines on paper: the same picture as on screen, and the same in words beside it.

It is read without colour: a tick, a cross, a bracket, a thin bracket and a dashed line
differ in shape, and each line is told in a sentence under it.
"""

from collections.abc import Iterator

from reports.documents.pure import ink
from reports.documents.pure.marks import state_colour, state_line
from reports.documents.pure.sheet import WIDTH, hair, section
from reports.documents.pure.text import BODY, QUIET, SMALL, STRONG, Colour
from servicing.due.pure.lifeline import LEGEND, LifeLine, Track
from servicing.due.pure.lifeline import WIDTH as UNITS

TITLE = "Its life as lines"
NOTHING = "Nothing can be drawn: no made date, no day in service and no record is known."
_LEFT = 100.0
_ROOM = 296.0
_RIGHT = _LEFT + _ROOM + 10
_GROUND = -3.0
"""Where the line lies, from the baseline of the task's name."""


def life_lines(life: LifeLine | None) -> Iterator[ink.Block]:
    """Return the life lines as blocks, each line with its sentence."""
    yield section(TITLE)
    if life is None:
        yield ink.Block(ink.paragraph(NOTHING, BODY, WIDTH, above=4))
        return
    yield ink.Block((*ink.paragraph(LEGEND, QUIET, WIDTH, above=3), *_ends(life)), with_next=True)
    for track in life.tracks:
        yield ink.Block(_track(track, life))
    if not life.tracks:
        yield ink.Block(
            ink.paragraph("No rule asks anything and nothing is recorded.", BODY, WIDTH)
        )


def _ends(life: LifeLine) -> tuple[ink.Strip, ...]:
    """Say what the two ends and the marks between them are."""
    return ink.paragraph(life.marks_in_words, SMALL, WIDTH, above=2, below=2)


def _track(track: Track, life: LifeLine) -> tuple[ink.Strip, ...]:
    name: list[ink.Line] = ink.column(0, _LEFT - 8, (track.task.replace("-", " "), STRONG))
    drawn: list[ink.Line] = [tuple(_picture(track, life))]
    said: list[ink.Line] = [
        *([state_line(track.state, _RIGHT, 8)] if track.state else []),
        *ink.column(_RIGHT, WIDTH - _RIGHT, (track.rule or "no period runs", SMALL)),
    ]
    words: list[ink.Line] = ink.column(_LEFT, WIDTH - _LEFT, (track.words, QUIET))
    return (
        *ink.row([name, [*drawn, ()], said], 11, above=9, ruled=hair()),
        *ink.row([words], 9.5, above=1, below=3),
    )


def _picture(track: Track, life: LifeLine) -> Iterator[ink.Stroke | ink.Rule]:
    """Draw one line: its ground, the periods, the records and the day asked about."""
    yield ink.Rule(_LEFT, _LEFT + _ROOM, _GROUND, 0.5, Colour.LINE)
    for other in track.others:
        yield _bracket(other.start, other.end, 6, 0.5, Colour.MUTED)
    if track.arc_from is not None and track.arc_to is not None:
        yield _bracket(track.arc_from, track.arc_to, 12, 1.4, state_colour(track.state))
    for place in track.ticks:
        yield ink.Stroke(_x(place), ((0, _GROUND - 4), (0, _GROUND + 5)), 1.6, Colour.INK)
    for place in track.crosses:
        yield ink.Stroke(_x(place), ((-3, _GROUND - 3), (3, _GROUND + 3)), 1.3, Colour.INK)
        yield ink.Stroke(_x(place), ((-3, _GROUND + 3), (3, _GROUND - 3)), 1.3, Colour.INK)
    if life.in_service is not None:
        yield ink.Stroke(
            _x(life.in_service), ((0, _GROUND - 2), (0, _GROUND + 2)), 0.5, Colour.MUTED
        )
    if life.life is not None:
        yield ink.Stroke(_x(life.life), ((0, _GROUND - 5), (0, _GROUND + 13)), 2.2, Colour.INK)
    yield ink.Stroke(_x(life.today), ((0, _GROUND - 6), (0, _GROUND + 14)), 0.6, Colour.INK, True)


def _bracket(start: int, end: int, high: float, weight: float, colour: Colour) -> ink.Stroke:
    wide = _x(end) - _x(start)
    top = _GROUND + high
    return ink.Stroke(
        _x(start), ((0, _GROUND), (0, top), (wide, top), (wide, _GROUND)), weight, colour
    )


def _x(place: int) -> float:
    return _LEFT + _ROOM * place / UNITS

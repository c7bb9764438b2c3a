"""The paper that every printed document shares.

A4; on each page the document's number, its title, page n of m, who printed it and when, and
whose responsibility the dates are. A caller gives blocks; the same input gives the same bytes.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from io import BytesIO

from reportlab import rl_config
from reportlab.lib.pagesizes import A4
from reportlab.pdfgen.canvas import Canvas

from registry.lettering import pure as lettering
from registry.wording.pure.dates import moment_words
from reports.documents.pure import ink
from reports.documents.pure.pen import Pen
from reports.documents.pure.text import (
    BODY,
    HEADING,
    QUIET,
    SMALL,
    STRONG,
    Colour,
    Style,
    one_line,
    wrap_at_most,
    zone,
)

# Page streams as plain bytes: coding them as letters takes a third of the time of a long list.
rl_config.useA85 = 0

PROGRAM = "Neckring"
MARGIN = 42.0
TOP = 30.0
BOTTOM = 26.0
WIDTH = A4[0] - 2 * MARGIN
GUTTER = 12.0
HEAD_ROOM = 8.0
PAGES_WITH_BOOKMARKS = 3
MOST_LINES = 4
GENERAL_CAUTION = (
    "The dates and verdicts here are computed from a working copy of published rules. Somebody "
    "competent must check them against the current edition, the maker's instructions and the "
    "local authority. A retest is done and marked only by an approved body. A pass here never "
    "overrules a doubt at the bench."
)
CAUTIONS = "Cautions"
_BRAND = Style(lettering.Face.BOLD, 9, Colour.ACCENT)


@dataclass(frozen=True, slots=True)
class Sheet:
    """What stands on every page of one document.

    printed_at: with its time zone. cautions: those of the rule tables whose dates are shown;
    the program's own is always added.
    """

    number: str
    title: str
    printed_at: datetime
    printed_by: str
    cautions: tuple[str, ...] = ()


def sheet_pdf(sheet: Sheet, blocks: Sequence[ink.Block]) -> bytes:
    """Return a document as PDF: the blocks, the cautions and a clear end.

    Raises ValueError if `printed_at` has no time zone.
    """
    head, foot = _head(sheet), _foot(sheet, 1, 1, 1)
    room = A4[1] - TOP - BOTTOM - ink.height(head) - HEAD_ROOM - ink.height(foot)
    pages = ink.paginate([*blocks, *_cautions(sheet), _end(sheet)], room)
    cautions_on = _page_of_cautions(pages)
    file = BytesIO()
    canvas = _canvas(file, sheet)
    pen = Pen(canvas, MARGIN)
    for number, strips in enumerate(pages, start=1):
        foot = _foot(sheet, number, len(pages), cautions_on)
        pen.draw(head, A4[1] - TOP)
        pen.draw(strips, A4[1] - TOP - ink.height(head) - HEAD_ROOM)
        pen.draw(foot, BOTTOM + ink.height(foot))
        if len(pages) >= PAGES_WITH_BOOKMARKS:
            _bookmark(canvas, strips, number)
        canvas.showPage()
    with lettering.FONT_LOCK:
        canvas.save()
    return file.getvalue()


def section(title: str, *, bookmark: bool = True) -> ink.Block:
    """Return a heading with a rule under it; it is never the last thing on a page."""
    strips = ink.paragraph(title, HEADING, WIDTH, above=10, below=4)
    last = strips[-1]
    under = ink.Rule(0, WIDTH, last.baseline - last.height, 0.8, Colour.ACCENT)
    strips = (*strips[:-1], last._replace(ops=(*last.ops, under)))
    if bookmark:
        strips = (strips[0]._replace(bookmark=one_line(title)), *strips[1:])
    return ink.Block(strips, with_next=True)


def hair(x: float = 0.0, until: float = WIDTH) -> ink.Rule:
    """Return the thin line between two rows."""
    return ink.Rule(x, until, 0, 0.4, Colour.LINE)


def _canvas(file: BytesIO, sheet: Sheet) -> Canvas:
    for face in lettering.WEIGHTS:
        lettering.em(face)
    first_font: str = lettering.Face.REGULAR.value
    canvas = Canvas(
        file,
        pagesize=A4,
        invariant=1,
        pageCompression=1,
        initialFontName=first_font,  # type: ignore[arg-type]  # the stubs say float
        lang="en",
    )
    at = sheet.printed_at
    offset = at.strftime("%z")
    stamp = f"D:{at:%Y%m%d%H%M%S}{offset[:3]}'{offset[3:5]}'"
    canvas.setDateFormatter(lambda *_: stamp)
    canvas.setTitle(f"{one_line(sheet.title)}, {one_line(sheet.number)}")
    canvas.setAuthor(one_line(sheet.printed_by))
    canvas.setSubject(one_line(sheet.title))
    canvas.setCreator(PROGRAM)
    canvas.setViewerPreference("DisplayDocTitle", "true")
    return canvas


def _head(sheet: Sheet) -> tuple[ink.Strip, ...]:
    number_room, title_x = 190.0, 62.0
    title_room = WIDTH - title_x - number_room - GUTTER
    number: list[ink.Line] = [
        (ink.right(WIDTH, line, STRONG),)
        for line in wrap_at_most(MOST_LINES, sheet.number, STRONG, number_room)
    ]
    title: list[ink.Line] = [
        (ink.Words(title_x, line, BODY),)
        for line in wrap_at_most(MOST_LINES, sheet.title, BODY, title_room)
    ]
    strips = ink.row([[(ink.Words(0, PROGRAM, _BRAND),)], title, number], 12, below=3)
    last = strips[-1]
    under = ink.Rule(0, WIDTH, last.baseline - last.height, 1.2, Colour.ACCENT)
    return (*strips[:-1], last._replace(ops=(*last.ops, under)))


def _foot(sheet: Sheet, page: int, pages: int, cautions_on: int) -> tuple[ink.Strip, ...]:
    room = WIDTH - 90
    at = f"{moment_words(sheet.printed_at)} ({zone(sheet.printed_at)})"
    by = f"Printed {at} by {sheet.printed_by}"
    printed: list[ink.Line] = [
        (ink.Words(0, line, QUIET),) for line in wrap_at_most(MOST_LINES, by, QUIET, room)
    ]
    checked = (
        "Computed from a working copy of the rules; somebody competent must check it. "
        f"Cautions: page {cautions_on}"
    )
    counted: list[ink.Line] = [(ink.right(WIDTH, f"page {page} of {pages}", STRONG),)]
    said = [*printed, *ink.column(0, room, (checked, QUIET))]
    return ink.row([said, counted], 10.5, above=4, ruled=hair())


def _cautions(sheet: Sheet) -> list[ink.Block]:
    texts = dict.fromkeys((GENERAL_CAUTION, *sheet.cautions))
    return [
        section(CAUTIONS),
        *(
            ink.Block(ink.paragraph(text, SMALL, WIDTH, above=3), with_next=True)
            for text in texts
            if text.strip()
        ),
    ]


def _end(sheet: Sheet) -> ink.Block:
    end = f"End of document {sheet.number}"
    thick = ink.Rule(0, WIDTH, 0, 1.2, Colour.INK)
    strips = ink.row([ink.column(0, WIDTH, (end, STRONG))], 12, above=8, ruled=thick)
    return ink.Block((*ink.clear(12), *strips))


def _page_of_cautions(pages: Sequence[Sequence[ink.Strip]]) -> int:
    found = (
        number
        for number, strips in enumerate(pages, start=1)
        if any(strip.bookmark == CAUTIONS for strip in strips)
    )
    return max(found)


def _bookmark(canvas: Canvas, strips: Sequence[ink.Strip], page: int) -> None:
    for place, strip in enumerate(strips):
        if strip.bookmark:
            key = f"p{page}-{place}"
            canvas.bookmarkPage(key)
            canvas.addOutlineEntry(strip.bookmark, key)

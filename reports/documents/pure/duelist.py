"""The paper of a due list: the rows of the list on the screen, in its order, and its sentence."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from registry.lettering.pure import Face
from registry.wording.pure.dates import day_words
from reports.documents.pure import ink
from reports.documents.pure.marks import stamp, state_word
from reports.documents.pure.sheet import WIDTH, Sheet, hair, sheet_pdf
from reports.documents.pure.text import ANSWER, BODY, LEAD, QUIET, SMALL, STRONG, Style
from reports.documents.pure.wording import basis_words, rule_words
from servicing.due.pure.obligations import State
from servicing.due.pure.sheet import DueRow
from servicing.ledger.pure.wording import words

_ITEM, _ITEM_ROOM = 92.0, 108.0
_TASK, _TASK_ROOM = 204.0, 104.0
_RULE = 312.0
_TAG = Style(Face.SEMIBOLD, 10)
IN_ORDER = (State.OVERDUE, State.UNDETERMINED, State.DUE_SOON, State.CURRENT)


@dataclass(frozen=True, slots=True)
class DueList:
    """A list as asked for on a day. `sentence`: the question in words. `assumption`: what the
    dates rest on, where they are not all owed as things stand.
    """

    number: str
    sentence: str
    assumption: str
    on: date
    printed_at: datetime
    printed_by: str
    cautions: tuple[str, ...]
    rows: tuple[DueRow, ...]


def due_list_pdf(paper: DueList) -> bytes:
    """Return the list as PDF, row by row as it came.

    Raises ValueError if `printed_at` has no time zone.
    """
    sheet = Sheet(paper.number, "Due list", paper.printed_at, paper.printed_by, paper.cautions)
    head = _column_heads()
    blocks = [ink.Block(_answer(paper))]
    if paper.rows:
        blocks.append(ink.Block(head, with_next=True))
        blocks += [ink.Block(_row(each), head) for each in paper.rows]
    return sheet_pdf(sheet, blocks)


def counted(rows: Sequence[DueRow]) -> str:
    """Return how many rows a list has, and how many of them are in which state."""
    states = Counter(each.state for each in rows)
    told = [f"{states[word]} {state_word(word)}" for word in IN_ORDER if states[word]]
    if repeats := states[None]:
        told.append(f"{repeats} again if done on time")
    many = f"{len(rows)} {'obligation' if len(rows) == 1 else 'obligations'}"
    return f"{many}: {', '.join(told)}" if told else many


def _answer(paper: DueList) -> tuple[ink.Strip, ...]:
    strips = [
        *ink.paragraph(f"{counted(paper.rows)}.", ANSWER, WIDTH, above=4, below=4),
        *ink.paragraph(f"{paper.sentence}; as of {day_words(paper.on)}.", LEAD, WIDTH, below=2),
    ]
    if paper.assumption:
        strips += ink.paragraph(paper.assumption, BODY, WIDTH, below=4)
    if not paper.rows:
        strips += ink.paragraph("Nothing falls under this sentence.", BODY, WIDTH, below=4)
    return tuple(strips)


def _column_heads() -> tuple[ink.Strip, ...]:
    return ink.row(
        [
            ink.column(0, 90, ("due on", QUIET)),
            ink.column(_ITEM, _ITEM_ROOM, ("item", QUIET)),
            ink.column(_TASK, _TASK_ROOM, ("task, site", QUIET)),
            ink.column(_RULE, WIDTH - _RULE, ("rule, counted from", QUIET)),
        ],
        11,
        above=2,
        below=2,
    )


def _row(each: DueRow) -> tuple[ink.Strip, ...]:
    dated, under = stamp(each.due_on, each.state or "", 0, 10)
    of = f"{words(each.kind)}, {each.serial}"
    # What comes once another is done has no state yet.
    notes = [(text, SMALL) for text in (each.late, each.warning) if text]
    late = ink.column(0, _ITEM - 6, *notes) if notes else ()
    return ink.row(
        [
            [*([dated, under] if each.state else [dated]), *late],
            ink.column(_ITEM, _ITEM_ROOM, (each.tag, _TAG), (of, SMALL)),
            ink.column(_TASK, _TASK_ROOM, (words(each.task), STRONG), (each.site_name, SMALL)),
            ink.column(
                _RULE,
                WIDTH - _RULE,
                (rule_words(each.rule, each.level, each.source), SMALL),
                (basis_words(each.due_on, each.counted_from, each.basis_on), SMALL),
            ),
        ],
        9.2,
        above=2,
        below=2,
        ruled=hair(),
    )

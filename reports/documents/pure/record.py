"""The service record of one item: may it be used, what it needs next, and all that was done."""

from collections.abc import Iterator, Sequence

from registry.lettering.pure import Face
from registry.wording.pure.dates import day_words
from registry.wording.pure.spans import how_many
from reports.documents.pure import ink, marks
from reports.documents.pure.history import RecordEntry, amendments, history
from reports.documents.pure.lifeline import life_lines
from reports.documents.pure.sheet import GUTTER, WIDTH, Sheet, hair, section, sheet_pdf
from reports.documents.pure.text import BODY, LEAD, QUIET, SMALL, STRONG, Style
from reports.documents.pure.verdict import (
    CONDEMNED,
    ServiceRecord,
    VerdictBlock,
    sentences,
    verdict_of,
)
from reports.documents.pure.wording import basis_words, rule_words
from servicing.due.pure.sheet import Stamp, TaskLine
from servicing.ledger.pure.wording import words

__all__ = ["RecordEntry", "ServiceRecord", "record_pdf"]

TITLE = "Service record"
STAMPS_IN_A_ROW = 4
FACTS_IN_A_ROW = 3

_SHOUT = Style(Face.BOLD, 30)
_CALM = Style(Face.SEMIBOLD, 20)
_IDENTITY = Style(Face.SEMIBOLD, 11)
_TEXT = 96.0
_FACT = 74.0
_BRIEF = 60
"""How many letters a fact may have to stand beside others in a line."""
_CODE = 66.0
_TO_CHECK = (
    "Each record is chained to the one before it. Whoever keeps this head can tell whether a "
    "record was altered since: the command verify_ledger recomputes the chain."
)
DROPPED = "dropped: service life ends first"
_NOT_ASKED = "No rule asks anything of this item on this day."
_NO_TASKS = "Nothing: a condemned item has no tasks, for ever."


def record_pdf(record: ServiceRecord) -> bytes:
    """Return the service record as PDF.

    Raises ValueError if `printed_at`, or the moment of an entry, has no time zone.
    """
    title = f"{TITLE} of {record.tag}"
    sheet = Sheet(record.number, title, record.printed_at, record.printed_by, record.cautions)
    blocks = [
        *_verdict(record),
        *_next(record),
        *_item(record),
        *_obligations(record),
        *life_lines(record.life),
        *history(record.entries, record.printed_at),
        *_chain(record),
    ]
    return sheet_pdf(sheet, blocks)


def _verdict(record: ServiceRecord) -> Iterator[ink.Block]:
    identity = f"{record.tag}: {record.kind}, {record.maker} {record.model}, serial {record.serial}"
    said = (*sentences(record.answer), *record.beside)
    changes = (*record.replaces, *amendments(record.entries))
    below = (
        *(strip for text in said for strip in ink.paragraph(text, LEAD, WIDTH, above=4)),
        *ink.paragraph(identity, _IDENTITY, WIDTH, above=6),
        *ink.paragraph(_when(record), LEAD, WIDTH, below=4),
        *(strip for text in changes for strip in ink.paragraph(text, STRONG, WIDTH)),
    )
    yield ink.Block((*_shout(verdict_of(record.answer, record.on)), *below))


def _when(record: ServiceRecord) -> str:
    """Return where the item is, and which day and which knowledge is spoken of."""
    known_by = f", {record.known_by}: nothing entered later counts" if record.known_by else ""
    return f"At {record.site_name}, as of {day_words(record.on)}{known_by}."


def _shout(verdict: VerdictBlock) -> tuple[ink.Strip, ...]:
    """Draw the verdict; one that forbids use stands between two heavy lines."""
    style = (_SHOUT if verdict.forbids else _CALM)._replace(
        colour=marks.state_colour(verdict.state)
    )
    beside = style.size + GUTTER
    mark: ink.Line = (ink.Mark(0, style.size * 0.92, verdict.state, rise=-style.size * 0.1),)
    said = ink.column(beside, WIDTH - beside, (verdict.words, style))
    if not verdict.forbids:
        return ink.row([[mark], said], style.size * 1.3, above=4)
    band = ink.Rule(0, WIDTH, 0, 3, style.colour)
    strips = ink.row([[mark], said], style.size * 1.3, above=6, below=8, ruled=band)
    last = strips[-1]
    lower = band._replace(rise=last.baseline - last.height)
    return (*strips[:-1], last._replace(ops=(*last.ops, lower)))


def _next(record: ServiceRecord) -> Iterator[ink.Block]:
    if not record.stamps:
        return
    yield section("What it needs next")
    for start in range(0, len(record.stamps), STAMPS_IN_A_ROW):
        yield ink.Block(_stamps(record.stamps[start : start + STAMPS_IN_A_ROW]))


def _stamps(stamps: Sequence[Stamp]) -> tuple[ink.Strip, ...]:
    wide = WIDTH / STAMPS_IN_A_ROW
    names, months, states = [], [], []
    for place, each in enumerate(stamps):
        month, state = marks.stamp(each.due_on, each.state, place * wide, 20)
        named = " ".join(filter(None, (each.of, words(each.task))))
        names.append(ink.column(place * wide, wide - GUTTER, (named, STRONG)))
        months.append([month])
        states.append([state])
    return (
        *ink.row(names, 11, above=5),
        *ink.row(months, 21, above=3),
        *ink.row(states, 12, above=1, below=5),
    )


def _item(record: ServiceRecord) -> Iterator[ink.Block]:
    in_service = day_words(record.in_service_on) if record.in_service_on else "not known"
    facts = (
        ("tag", record.tag),
        ("kind", record.kind),
        ("maker", record.maker),
        ("model", record.model),
        ("serial", record.serial),
        ("site", record.site_name),
        ("standing", marks.state_word(record.standing)),
        ("made", record.made_on or "not known"),
        ("put in service", in_service),
        *((name[:1].lower() + name[1:], text) for name, text in record.attributes),
    )
    yield section("The item")
    brief = [fact for fact in facts if len(fact[1]) <= _BRIEF]
    for start in range(0, len(brief), FACTS_IN_A_ROW):
        yield _facts(brief[start : start + FACTS_IN_A_ROW], WIDTH / FACTS_IN_A_ROW, ruled=start > 0)
    for fact in facts:
        if len(fact[1]) > _BRIEF:
            yield _facts([fact], WIDTH, ruled=True)


def _facts(facts: Sequence[tuple[str, str]], wide: float, *, ruled: bool) -> ink.Block:
    """Return a line of facts, each in a column so wide."""
    columns = []
    for place, (name, value) in enumerate(facts):
        x = place * wide
        columns.append(ink.column(x, _FACT - 4, (name, QUIET)))
        columns.append(ink.column(x + _FACT, wide - _FACT - 6, (value, BODY)))
    return ink.Block(ink.row(columns, 11.5, above=2, below=2, ruled=hair() if ruled else None))


def _obligations(record: ServiceRecord) -> Iterator[ink.Block]:
    yield section("What it needs, and why")
    if not record.tasks:
        nothing = _NO_TASKS if record.standing == CONDEMNED else _NOT_ASKED
        yield ink.Block(ink.paragraph(nothing, BODY, WIDTH, above=4))
    for number, each in enumerate(record.tasks):
        yield ink.Block(_obligation(each, ruled=number > 0))


def _obligation(each: TaskLine, *, ruled: bool) -> tuple[ink.Strip, ...]:
    first = each.governing
    parts = [
        (words(each.task), STRONG),
        *((text, BODY) for text in (DROPPED if each.dropped else each.late,) if text),
        (rule_words(first.rule, first.level, first.source), SMALL),
        (basis_words(each.due_on, first.counted_from, first.basis_on), SMALL),
        (f"{first.arithmetic}; {first.barring}", SMALL),
        *((text, BODY) for text in (each.difference,) if text),
        *((f"also asked: {other.rule}, {other.arithmetic}", SMALL) for other in each.reasons[1:]),
    ]
    dated = () if each.dropped else marks.stamp(each.due_on, each.state, 0, 12)
    return ink.row(
        [list(dated), ink.column(_TEXT, WIDTH - _TEXT, *parts)],
        10.5,
        above=6,
        below=4,
        ruled=hair() if ruled else None,
    )


def _chain(record: ServiceRecord) -> Iterator[ink.Block]:
    yield section("The ledger's chain")
    only = (
        f"This document relates only to the item named above: {record.tag}, {record.maker} "
        f"{record.model}, serial {record.serial}."
    )
    head = record.chain_head or "none: no record has been entered"
    drawn = marks.can_be_code(record.chain_head)
    room = WIDTH - _CODE - GUTTER * 2 if drawn else WIDTH
    texts: list[ink.Line] = ink.column(
        0,
        room,
        (f"{how_many(len(record.entries), 'record')} printed here. Chain head:", SMALL),
        (head, STRONG),
        (_TO_CHECK, SMALL),
        (only, STRONG),
    )
    if drawn:
        code: ink.Line = (ink.Code(WIDTH - _CODE, _CODE, record.chain_head, rise=8),)
        texts[0] = (*texts[0], *code)
    if record.trail_head:
        texts += ink.column(
            0, room, ("The register's trail, which notes every record, ends with:", SMALL)
        )
        texts += ink.column(0, room, (record.trail_head, SMALL))
    texts += [()] * (6 - len(texts) if drawn else 0)
    yield ink.Block(ink.row([texts], 12, above=9, below=4))

"""The paper of one set: is it ready, what is in it, when each part is due, what it weighs."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime

from registry.lettering.pure import Face
from registry.wording.pure.dates import day_words
from reports.documents.pure import ink, marks
from reports.documents.pure.sheet import GUTTER, WIDTH, Sheet, hair, section, sheet_pdf
from reports.documents.pure.text import BODY, LEAD, QUIET, SMALL, STRONG, Style
from reports.documents.pure.verdict import sentences
from servicing.due.pure.answer import Answer

__all__ = ["PartEntry", "SetPaper", "set_pdf"]

TITLE = "Set"
FIRST = 4
_SHOUT = Style(Face.BOLD, 24)
_IDENTITY = Style(Face.SEMIBOLD, 11)
_HASH = Style(Face.REGULAR, 7)
_DUE, _PART, _WHY = 96.0, 150.0, 246.0


@dataclass(frozen=True, slots=True)
class PartEntry:
    """A part as printed, or the set itself with an empty place.

    due_on: the date of the task that decides its state, None where there is none. chain_head:
    the hash of its latest record, empty before the first.
    """

    place: str
    tag: str
    name: str
    serial: str
    fitted_on: date | None
    due_on: date | None
    state: str
    reason: str
    chain_head: str


@dataclass(frozen=True, slots=True)
class SetPaper:
    """One set on one day, with its parts, the worst first.

    answer: the first line, as on its page. mass_lines: what, its mass in kg as text or empty,
    and where that comes from. replaces: sentences on the superseded papers it stands for.
    """

    number: str
    tag: str
    name: str
    serial: str
    site_name: str
    answer: Answer
    remarks: tuple[str, ...]
    entries: tuple[PartEntry, ...]
    missing: tuple[str, ...]
    mass_lines: tuple[tuple[str, str, str], ...]
    mass_sum: str
    mass_verdict: str
    findings: tuple[tuple[str, str], ...]
    on: date
    known_by: str
    printed_at: datetime
    printed_by: str
    cautions: tuple[str, ...]
    replaces: tuple[str, ...] = ()


def set_pdf(paper: SetPaper) -> bytes:
    """Return the paper of a set as PDF. Raises ValueError if `printed_at` has no time zone."""
    title = f"{TITLE} {paper.tag}"
    sheet = Sheet(paper.number, title, paper.printed_at, paper.printed_by, paper.cautions)
    blocks = [
        *_verdict(paper),
        *_stamps(paper),
        *_parts(paper),
        *_mass(paper),
        *_findings(paper),
        *_chains(paper),
    ]
    return sheet_pdf(sheet, blocks)


def _verdict(paper: SetPaper) -> Iterator[ink.Block]:
    word = "READY" if paper.answer.ready else "NOT READY"
    state = paper.answer.mark
    style = _SHOUT._replace(colour=marks.state_colour(state))
    beside = style.size + GUTTER
    mark: ink.Line = (ink.Mark(0, style.size * 0.92, state, rise=-style.size * 0.1),)
    said = ink.column(beside, WIDTH - beside, (f"{word} on {day_words(paper.on)}", style))
    strips = ink.row([[mark], said], style.size * 1.3, above=6, below=6)
    texts = [*sentences(paper.answer), *paper.remarks]
    known = f", {paper.known_by}: nothing entered later counts" if paper.known_by else ""
    identity = f"{paper.tag}: set, {paper.name}, serial {paper.serial}"
    yield ink.Block(
        (
            *strips,
            *(strip for text in texts for strip in ink.paragraph(text, LEAD, WIDTH, above=3)),
            *ink.paragraph(identity, _IDENTITY, WIDTH, above=6),
            *ink.paragraph(
                f"At {paper.site_name}, as of {day_words(paper.on)}{known}.", LEAD, WIDTH
            ),
            *(strip for text in paper.replaces for strip in ink.paragraph(text, STRONG, WIDTH)),
        )
    )


def _stamps(paper: SetPaper) -> Iterator[ink.Block]:
    dated = [entry for entry in paper.entries if entry.due_on or entry.state == "undetermined"]
    if not dated:
        return
    wide = WIDTH / FIRST
    names: list[list[ink.Line]] = []
    months: list[list[ink.Line]] = []
    states: list[list[ink.Line]] = []
    for place, entry in enumerate(dated[:FIRST]):
        month, state = marks.stamp(entry.due_on, entry.state, place * wide, 20)
        named = f"{entry.place or 'the set'} {entry.tag}"
        names.append(ink.column(place * wide, wide - GUTTER, (named, STRONG)))
        months.append([month])
        states.append([state])
    yield section("What comes first")
    strips = (
        *ink.row(names, 11, above=5),
        *ink.row(months, 21, above=3),
        *ink.row(states, 12, above=1, below=5),
    )
    yield ink.Block(strips)


def _parts(paper: SetPaper) -> Iterator[ink.Block]:
    yield section("The set and its parts, the worst first")
    for number, entry in enumerate(paper.entries):
        yield ink.Block(_entry(entry, hair() if number else None))
    for place in paper.missing:
        yield ink.Block(ink.paragraph(f"Missing: the {place}.", STRONG, WIDTH, above=5, below=3))


def _entry(entry: PartEntry, ruled: ink.Rule | None) -> tuple[ink.Strip, ...]:
    fitted = f"fitted {day_words(entry.fitted_on)}" if entry.fitted_on else "the set itself"
    part = ink.column(
        _DUE,
        _PART - GUTTER,
        (f"{entry.place or 'set'} {entry.tag}", STRONG),
        (f"{entry.name}, serial {entry.serial}", SMALL),
    )
    why = ink.column(
        _WHY,
        WIDTH - _WHY,
        (_with_word(entry), BODY),
        (fitted, QUIET),
    )
    dated = marks.stamp(entry.due_on, entry.state, 0, 12)
    return ink.row([list(dated), part, why], 11, above=6, below=4, ruled=ruled)


def _mass(paper: SetPaper) -> Iterator[ink.Block]:
    yield section("Mass, ready for use")
    for what, kg, how in paper.mass_lines:
        columns = [
            ink.column(0, _DUE - GUTTER, (f"{kg} kg" if kg else "not known", STRONG)),
            ink.column(_DUE, _PART - GUTTER, (what, BODY)),
            ink.column(_WHY, WIDTH - _WHY, (how, SMALL)),
        ]
        yield ink.Block(ink.row(columns, 11, above=2), with_next=True)
    total = ink.column(0, _DUE - GUTTER, (f"{paper.mass_sum} kg", STRONG))
    said = ink.column(_DUE, WIDTH - _DUE, (paper.mass_verdict, STRONG))
    yield ink.Block(ink.row([total, said], 11, above=4, below=4, ruled=hair()))


def _findings(paper: SetPaper) -> Iterator[ink.Block]:
    if not paper.findings:
        return
    yield section("What fits what, and by which source")
    for word, reason in paper.findings:
        columns = [
            ink.column(0, _DUE - GUTTER, (word, STRONG if word == "refused" else QUIET)),
            ink.column(_DUE, WIDTH - _DUE, (reason, SMALL)),
        ]
        yield ink.Block(ink.row(columns, 10.5, above=2))


def _chains(paper: SetPaper) -> Iterator[ink.Block]:
    yield section("Heads of the chains of records")
    for entry in paper.entries:
        head = entry.chain_head or "no record has been entered"
        columns = [
            ink.column(0, _DUE - GUTTER, (entry.tag, STRONG)),
            ink.column(_DUE, WIDTH - _DUE, (head, _HASH)),
        ]
        yield ink.Block(ink.row(columns, 10.5, above=2))
    only = f"This document relates only to set {paper.tag} and to the parts named above."
    yield ink.Block(ink.paragraph(only, STRONG, WIDTH, above=6))


def _with_word(entry: PartEntry) -> str:
    """Return why a part stands so, with the word of its state before it, once."""
    word = marks.state_word(entry.state)
    return entry.reason if entry.reason.startswith(f"{word}:") else f"{word}: {entry.reason}"

"""What was done to an item: each record with who, when, outcome, readings and notes."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from registry.lettering.pure import Face
from registry.wording.pure.dates import day_words, moment_words, zone_name
from registry.wording.pure.spans import how_many
from reports.documents.pure import ink
from reports.documents.pure.sheet import GUTTER, WIDTH, hair, section
from reports.documents.pure.text import BODY, QUIET, SMALL, STRONG, Colour, Style, one_line, zone

TITLE = "What was done, newest first"
FINE, CONDEMNED = {"pass", "noted"}, "condemned"
VOID, NEVER = "void", "never happened"

_TEXT = 96.0
_READING, _STEP = 130.0, 236.0  # short names of readings; what was looked at, in sentences
_SHORT = 28
_BAD = Style(Face.BOLD, 9, Colour.OVERDUE)
_DAY = Style(Face.SEMIBOLD, 10)
_HASH = Style(Face.REGULAR, 7, Colour.MUTED)
_DIGEST = " (SHA-256 "  # of an imported file: it stands once, after the last record


@dataclass(frozen=True, slots=True)
class RecordEntry:
    """One record of the ledger as printed.

    readings: name, and the value with its unit and limits as judged.
    carried_over_from: the file it was imported from, else empty.
    corrects: the position of the record this one supersedes, and `reason` why;
    corrected_by: the position of the record that supersedes this one. attempt: which of
    how many attempts, in words, where there were several. signatures: in words; unsigned:
    what is said where there are none.
    """

    position: int
    done_on: date
    entered_at: datetime
    days_late: int
    task: str
    outcome: str
    performed_by: str
    entered_by: str
    readings: tuple[tuple[str, str], ...]
    note: str
    part_made_on: date | None
    carried_over_from: str
    record_hash: str
    procedure: str = ""
    instruments: tuple[str, ...] = ()
    corrects: int | None = None
    reason: str = ""
    corrected_by: int | None = None
    attempt: str = ""
    signatures: tuple[str, ...] = ()
    unsigned: str = ""


def history(entries: Sequence[RecordEntry], printed_at: datetime) -> Iterator[ink.Block]:
    """Return the records as blocks, newest first; moments in the zone of `printed_at`.

    Raises ValueError if a moment has no time zone.
    """
    yield section(TITLE)
    if not entries:
        yield ink.Block(ink.paragraph("No record has been entered.", BODY, WIDTH, above=4))
        return
    said = f"{how_many(len(entries), 'record')}. Moments of entry in {zone_name(printed_at)}."
    yield ink.Block(ink.paragraph(said, QUIET, WIDTH, above=3, below=2), with_next=True)
    again = section(f"{TITLE}, continued", bookmark=False).strips
    for entry in sorted(entries, key=lambda each: (each.done_on, each.position), reverse=True):
        yield ink.Block(_entry(entry, printed_at), again)
    for file in sorted({each.carried_over_from for each in entries} - {""}):
        yield ink.Block(ink.paragraph(f"Carried over: {file}", _HASH, WIDTH, above=6))


def amendments(entries: Sequence[RecordEntry]) -> list[str]:
    """Return one sentence for each record changed since first entry; none for a clean ledger."""
    return [
        f"Amended since first entry: record {each.position} corrects record {each.corrects}."
        for each in sorted(entries, key=lambda each: each.position)
        if each.corrects is not None
    ]


def _entry(entry: RecordEntry, printed_at: datetime) -> tuple[ink.Strip, ...]:
    on, room = ink.Words(0, day_words(entry.done_on), _DAY), WIDTH - _TEXT
    work = [*_task(entry), *ink.column(_TEXT, room, *_people(entry, printed_at))]
    found = [*_readings(entry.readings), *ink.column(_TEXT, room, *_content(entry))]
    if entry.corrected_by is not None:
        on, work, found = _struck(on), [*map(_line_struck, work)], [*map(_line_struck, found)]
    dated: list[ink.Line] = [(on,), (ink.Words(0, f"record {entry.position}", QUIET),)]
    said = [
        *work,
        *ink.column(_TEXT, room, *_about(entry)),
        *found,
        *ink.column(_TEXT, room, *_rest(entry)),
    ]
    return ink.row([dated, said], 11, above=6, below=4, ruled=hair())


def _struck(words: ink.Words) -> ink.Words:
    return words._replace(style=words.style._replace(struck=True))


def _line_struck(line: ink.Line) -> ink.Line:
    """Return a line with everything that is written in it struck through."""
    return tuple(_struck(op) if isinstance(op, ink.Words) else op for op in line)


def _task(entry: RecordEntry) -> list[ink.Line]:
    said = NEVER if entry.outcome == VOID else entry.outcome
    fine = said in FINE
    outcome = one_line(said if fine else said.upper())
    style = STRONG if fine else _BAD
    lines = ink.column(_TEXT, WIDTH - _TEXT, (f"{entry.task}: {outcome}", style))
    if entry.outcome == CONDEMNED:
        lines[0] = (*lines[0], ink.Mark(_TEXT - 16, 10, CONDEMNED, rise=-1))
    return lines


def _people(entry: RecordEntry, printed_at: datetime) -> Iterator[tuple[str, Style]]:
    zone(entry.entered_at)
    entered = moment_words(entry.entered_at.astimezone(printed_at.tzinfo))
    by = f"done by {entry.performed_by}, entered by {entry.entered_by} {entered}"
    yield by, SMALL


def _about(entry: RecordEntry) -> Iterator[tuple[str, Style]]:
    """Yield what is said of a record as a record; it stands, struck or not."""
    if entry.corrected_by is not None:
        text = f"amended, see record {entry.corrected_by}; struck through, it does not count"
        yield text, _BAD
    if entry.days_late > 0:
        yield f"entered {how_many(entry.days_late, 'day')} later", STRONG
    if entry.attempt:
        yield entry.attempt, STRONG
    if entry.carried_over_from:
        yield f"carried over from {entry.carried_over_from.partition(_DIGEST)[0]}", SMALL
    if entry.corrects is not None:
        yield f"corrects record {entry.corrects}: {entry.reason or 'no reason given'}", STRONG


def _readings(readings: Sequence[tuple[str, str]]) -> Iterator[ink.Line]:
    wide = _STEP if any(len(name) > _SHORT for name, _ in readings) else _READING
    for name, value in readings:
        names = ink.column(_TEXT, wide - GUTTER, (name, QUIET))
        values = ink.column(_TEXT + wide, WIDTH - _TEXT - wide, (value, BODY))
        for strip in ink.row([names, values], 11):
            yield strip.ops


def _content(entry: RecordEntry) -> Iterator[tuple[str, Style]]:
    if entry.procedure:
        yield f"procedure {entry.procedure}", SMALL
    for instrument in entry.instruments:
        yield f"with {instrument}", SMALL
    if entry.part_made_on:
        yield f"part made on {day_words(entry.part_made_on)}", SMALL
    if entry.note:
        yield entry.note, BODY


def _rest(entry: RecordEntry) -> Iterator[tuple[str, Style]]:
    for signature in entry.signatures:
        yield signature, STRONG
    if entry.unsigned and not entry.signatures:
        yield entry.unsigned, SMALL
    yield entry.record_hash, _HASH

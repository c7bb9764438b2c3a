"""A service record as plain values, and what it says first: may this item be used."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import NamedTuple

from registry.wording.pure.dates import day_words
from registry.wording.pure.spans import how_far
from reports.documents.pure.history import RecordEntry
from reports.documents.pure.text import bound
from servicing.due.pure.lifeline import LifeLine

IN_SERVICE, OUT_OF_SERVICE, CONDEMNED = "in-service", "out-of-service", "condemned"
OVERDUE, UNDETERMINED, DUE_SOON, CURRENT = "overdue", "undetermined", "due-soon", "current"
IN_DOUBT, AWAY = "in-doubt", "incomplete"
"""What is away carries the mark of what is incomplete, on paper as on its page."""
NOT_ASKED = "No adopted rule asks anything of it: check which rule tables its site has adopted."


@dataclass(frozen=True, slots=True)
class RecordObligation:
    """A task the item owes, with the whole reason for its date."""

    task: str
    due_on: date | None
    state: str
    rule_id: str
    level: str
    source: str
    counted_from: str
    basis_on: date | None
    arithmetic: str


@dataclass(frozen=True, slots=True)
class ServiceRecord:
    """One item on one day, and its ledger.

    made_on: as known, such as 2019-03 or Mar 2019. chain_head: the hash of the last record.
    known_by: words that limit what is said to what was known at a moment, else empty.
    life: its life lines, None where nothing is known to draw. away: where it is, in words,
    where that is not its site. doubt: why it is in doubt, in words. replaces: sentences on the
    superseded papers it stands for.
    happened: what happened that asks for something not done since, in words; else empty.
    """

    number: str
    tag: str
    kind: str
    maker: str
    model: str
    serial: str
    site_name: str
    standing: str
    made_on: str
    in_service_on: date | None
    attributes: tuple[tuple[str, str], ...]
    on: date
    printed_at: datetime
    printed_by: str
    cautions: tuple[str, ...]
    obligations: tuple[RecordObligation, ...]
    entries: tuple[RecordEntry, ...]
    chain_head: str
    known_by: str = ""
    trail_head: str = ""
    life: LifeLine | None = None
    away: str = ""
    doubt: str = ""
    replaces: tuple[str, ...] = ()
    happened: str = ""


class VerdictBlock(NamedTuple):
    """The answer in large letters, the state whose mark it carries, and the reason."""

    state: str
    words: str
    why: str
    forbids: bool


def in_order(obligations: Sequence[RecordObligation]) -> list[RecordObligation]:
    """Return obligations by date, what has none first."""
    return sorted(obligations, key=lambda each: (each.due_on or date.min, each.task))


def verdict_of(record: ServiceRecord) -> VerdictBlock:
    """Return whether the item may be used on the day of the record, and why.

    Whatever is not known to be fine is not ready.
    """
    owed = [each for each in in_order(record.obligations) if not _is_fine(each)]
    tasks = ", ".join(each.task for each in owed)
    if record.standing == CONDEMNED:
        why = "Never to be used, filled or returned to service."
        return VerdictBlock(CONDEMNED, "CONDEMNED", why, forbids=True)
    if record.standing == OUT_OF_SERVICE:
        why = f"Not to be used. Owed before it returns: {tasks}." if tasks else "Not to be used."
        return VerdictBlock(OUT_OF_SERVICE, "OUT OF SERVICE", why, forbids=True)
    not_ready = f"NOT READY on {bound(day_words(record.on))}"
    if record.standing != IN_SERVICE:
        why = f"Its standing is not known: {record.standing}."
        return VerdictBlock(UNDETERMINED, not_ready, why, forbids=True)
    if record.doubt or record.away:
        state = IN_DOUBT if record.doubt else AWAY
        told = [f"{text[:1].upper()}{text[1:]}." for text in (record.doubt, record.away) if text]
        why = " ".join([*told, *([f"Owed: {tasks}."] if tasks else [])])
        return VerdictBlock(state, not_ready, why, forbids=True)
    if owed:
        overdue = any(each.state == OVERDUE for each in owed)
        state = OVERDUE if overdue else UNDETERMINED
        said = f"{record.happened[:1].upper()}{record.happened[1:]}. " if record.happened else ""
        return VerdictBlock(state, not_ready, f"{said}Owed: {tasks}.", forbids=True)
    return _ready(record)


def _is_fine(obligation: RecordObligation) -> bool:
    return obligation.due_on is not None and obligation.state in {CURRENT, DUE_SOON}


def _ready(record: ServiceRecord) -> VerdictBlock:
    on = bound(day_words(record.on))
    if not record.obligations:
        return VerdictBlock(UNDETERMINED, f"Nothing asked of it on {on}", NOT_ASKED, forbids=False)
    soon = [each for each in in_order(record.obligations) if each.state == DUE_SOON]
    first, earliest = (soon or in_order(record.obligations))[0], in_order(record.obligations)[0]
    due_on = first.due_on or record.on
    # What is due soon goes before what is earlier: the state shown is that of what is said.
    word = "Next" if first is earliest else "Due soon"
    why = f"{word}: {first.task} by {bound(day_words(due_on))}, {how_far(due_on, record.on)}."
    return VerdictBlock(DUE_SOON if soon else CURRENT, f"Ready on {on}", why, forbids=False)

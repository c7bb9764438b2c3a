"""A service record as plain values, and the large letters over it: may this item be used.

What is decided is decided in `servicing/due/pure/answer.py`, for the page and the paper alike.
"""

from dataclasses import dataclass
from datetime import date, datetime
from typing import NamedTuple

from registry.wording.pure.dates import day_words
from reports.documents.pure.history import RecordEntry
from reports.documents.pure.text import bound
from servicing.due.pure.answer import Answer
from servicing.due.pure.lifeline import LifeLine
from servicing.due.pure.sheet import Stamp, TaskLine

CONDEMNED = "condemned"
NOT_IN_SERVICE = {"out-of-service": "OUT OF SERVICE", CONDEMNED: "CONDEMNED"}


@dataclass(frozen=True, slots=True)
class ServiceRecord:
    """One item on one day, and its ledger.

    made_on: as known, such as 2019-03 or Mar 2019. chain_head: the hash of the last record.
    known_by: words that limit what is said to what was known at a moment, else empty.
    answer: the first line, as on its page. beside: sentences that stand under it there. stamps:
    the dates, the worst first. tasks: with their reasons, the dropped ones too. life: its life
    lines, None where nothing is known to draw. replaces: sentences on the superseded papers it
    stands for.
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
    answer: Answer
    stamps: tuple[Stamp, ...]
    tasks: tuple[TaskLine, ...]
    entries: tuple[RecordEntry, ...]
    chain_head: str
    known_by: str = ""
    trail_head: str = ""
    life: LifeLine | None = None
    beside: tuple[str, ...] = ()
    replaces: tuple[str, ...] = ()


class VerdictBlock(NamedTuple):
    """The answer in large letters, and the state whose mark it carries."""

    state: str
    words: str
    forbids: bool


def verdict_of(answer: Answer, on: date) -> VerdictBlock:
    """Return in large letters whether it may be used on a day. What is not known is not ready."""
    day = bound(day_words(on))
    if answer.ready:
        return VerdictBlock(answer.mark, f"Ready on {day}", forbids=False)
    words = NOT_IN_SERVICE.get(answer.state, f"NOT READY on {day}")
    return VerdictBlock(answer.mark, words, forbids=True)


def sentences(answer: Answer) -> tuple[str, ...]:
    """Return the first line and what stands under it, each as a paragraph."""
    beside = (f"{why}." for why in answer.beside)
    return (answer.sentence, *((answer.reason,) if answer.reason else ()), *beside)

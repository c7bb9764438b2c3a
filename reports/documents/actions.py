"""Making papers: gathered, drawn and entered in the register of papers in one transaction.

PAPERS is the one list of them: the subcommands of `report`, the addresses below `/papers/`
and the question to the register of papers are made from its rows.

A paper is asked for by GET, and each making adds a row to the register. That keeps within what
GET promises (RFC 9110, 9.2.1: a safe request asks for no change; that the server keeps a log of
what it gave out does not make it unsafe): no record, date, standing or item changes, whoever
asks for a paper a hundred times has a hundred papers, and each says so by its number.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.contrib.auth.models import User
from django.db import transaction
from django.db.models import QuerySet

from registry.items.models import Item
from registry.items.pure import Kind
from registry.people.actions.rights import only
from registry.people.pure import Right
from registry.people.queries import viewer_of
from registry.sets.queries import fittings_of
from registry.sites.clock import now, today_at
from registry.sites.models import Site
from registry.wording.pure.dates import day_words, moment_words
from reports.documents.pure.assembly import set_pdf
from reports.documents.pure.consignment import consignment_pdf
from reports.documents.pure.printing import Printing
from reports.documents.pure.record import record_pdf
from reports.documents.queries.assembly import set_paper
from reports.documents.queries.consignment import consignment_list
from reports.documents.queries.record import service_record
from servicing.away.models import Consignment
from servicing.hydrostatic.queries import cylinders_of
from servicing.ledger.actions import lock_items
from servicing.papers.actions import keep_paper
from servicing.papers.pure import CONSIGNMENT as CONSIGNMENT_LIST
from servicing.papers.queries import PaperLine, superseded

Subject = Item | Consignment
BY_COMMAND = "command line"
"""Whose name is printed on a paper that nobody with an account asked for."""


@dataclass(frozen=True, slots=True)
class About:
    """What a paper can be of. path: of its addresses, with the number of the subject as `pk`.

    word: what one is called. rows: all there are. site: in whose time zone it is printed. day:
    the day it speaks of where none is asked for. items: everything it speaks of. as_of: whether
    it can be asked for as of a past day and moment.
    """

    word: str
    path: str
    rows: Callable[[], QuerySet[Any]]
    site: Callable[[Any], Site]
    day: Callable[[Any], date]
    items: Callable[[Any, date, datetime | None], Sequence[Item]]
    as_of: bool = True


@dataclass(frozen=True, slots=True)
class PaperKind:
    """One kind of paper. kind: its word in the register of papers. name: in addresses, files
    and as a subcommand of `report`. says: what is on it.

    gather: takes the subject and the Printing, and gives a frozen value with a `number`.
    draw: makes the PDF of that value.
    """

    kind: str
    name: str
    about: About
    says: str
    gather: Callable[[Any, Printing], Any]
    draw: Callable[[Any], bytes]


def _items() -> QuerySet[Item]:
    return Item.objects.select_related("type", "site")


def _sets() -> QuerySet[Item]:
    return _items().filter(type__kind=Kind.SET)


def _site(item: Item) -> Site:
    return item.site


def _today(item: Item) -> date:
    return today_at(item.site)


def _itself(item: Item, _on: date, _known_by: datetime | None) -> list[Item]:
    return [item]


def _with_parts(set_item: Item, on: date, known_by: datetime | None) -> list[Item]:
    return [set_item, *(fitting.part for fitting in fittings_of(set_item, on, known_by))]


def _cylinders(consignment: Consignment, _on: date, _known_by: datetime | None) -> list[Item]:
    return [row.item for row in cylinders_of(consignment)]


ITEM = About("item", "items/<int:pk>", _items, _site, _today, _itself)
SET = About("set", "items/<int:pk>", _sets, _site, _today, _with_parts)
CONSIGNMENT = About(
    "consignment",
    "consignments/<int:pk>",
    lambda: Consignment.objects.select_related("from_site"),
    lambda consignment: consignment.from_site,
    lambda consignment: consignment.sent_on or today_at(consignment.from_site),
    _cylinders,
    as_of=False,
)

SERVICE_RECORD = PaperKind(
    "service-record",
    "record",
    ITEM,
    "one item: what it owes and what was done",
    service_record,
    record_pdf,
)
SET_PAPER = PaperKind(
    "set", "set", SET, "one set: its parts, their dates, its mass", set_paper, set_pdf
)
PAPERS = (
    SERVICE_RECORD,
    SET_PAPER,
    PaperKind(
        CONSIGNMENT_LIST,
        "consignment",
        CONSIGNMENT,
        "what goes to a test house: its cylinders",
        consignment_list,
        consignment_pdf,
    ),
)


@dataclass(frozen=True, slots=True)
class Made:
    """A paper as it leaves: its number, the day it speaks of, and the file."""

    number: str
    on: date
    content: bytes


@only(Right.READ)
@transaction.atomic
def make(
    paper: PaperKind,
    subject: Subject,
    on: date | None = None,
    *,
    user: User | None,
    known_by: datetime | None = None,
) -> Made:
    """Make a paper of a subject as of a day, None for its own, and enter it in the register.

    user: for whom, whose name is printed on it; None for the command line. Raises
    NotKnownThen where the subject was entered after `known_by`; then nothing is written.
    """
    reader = viewer_of(user).name if user else BY_COMMAND
    zone = ZoneInfo(paper.about.site(subject).timezone)
    at, day = now().astimezone(zone), on or paper.about.day(subject)
    items = paper.about.items(subject, day, known_by)
    lock_items([item.pk for item in items])
    old = [] if known_by else superseded(subject, paper.kind, day)
    gathered = paper.gather(subject, Printing(day, at, reader, known_by, _words(old, at)))
    content = paper.draw(gathered)
    keep_paper(
        number=gathered.number,
        kind=paper.kind,
        about=subject,
        on=day,
        known_by=known_by,
        items=items,
        replaces=[each.paper.number for each in old],
        content=content,
        made_by=reader,
        user=user,
        at=at,
    )
    return Made(gathered.number, day, content)


def _words(old: Sequence[PaperLine], at: datetime) -> tuple[str, ...]:
    """Return what a paper says of those it replaces: which, of when, and what changed."""
    return tuple(
        f"Replaces {each.paper.number}, as of {day_words(each.paper.on)}, "
        f"printed {moment_words(each.paper.made_at.astimezone(at.tzinfo))}: "
        f"{'; '.join(each.why).rstrip('.')}."
        for each in old
    )

"""Making papers: gathered, drawn and entered in the register of papers in one transaction.

A paper is asked for by GET, and each making adds a row to the register. That keeps within what
GET promises (RFC 9110, 9.2.1: a safe request asks for no change; that the server keeps a log of
what it gave out does not make it unsafe): no record, date, standing or item changes, whoever
asks for a paper a hundred times has a hundred papers, and each says so by its number.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from django.contrib.auth.models import User
from django.db import transaction

from registry.items.models import Item
from registry.sets.queries import fittings_of
from registry.sites.clock import now, today_at
from reports.documents.pure.assembly import set_pdf
from reports.documents.pure.consignment import consignment_pdf
from reports.documents.pure.record import record_pdf
from reports.documents.pure.text import day as day_printed
from reports.documents.pure.text import moment
from reports.documents.queries import consignment_list, service_record, set_paper
from servicing.away.models import Consignment
from servicing.hydrostatic.queries import cylinders_of
from servicing.ledger.actions import lock_items
from servicing.papers.actions import keep_paper
from servicing.papers.pure import CONSIGNMENT, RECORD, SET
from servicing.papers.queries import PaperLine, superseded


@dataclass(frozen=True, slots=True)
class Made:
    """A paper as it leaves: its number, the day it speaks of, and the file."""

    number: str
    on: date
    content: bytes


@dataclass(frozen=True, slots=True)
class Printing:
    """For whom a paper is made. name: as printed; user: None for the command line."""

    name: str
    user: User | None = None


@transaction.atomic
def make_record(
    item: Item, on: date | None, *, printing: Printing, known_by: datetime | None = None
) -> Made:
    """Make the service record of an item as of a day, None for today.

    Raises NotKnownThen where the item was entered after `known_by`; then nothing is written.
    """
    lock_items([item.pk])
    at, day = now(), on or today_at(item.site)
    old = [] if known_by else superseded(item, RECORD, day)
    paper = service_record(item, day, printed_at=at, printed_by=printing.name, known_by=known_by)
    paper = replace(paper, replaces=_words(old, paper.printed_at))
    made = Made(paper.number, day, record_pdf(paper))
    return _kept(
        made, old, printing, kind=RECORD, about=item, items=[item], known_by=known_by, at=at
    )


@transaction.atomic
def make_set(
    set_item: Item, on: date | None, *, printing: Printing, known_by: datetime | None = None
) -> Made:
    """Make the paper of a set as of a day; see `make_record`."""
    at, day = now(), on or today_at(set_item.site)
    items = [set_item, *(fitting.part for fitting in fittings_of(set_item, day, known_by))]
    lock_items([item.pk for item in items])
    old = [] if known_by else superseded(set_item, SET, day)
    paper = set_paper(set_item, day, printed_at=at, printed_by=printing.name, known_by=known_by)
    paper = replace(paper, replaces=_words(old, paper.printed_at))
    made = Made(paper.number, day, set_pdf(paper))
    return _kept(
        made, old, printing, kind=SET, about=set_item, items=items, known_by=known_by, at=at
    )


@transaction.atomic
def make_consignment(consignment: Consignment, *, printing: Printing) -> Made:
    """Make the list that goes to the test house with the cylinders."""
    at, day = now(), consignment.sent_on or today_at(consignment.from_site)
    items = [row.item for row in cylinders_of(consignment)]
    lock_items([item.pk for item in items])
    old = superseded(consignment, CONSIGNMENT, day)
    paper = consignment_list(consignment, printed_at=at, printed_by=printing.name)
    paper = replace(paper, replaces=_words(old, paper.printed_at))
    made = Made(paper.number, day, consignment_pdf(paper))
    return _kept(
        made, old, printing, kind=CONSIGNMENT, about=consignment, items=items, known_by=None, at=at
    )


def _words(old: Sequence[PaperLine], printed_at: datetime) -> tuple[str, ...]:
    """Return what a paper says of those it replaces: which, of when, and what changed."""
    return tuple(
        f"Replaces {each.paper.number}, as of {day_printed(each.paper.on)}, "
        f"printed {moment(each.paper.made_at.astimezone(printed_at.tzinfo))}: "
        f"{'; '.join(each.why).rstrip('.')}."
        for each in old
    )


def _kept(made: Made, old: Sequence[PaperLine], printing: Printing, **said: Any) -> Made:
    """Enter a paper in the register; see `keep_paper` for what is said of it."""
    keep_paper(
        number=made.number,
        on=made.on,
        content=made.content,
        replaces=[each.paper.number for each in old],
        made_by=printing.name,
        user=printing.user,
        **said,
    )
    return made

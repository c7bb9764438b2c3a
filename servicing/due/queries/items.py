"""Items with their standing and what is due first: today's, or as of a day and a moment."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from urllib.parse import urlencode

from django.db.models import F, OuterRef, Q, QuerySet, Subquery
from django.urls import reverse

from registry.items.models import Item, ItemType
from registry.sites.clock import today_in
from registry.sites.models import Site
from registry.sites.queries import sites_meant
from servicing.due.models import StoredObligation
from servicing.due.pure import obligations as engine
from servicing.due.pure.obligations import Obligation, State
from servicing.due.queries.engine import engine_input, items_for_engine
from servicing.due.queries.rows import standings_today, today_q


@dataclass(frozen=True, slots=True)
class ItemQuestion:
    """What a list of items is asked for; empty means all.

    alone: at the site itself, else at those below it too. text: a part of tag, serial, maker
    or model. on: the day asked about, None for today
    at each item's site. known_by: as it was known at that moment, None for now.
    """

    on: date | None = None
    site: Site | None = None
    alone: bool = False
    kind: str = ""
    type_id: int | None = None
    standing: str = ""
    text: str = ""
    known_by: datetime | None = None

    @property
    def sites(self) -> list[int] | None:
        """The ids of the sites that are meant; None for all."""
        return sites_meant(self.site, self.alone, self.known_by)

    def names(self, item: Item) -> bool:
        """Say whether an item is asked for by its kind and type and by what is written on it."""
        written = (item.tag, item.serial, item.maker, item.type.model)
        asked = self.text.casefold()
        return (
            (not self.kind or item.type.kind == self.kind)
            and self.type_id in (None, item.type_id)
            and any(asked in text.casefold() for text in written)
        )


@dataclass(frozen=True, slots=True)
class ItemRow:
    """An item as it stood on a day. next_task, next_due: what is due first, if anything."""

    pk: int
    tag: str
    type: ItemType
    maker: str
    serial: str
    site: Site
    standing: str
    next_task: str
    next_due: date | None
    next_state: State | None
    asked: ItemQuestion

    def get_absolute_url(self) -> str:
        """Return the address of the item's page as of the same day and moment."""
        moment = self.asked.known_by
        known_by = moment and f"{moment.astimezone(UTC):%Y-%m-%d %H:%M:%SZ}"
        dates = {"on": self.asked.on, "known_by": known_by}
        query = urlencode({name: said for name, said in dates.items() if said})
        return f"{reverse('item', args=[self.pk])}?{query}"


def items_today(question: ItemQuestion) -> QuerySet[Item]:
    """Return items with their standing today, and the task and days of what is due first.

    Today is the day at each item's site. The question's day and moment are not looked at.
    """
    standings = standings_today()
    # Of one day what is overdue on it goes before what still has it.
    first = StoredObligation.objects.filter(today_q(), item=OuterRef("pk")).order_by(
        F("due_on").asc(nulls_first=True), "overdue_on", "task"
    )
    items = Item.objects.filter(_asked(question)).select_related("type", "site")
    if question.standing:
        items = items.filter(pk__in=standings.filter(standing=question.standing).values("item"))
    return items.annotate(
        standing=Subquery(standings.filter(item=OuterRef("pk")).values("standing")[:1]),
        next_task=Subquery(first.values("task")[:1]),
        next_due=Subquery(first.values("due_on")[:1]),
        next_soon=Subquery(first.values("soon_on")[:1]),
        next_overdue=Subquery(first.values("overdue_on")[:1]),
    )


def items_then(question: ItemQuestion) -> list[ItemRow]:
    """Return items by tag as they stood on a day, computed afresh from rules and records.

    Site, kind and words are those known at the moment asked about. What was made after the
    day, or where that is not known put into service after it, was not there and is left out.
    """
    return sorted(_rows(question, list(items_for_engine()), whole=True), key=lambda row: row.tag)


def items_there(question: ItemQuestion) -> QuerySet[Item] | None:
    """Return the items of `items_then` as they lie in the register, by tag.

    So that only those on a page need be computed, by `as_they_stood`. None where it takes all
    of them to say which they are: by their standing, their words, or as known earlier.
    """
    on = question.on
    if on is None or question.known_by or question.standing or question.text:
        return None
    put_in = Q(in_service_on=None) | Q(in_service_on__lte=on)
    there = Q(made_on__lte=on) | Q(made_on=None) & put_in
    items = Item.objects.filter(_asked(question), there)
    return items.select_related("type", "site").order_by("tag")


def as_they_stood(question: ItemQuestion, items: Sequence[Item]) -> list[ItemRow]:
    """Return some items of `items_there` as `items_then` does, in the order given."""
    found = {row.pk: row for row in _rows(question, items, whole=False)}
    return [found[item.pk] for item in items]


def _rows(question: ItemQuestion, register: Sequence[Item], *, whole: bool) -> Iterator[ItemRow]:
    known_by = question.known_by
    sites = question.sites
    for item, plain, past, rules in engine_input(register, everything=whole, known_by=known_by):
        if not question.names(item) or (sites is not None and item.site_id not in sites):
            continue
        on = question.on or today_in(item.site.timezone)
        if (plain.made_on or plain.in_service_on or on) > on:
            continue
        standing, owed = engine.situation(plain, past, rules, on)
        if question.standing and standing.word != question.standing:
            continue
        first = min(owed, key=_order, default=None)
        yield ItemRow(
            pk=item.pk,
            tag=item.tag,
            type=item.type,
            maker=item.maker,
            serial=item.serial,
            site=item.site,
            standing=standing.word,
            next_task=first.task if first else "",
            next_due=first.due_on if first else None,
            next_state=first.state(on) if first else None,
            asked=question,
        )


def _order(owed: Obligation) -> tuple[date, date, str]:
    return owed.due_on or date.min, owed.overdue_on or date.min, owed.task


def _asked(question: ItemQuestion) -> Q:
    found = Q()
    if question.kind:
        found &= Q(type__kind=question.kind)
    if question.type_id is not None:
        found &= Q(type=question.type_id)
    if (sites := question.sites) is not None:
        found &= Q(site__in=sites)
    if text := question.text:
        found &= (
            Q(tag__icontains=text)
            | Q(serial__icontains=text)
            | Q(maker__icontains=text)
            | Q(type__model__icontains=text)
        )
    return found

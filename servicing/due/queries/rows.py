"""Obligations as lists and papers show them."""

from collections.abc import Collection
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from django.db import connection
from django.db.models import Exists, F, OuterRef, Q, QuerySet
from django.db.models.functions import Collate
from django.http import HttpRequest
from django.utils.timezone import localtime

from registry.items.models import Item
from registry.items.queries import register_was_empty
from registry.sites.clock import now, today_in
from registry.sites.models import Site
from registry.sites.queries import sites_meant, with_sites_below
from registry.wording.pure.dates import moment_and_zone
from servicing.due.models import DueSpan, StoredObligation, holding
from servicing.due.pure import obligations as engine
from servicing.due.pure.obligations import Obligation, Standing, StandingWord, State
from servicing.due.pure.owed import over_by
from servicing.due.pure.sheet import GENERAL_CAUTION, DueRow
from servicing.due.queries.engine import NotKnownThen, engine_input, items_for_engine

FEW = 1000
"""So many items at a site are few: all that they owe is read at once."""


@dataclass(frozen=True, slots=True)
class DueQuestion:
    """What a list of obligations is asked for; empty means all.

    on: the day asked about, None for today at each item's site. alone: of the site itself,
    else of those below it too. since, until: only what falls due on or after, on or before
    that day. known_by: as it was known at that moment, None for now. ahead: every time a
    task will come due up to `until`, and not only the next (`servicing/due/queries/ahead.py`).
    """

    on: date | None = None
    site: Site | None = None
    alone: bool = False
    kind: str = ""
    task: str = ""
    state: str = ""
    since: date | None = None
    until: date | None = None
    known_by: datetime | None = None
    ahead: bool = False

    @property
    def sites(self) -> list[int] | None:
        """The ids of the sites that are meant; None for all."""
        return sites_meant(self.site, self.alone, self.known_by)

    def wants(self, row: DueRow) -> bool:
        """Say whether an obligation is asked for by its state and date.

        One without a date falls under any `until`, for it may be due already.
        """
        if self.state and row.state != self.state:
            return False
        if row.due_on is None:
            return self.since is None
        return (self.since or date.min) <= row.due_on <= (self.until or date.max)


def cautions(_: HttpRequest) -> dict[str, object]:
    """Give every template the caution that each computed date carries, and the moment."""
    return {"general_caution": GENERAL_CAUTION, "made_at": now()}


def due_rows(question: DueQuestion) -> list[DueRow]:
    """Return obligations on any day, computed afresh from items, rules and records.

    Site and kind limit the items as they were known at the moment asked about: one that
    was moved since stands where it stood.
    """
    items, known_by = items_for_engine(), question.known_by
    sites = question.sites
    if sites is not None and known_by is None:
        items = items.filter(site_id__in=sites)
    if question.kind and known_by is None:
        items = items.filter(type__kind=question.kind)
    rows = (
        due_row(item, obligation, on)
        for item, plain, past, rules in engine_input(
            list(items), everything=True, known_by=known_by
        )
        if sites is None or item.site_id in sites
        if not question.kind or item.type.kind == question.kind
        for on in [question.on or today_in(item.site.timezone)]
        for obligation in engine.obligations(plain, past, rules, on)
        if not question.task or obligation.task == question.task
    )
    return sorted((row for row in rows if question.wants(row)), key=lambda row: row.order)


def known_rows(question: DueQuestion) -> list[DueRow]:
    """Return what `due_rows` does, for a paper or a file that is read without the question.

    Raises NotKnownThen where the register held no item at the moment asked about: an empty
    list would read as if nothing had been due.
    """
    refuse_empty(question.known_by)
    return due_rows(question)


def late_rows(question: DueQuestion, on: date) -> list[DueRow]:
    """Return what is overdue or undetermined on a day, as `known_rows` does, in its order.

    From the store where the day is today at every site that is meant. The question's state is
    not looked at.
    """
    late = (State.OVERDUE, State.UNDETERMINED)
    if question.known_by is None and list(zones_by_day(question.sites)) == [on]:
        stored = (stored_rows(replace(question, on=None, state=state)) for state in late)
        return sorted((stored_row(row) for rows in stored for row in rows), key=_order)
    rows = known_rows(replace(question, on=on, state=""))
    return [row for row in rows if row.state in late]


def _order(row: DueRow) -> Any:
    return row.order


def refuse_empty(known_by: datetime | None) -> None:
    """Raise NotKnownThen where the register held no item at a moment."""
    if known_by is not None and register_was_empty(known_by):
        raise NotKnownThen(
            f"No item was in the register at that moment, {moment_and_zone(localtime(known_by))}; "
            "what was due then can't be told."
        )


def stored_rows(question: DueQuestion) -> QuerySet[StoredObligation]:
    """Return today's obligations from the store, in the order of `due_rows`.

    Today is the day at each item's site. `question.on` is not looked at.
    """
    rows = StoredObligation.objects.filter(today_q(question.state))
    if (sites := question.sites) is not None:
        rows = rows.filter(at_sites(sites))
    if question.kind:
        rows = rows.filter(item__type__kind=question.kind)
    if question.task:
        rows = rows.filter(task=question.task)
    if question.since is not None:
        rows = rows.filter(due_on__gte=question.since)
    if question.until is not None:
        rows = rows.filter(Q(due_on=None) | Q(due_on__lte=question.until))
    return (
        rows.select_related("item__type", "item__site", "rule__table")
        .annotate(
            tag=F("item__tag"),
            kind=F("item__type__kind"),
            site=F("item__site__code"),
            timezone=F("item__site__timezone"),
            source=F("rule__source"),
        )
        .order_by(F("due_on").asc(nulls_first=True), *map(_plain, ("site", "tag", "task")))
    )


def at_sites(sites: Collection[int]) -> Q | Exists:
    """Return the condition that a row about an item is of some sites.

    Where few items are there, by them; where many are, row by row: so the rows can be read in
    their own order, and no further than they are asked for.
    """
    there = Item.objects.filter(site_id__in=sites).order_by()
    if there.values("pk")[:FEW].count() < FEW:
        return Q(item__site_id__in=sites)
    return Exists(there.filter(pk=OuterRef("item_id")))


def _plain(column: str) -> Collate:
    """Return a column in the order of its characters, on either engine, as `due_rows` sorts."""
    return Collate(column, "C" if connection.vendor == "postgresql" else "BINARY")


def stored_row(row: StoredObligation) -> DueRow:
    """Return a stored obligation as a list shows it today."""
    today = today_in(row.item.site.timezone)
    return DueRow(
        item_id=row.item_id,
        tag=row.item.tag,
        serial=row.item.serial,
        maker=row.item.maker,
        kind=row.item.type.kind,
        site=row.item.site.code,
        site_name=row.item.site.name,
        task=row.task,
        due_on=row.due_on,
        state=row.owed.state(today),
        rule=row.rule.rule_id,
        level=row.rule.level,
        source=row.rule.source,
        table=row.rule.table.name,
        counted_from=row.counted_from,
        basis_on=row.basis_on,
        event=row.event,
        late=over_by(row.due_on, row.counted_from, today),
        bars=row.task_bars,
    )


def standings_today(site: Site | None = None) -> QuerySet[DueSpan]:
    """Return today's standing of items, at a site and below it or everywhere."""
    spans = DueSpan.objects.filter(today_q())
    return spans if site is None else spans.filter(item__site_id__in=with_sites_below(site))


def standing_now(items: Collection[Item]) -> dict[int, Standing]:
    """Return how items stand today, each at its site, by id, as the store has it."""
    rows = standings_today().filter(item__in=list(items))
    held = rows.values_list("item_id", "standing", "since_on", "task")
    found = {pk: Standing(StandingWord(word), since, task) for pk, word, since, task in held}
    return {item.pk: found.get(item.pk, Standing(StandingWord.IN_SERVICE)) for item in items}


def state_on(state: str, on: date) -> Q:
    """Return the condition that a stored obligation is in a state on a day."""
    return {
        State.UNDETERMINED: Q(overdue_on=None),
        State.OVERDUE: Q(overdue_on__lte=on),
        State.DUE_SOON: Q(overdue_on__gt=on, soon_on__lte=on),
        State.CURRENT: Q(overdue_on__gt=on, soon_on__gt=on),
    }[State(state)]


def zones_by_day(within: Collection[int] | None = None) -> dict[date, list[str]]:
    """Return the days that are today somewhere, each with the time zones of its sites.

    within: the ids of the sites that are looked at; None for all.
    """
    sites = Site.objects.all() if within is None else Site.objects.filter(pk__in=within)
    zones = sites.order_by().values_list("timezone", flat=True).distinct()
    by_day: dict[date, list[str]] = {}
    for zone in zones:
        by_day.setdefault(today_in(zone), []).append(zone)
    return by_day


def today_q(state: str = "", by_day: dict[date, list[str]] | None = None) -> Q:
    """Return the condition that a row holds, and is in a state, today at its item's site.

    by_day: of `zones_by_day`, where several conditions are asked for at once.
    """
    days = zones_by_day() if by_day is None else by_day
    if len(days) == 1:  # the same day everywhere: no row need be asked where it is
        (day,) = days
        return holding(day) & state_on(state, day) if state else holding(day)
    found = Q(pk__in=[])
    for day, names in days.items():
        there = holding(day) & Q(item__site__timezone__in=names)
        found |= there & state_on(state, day) if state else there
    return found


def due_row(item: Item, obligation: Obligation, on: date) -> DueRow:
    """Return what an item owes as a list shows it on a day."""
    rule = obligation.rule
    return DueRow(
        item_id=item.pk,
        tag=item.tag,
        serial=item.serial,
        maker=item.maker,
        kind=item.type.kind,
        site=item.site.code,
        site_name=item.site.name,
        task=obligation.task,
        due_on=obligation.due_on,
        state=obligation.state(on),
        rule=rule.id,
        level=rule.level,
        source=rule.source,
        table=rule.table,
        counted_from=obligation.counted_from or "",
        basis_on=obligation.basis_on,
        event=obligation.governing.event,
        late=over_by(obligation.due_on, obligation.counted_from or "", on),
        bars=obligation.bars,
    )

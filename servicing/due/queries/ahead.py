"""The work ahead, in rows and by month: every time a task will come due (due/README 12)."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date

from django.db.models import QuerySet

from registry.items.models import Item
from registry.sites.clock import today_in
from registry.sites.models import Site
from servicing.due.models import StoredObligation
from servicing.due.pure import obligations as engine
from servicing.due.pure.ahead import Coming, Rounds, ahead, ahead_of
from servicing.due.pure.obligations import Candidate, CountedFrom, Obligation
from servicing.due.pure.sheet import IF_DONE, DueRow
from servicing.due.queries.engine import engine_input, items_for_engine, with_rules
from servicing.due.queries.rows import DueQuestion, due_row, due_rows, stored_rows, today_q
from servicing.ledger.queries.records import facts_by_item
from servicing.rules.pure.durations import add_months, month_end
from servicing.rules.pure.rule import Rule

MONTHS = 13
"""How many months overviews look ahead: what is left of this one, and twelve whole ones."""

OfItem = tuple[Item, date, list[Coming]]
Owed = tuple[str, date | None, str, str, date | None, str]
"""Of a stored obligation: task, due date, the rule's id, what it counts from, that day, event."""


@dataclass(frozen=True, slots=True)
class Month:
    """How often something comes due in a month, in all and by site id.

    first: the month's first day, or today in the month that runs. is_first: whether that is
    the one; it counts what is overdue and undetermined too.
    """

    first: date
    is_first: bool
    by_site: Mapping[int, int]

    @property
    def count(self) -> int:
        """How often something comes due at all sites."""
        return sum(self.by_site.values())

    @property
    def whole(self) -> bool:
        """Whether all of the month is counted."""
        return self.first.day == 1

    def at(self, sites: Iterable[int]) -> int:
        """Return how often something comes due at some sites."""
        return sum(self.by_site.get(site, 0) for site in sites)

    @property
    def last(self) -> date:
        """The month's last day."""
        return month_end(self.first)


def span_end(today: date) -> date:
    """Return the last day that overviews look ahead to."""
    return month_end(add_months(today.replace(day=1), MONTHS - 1))


def rows_ahead(question: DueQuestion) -> list[DueRow]:
    """Return every time a task comes due up to `question.until`, by date, site, tag and task.

    `since` and `until` mean the day on which it is counted: what is overdue or undetermined
    counts on the first day. A state limits it to what is owed as things stand.
    Raises ValueError without `until`: such work has no end.
    """
    if question.until is None:
        raise ValueError("The work ahead needs a last day.")
    rows = [
        _row(item, coming, on)
        for item, on, found in _of_items(question, question.until)
        for coming in found
        if not question.task or coming.task == question.task
        if coming.on >= (question.since or date.min)
    ]
    wanted = (row for row in rows if not question.state or row.state == question.state)
    return sorted(wanted, key=lambda row: row.order)


def rows_asked(question: DueQuestion) -> list[DueRow] | QuerySet[StoredObligation]:
    """Return what a question asks for: the work ahead, today's from the store, or afresh."""
    if question.ahead:
        return rows_ahead(question)
    return due_rows(question) if question.on or question.known_by else stored_rows(question)


def months_ahead(today: date, site: Site | None = None) -> list[Month]:
    """Return how often something comes due by month and site: what is left of this month, then
    twelve whole ones.

    Where today is still the last day of the month before, it counts in the first.
    """
    first = today.replace(day=1)
    found: list[Counter[int]] = [Counter() for _ in range(MONTHS)]
    for item, _, comings in _of_items(DueQuestion(site=site), span_end(today)):
        for coming in comings:
            number = 12 * (coming.on.year - first.year) + coming.on.month - first.month
            found[max(number, 0)][item.site_id] += 1
    return [
        Month(max(add_months(first, number), today), not number, by_site)
        for number, by_site in enumerate(found)
    ]


def _of_items(question: DueQuestion, until: date) -> Iterator[OfItem]:
    """Yield what comes for each item that is asked for by site and kind."""
    items = items_for_engine()
    if question.on or question.known_by:
        sites = question.sites
        for item, plain, past, rules in engine_input(
            list(items), everything=True, known_by=question.known_by
        ):
            if sites is not None and item.site_id not in sites:
                continue
            if not question.kind or item.type.kind == question.kind:
                on = question.on or today_in(item.site.timezone)
                yield item, on, ahead_of(plain, past, rules, on, until)
        return
    if (sites := question.sites) is not None:
        items = items.filter(site_id__in=sites)
    if question.kind:
        items = items.filter(type__kind=question.kind)
    owed = _stored(question)
    yield from _from_store((item for item in items if item.pk in owed), owed, until)


def _stored(question: DueQuestion) -> dict[int, list[Owed]]:
    """Return today's stored obligations by item."""
    rows = StoredObligation.objects.filter(today_q()).order_by()
    if (sites := question.sites) is not None:
        rows = rows.filter(item__site_id__in=sites)
    if question.kind:
        rows = rows.filter(item__type__kind=question.kind)
    found: dict[int, list[Owed]] = defaultdict(list)
    columns = ("task", "due_on", "rule__rule_id", "counted_from", "basis_on", "event")
    for item_id, *owed in rows.values_list("item_id", *columns).iterator(chunk_size=5000):
        found[item_id].append((*owed,))
    return found


def _from_store(
    items: Iterable[Item], owed: dict[int, list[Owed]], until: date
) -> Iterator[OfItem]:
    """Yield what comes for each item; records are read only where the store doesn't tell."""
    known: dict[tuple[int, date], Rounds] = {}
    days: dict[str, date] = {}
    untold: list[tuple[Item, engine.Item, tuple[Rule, ...]]] = []
    for item, plain, rules in with_rules(items):
        zone = item.site.timezone
        on = days[zone] if zone in days else days.setdefault(zone, today_in(zone))
        rounds = known.get((id(rules), on)) or known.setdefault((id(rules), on), Rounds(rules, on))
        stands = [_obligation(rounds.rules, row) for row in owed[item.pk]]
        begins_later = (item.in_service_on or on) > on
        if not begins_later and rounds.told_by_first(stands, on):
            yield item, on, ahead(stands, rounds, on, until)
        else:
            untold.append((item, plain, rules))
    records = facts_by_item([item.pk for item, _, _ in untold])
    for item, plain, rules in untold:
        on = days[item.site.timezone]
        past = [engine.Record(*row) for row in records.get(item.pk, ())]
        yield item, on, ahead_of(plain, past, rules, on, until)


def _obligation(rules: Mapping[str, Rule], row: Owed) -> Obligation:
    task, due_on, rule_id, counted_from, basis_on, event = row
    word = CountedFrom(counted_from) if counted_from else None
    return Obligation(task, (Candidate(rules[rule_id], due_on, word, basis_on, event=event),))


def _row(item: Item, coming: Coming, on: date) -> DueRow:
    row = due_row(item, Obligation(coming.task, (coming.candidate,)), on)
    if coming.done_on is None:
        return row
    return replace(row, state=None, counted_from=IF_DONE, basis_on=coming.done_on, event="")

"""Due dates for lists, pages and papers: rows turned into plain values for the engine."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db.models import Count, F, OuterRef, Q, QuerySet, Subquery
from django.http import HttpRequest

from registry.items.models import Item
from registry.sites.clock import today_in
from registry.sites.models import Site
from registry.sites.queries import with_sites_below
from servicing.due.models import DueSpan, StoredObligation, holding
from servicing.due.pure import obligations as engine
from servicing.due.pure.explain import Explained, explain
from servicing.due.pure.obligations import Obligation, Standing, State
from servicing.ledger.queries import facts_by_item
from servicing.rules.pure.durations import add_months, month_end
from servicing.rules.pure.rule import Rule, Value
from servicing.rules.queries import rules_by_site

GENERAL_CAUTION = (
    "The rule tables are a working copy of published rules. Somebody competent must check them "
    "against the current edition, the maker's instructions and the local authority.",
    "A retest is done and marked only by an approved body.",
    "A pass here never overrules a doubt at the bench.",
)
_TEXTS = ("specification", "construction", "fibre", "connection", "size")
_NUMBERS = (
    *("working_pressure_bar", "water_capacity_l", "test_pressure_bar", "tare_kg", "ree_ml"),
    "design_life_years",
)


@dataclass(frozen=True, slots=True)
class DueRow:
    """One obligation with all that lists and papers show of it."""

    item_id: int
    tag: str
    serial: str
    maker: str
    kind: str
    site: str
    site_name: str
    task: str
    due_on: date | None
    state: State
    rule: str
    level: str
    source: str
    table: str
    counted_from: str
    basis_on: date | None

    @property
    def order(self) -> tuple[date, str, str, str]:
        """By due date, those that can't be determined first; then site, tag and task."""
        return self.due_on or date.min, self.site, self.tag, self.task


@dataclass(frozen=True, slots=True)
class DueQuestion:
    """What a list of obligations is asked for; empty means all.

    on: the day asked about, None for today at each item's site. since, until: only what
    falls due on or after, on or before that day.
    """

    on: date | None = None
    site: Site | None = None
    kind: str = ""
    task: str = ""
    state: str = ""
    since: date | None = None
    until: date | None = None

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
    """Give every template the caution that each computed date carries."""
    return {"general_caution": GENERAL_CAUTION}


def facts(item: Item) -> engine.Item:
    """Return an item as the engine takes it. Its site and type must be loaded."""
    attributes: dict[str, Value] = {
        "kind": item.type.kind,
        "maker": item.maker,
        "model": item.type.model,
        "site": item.site.code,
        "marks": frozenset(item.marks),
    }
    attributes |= {name: value for name in _TEXTS if (value := getattr(item, name))}
    numbers = ((name, getattr(item, name)) for name in _NUMBERS)
    attributes |= {name: Decimal(value) for name, value in numbers if value is not None}
    return engine.Item(attributes, item.made_on, item.in_service_on)


def items_for_engine(item_ids: Iterable[int] | None = None) -> QuerySet[Item]:
    """Return items with what `facts` needs, ordered by id."""
    items = Item.objects.select_related("type", "site").order_by("pk")
    return items if item_ids is None else items.filter(pk__in=list(item_ids))


def engine_input(
    items: Sequence[Item], *, everything: bool = False
) -> Iterator[tuple[Item, engine.Item, list[engine.Record], tuple[Rule, ...]]]:
    """Yield each item with its facts, its records in the order entered, and its rules.

    everything: the items are the whole register, so that all records are read at once.
    """
    rules = rules_by_site()
    records = facts_by_item(None if everything else [item.pk for item in items])
    matching: dict[tuple[object, ...], tuple[Rule, ...]] = {}
    for item in items:
        plain = facts(item)
        key = (item.site_id, *sorted(plain.attributes.items(), key=lambda pair: pair[0]))
        if key not in matching:
            matching[key] = tuple(
                rule for rule in rules[item.site_id] if rule.matches(plain.attributes)
            )
        past = [engine.Record(*row) for row in records.get(item.pk, ())]
        yield item, plain, past, matching[key]


def explained(item: Item, on: date) -> tuple[Standing, tuple[Explained, ...]]:
    """Return an item's standing on a day and every candidate of every task."""
    _, plain, past, rules = next(engine_input([item]))
    return engine.standing(past, rules, plain, on), explain(plain, past, rules, on)


def owed(item: Item, on: date, extra: Sequence[engine.Record] = ()) -> tuple[Obligation, ...]:
    """Return what an item owes on a day; `extra` records are taken as if entered last."""
    _, plain, past, rules = next(engine_input([item]))
    return engine.obligations(plain, [*past, *extra], rules, on)


def due_rows(question: DueQuestion) -> list[DueRow]:
    """Return obligations on any day, computed afresh from items, rules and records."""
    items = items_for_engine()
    if question.site is not None:
        items = items.filter(site_id__in=with_sites_below(question.site))
    if question.kind:
        items = items.filter(type__kind=question.kind)
    rows = (
        _row(item, obligation, on)
        for item, plain, past, rules in engine_input(list(items), everything=True)
        for on in [question.on or today_in(item.site.timezone)]
        for obligation in engine.obligations(plain, past, rules, on)
        if not question.task or obligation.task == question.task
    )
    return sorted((row for row in rows if question.wants(row)), key=lambda row: row.order)


def stored_rows(question: DueQuestion) -> QuerySet[StoredObligation]:
    """Return today's obligations from the store, in the order of `due_rows`.

    Today is the day at each item's site. `question.on` is not looked at.
    """
    rows = StoredObligation.objects.filter(_today(question.state))
    if question.site is not None:
        rows = rows.filter(item__site_id__in=with_sites_below(question.site))
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
        .order_by(F("due_on").asc(nulls_first=True), "site", "tag", "task")
    )


def stored_row(row: StoredObligation) -> DueRow:
    """Return a stored obligation as a list shows it today."""
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
        state=engine.state(row.due_on, row.soon_on, today_in(row.item.site.timezone)),
        rule=row.rule.rule_id,
        level=row.rule.level,
        source=row.rule.source,
        table=row.rule.table.name,
        counted_from=row.counted_from,
        basis_on=row.basis_on,
    )


def standings_today(site: Site | None = None) -> QuerySet[DueSpan]:
    """Return today's standing of items, at a site and below it or everywhere."""
    spans = DueSpan.objects.filter(_today(""))
    return spans if site is None else spans.filter(item__site_id__in=with_sites_below(site))


def state_on(state: str, on: date) -> Q:
    """Return the condition that a stored obligation is in a state on a day."""
    return {
        State.UNDETERMINED: Q(due_on=None),
        State.OVERDUE: Q(due_on__lt=on),
        State.DUE_SOON: Q(due_on__gte=on, soon_on__lte=on),
        State.CURRENT: Q(due_on__gte=on, soon_on__gt=on),
    }[State(state)]


def _today(state: str) -> Q:
    """Return the condition that a row holds, and is in a state, today at its item's site."""
    zones = Site.objects.order_by().values_list("timezone", flat=True).distinct()
    by_day: dict[date, list[str]] = {}
    for zone in zones:
        by_day.setdefault(today_in(zone), []).append(zone)
    found = Q(pk__in=[])
    for day, names in by_day.items():
        there = holding(day) & Q(item__site__timezone__in=names)
        found |= there & state_on(state, day) if state else there
    return found


def _row(item: Item, obligation: Obligation, on: date) -> DueRow:
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
    )


@dataclass(frozen=True, slots=True)
class Month:
    """How many obligations fall due in a month, in all and by site code."""

    first: date
    count: int
    by_site: dict[str, int]

    @property
    def last(self) -> date:
        """The month's last day."""
        return month_end(self.first)


def state_counts(site: Site | None) -> dict[str, int]:
    """Return how many obligations are in each state today, at a site and below or everywhere.

    The keys are the states' words with an underscore for the hyphen, as templates need.
    """
    return {
        state.replace("-", "_"): stored_rows(DueQuestion(site=site, state=state)).count()
        for state in State
    }


def months_ahead(today: date, months: int = 12) -> list[Month]:
    """Return what falls due in this month and the ones after it, by month and site.

    Counted by day in the database and folded to months here: it keeps to the index.
    """
    first = today.replace(day=1)
    end = add_months(first, months)
    days = (
        StoredObligation.objects.filter(_today(""), due_on__gte=first, due_on__lt=end)
        .order_by()
        .values_list("due_on", "item__site__code")
        .annotate(number=Count("pk"))
    )
    found: dict[date, dict[str, int]] = {add_months(first, n): {} for n in range(months)}
    for day, site, number in days:
        by_site = found[day.replace(day=1)]
        by_site[site] = by_site.get(site, 0) + number
    return [Month(start, sum(by.values()), by) for start, by in found.items()]


def items_with_due() -> QuerySet[Item]:
    """Return items with their standing today, and the task, day and notice of what is due first."""
    standing = standings_today().filter(item=OuterRef("pk"))
    first = StoredObligation.objects.filter(_today(""), item=OuterRef("pk")).order_by(
        F("due_on").asc(nulls_first=True), "task"
    )
    return Item.objects.select_related("type", "site").annotate(
        standing=Subquery(standing.values("standing")[:1]),
        next_task=Subquery(first.values("task")[:1]),
        next_due=Subquery(first.values("due_on")[:1]),
        next_soon=Subquery(first.values("soon_on")[:1]),
    )


def attributes_shown(item: Item) -> list[tuple[str, str]]:
    """Return what is known of an item beside its names, as (label, text with unit)."""
    units = {"bar": "bar", "l": "L", "kg": "kg", "ml": "mL", "years": "years"}
    shown = [(name.capitalize(), text) for name in _TEXTS if (text := getattr(item, name))]
    if item.marks:
        shown.append(("Marks", ", ".join(item.marks)))
    for name in _NUMBERS:
        if (number := getattr(item, name)) is not None:
            words, _, unit = name.rpartition("_")
            label = {"ree": "Rejection elastic expansion", "tare": "Tare mass"}.get(words)
            plain = format(Decimal(number).normalize(), "f")
            label = label or words.replace("_", " ").capitalize()
            shown.append((label, f"{plain} {units[unit]}"))
    return shown

"""Items, records and rules turned into plain values for the due-date engine."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from django.db.models import QuerySet
from django.utils.timezone import localtime

from registry.items.facts import ATTRIBUTES, FACTS, RULE_KEYS, Kept
from registry.items.models import Item
from registry.items.pure import NOT_LIMITED, Construction, Kind
from registry.items.queries import as_known
from registry.sites.models import Site
from registry.sites.queries import with_sites_below
from registry.wording.pure.dates import moment_and_zone
from servicing.due.pure import obligations as engine
from servicing.due.pure.explain import Explained, explain
from servicing.due.pure.lifeline import LifeLine, lifeline
from servicing.due.pure.obligations import Obligation, Standing
from servicing.ledger.queries.records import facts_by_item, facts_corrected
from servicing.rules.pure.rule import Rule, Value
from servicing.rules.pure.tasks import RETURN
from servicing.rules.queries import current_versions, rules_by_site, rules_of_tables

_OWN_KEYS = {name: FACTS[name] for name in RULE_KEYS if name in ATTRIBUTES}
"""What rules may go by of the item itself, its names and its site apart."""


class NotKnownThen(LookupError):
    """The item was entered later than the moment that is asked about."""

    @classmethod
    def about(cls, tag: str, known_by: datetime | None) -> "NotKnownThen":
        """Return the refusal in words, by the clock of whoever asks."""
        at = f", {moment_and_zone(localtime(known_by))}" if known_by else ""
        return cls(f"{tag} was not in the register at that moment{at}.")


@dataclass(frozen=True, slots=True)
class OnDay:
    """What the engine finds of an item on a day. item: as it was known at the moment asked about.

    past: everything that was done to it, after the day as well, in the order entered.
    """

    item: Item
    past: tuple[engine.Record, ...]
    standing: Standing
    tasks: tuple[Explained, ...]
    life: LifeLine | None

    @property
    def owed(self) -> tuple[Obligation, ...]:
        """What it owes: the tasks that the end of its service life doesn't drop."""
        return tuple(task.obligation for task in self.tasks if not task.dropped)

    @property
    def condemned(self) -> bool:
        """Whether it is never to be used again."""
        return self.standing.word is engine.StandingWord.CONDEMNED

    def end_stamped(self, on: date) -> bool:
        """Whether a final date was stamped on it at a retest up to a day."""
        return engine.History(self.past, on).life_marked is not None

    def taken_out(self, on: date) -> engine.Record | None:
        """Return what took it out of service and still holds on a day, failures apart."""
        return engine.History(self.past, on).taken_out()


def facts(item: Item) -> engine.Item:
    """Return an item as the engine takes it. Its site and type must be loaded."""
    attributes: dict[str, Value] = {
        "kind": item.type.kind,
        "maker": item.maker,
        "model": item.type.model,
        "site": item.site.code,
    }
    for name, fact in _OWN_KEYS.items():
        value = getattr(item, name)
        if fact.kept is Kept.WORDS:
            attributes[name] = frozenset(value)  # what bears no mark is known to bear none
        elif value is not None and value != "":
            attributes[name] = value if fact.kept is Kept.TEXT else Decimal(value)
    return engine.Item(attributes, item.made_on, item.in_service_on)


def items_for_engine(item_ids: Iterable[int] | None = None) -> QuerySet[Item]:
    """Return items with what `facts` needs, ordered by id."""
    items = Item.objects.select_related("type", "site").order_by("pk")
    return items if item_ids is None else items.filter(pk__in=list(item_ids))


def engine_input(
    items: Sequence[Item], *, everything: bool = False, known_by: datetime | None = None
) -> Iterator[tuple[Item, engine.Item, list[engine.Record], tuple[Rule, ...]]]:
    """Yield each item with its facts, its records in the order entered, and its rules.

    everything: the items are the whole register, so that all records are read at once.
    known_by: everything as it was known at that moment; items unknown then are left out.
    """
    ids = None if everything else [item.pk for item in items]
    records = facts_by_item(ids, known_by)
    items = items if known_by is None else as_known(items, known_by)
    for item, plain, rules in with_rules(items, known_by):
        past = [engine.Record(*row) for row in records.get(item.pk, ())]
        yield item, plain, past, rules


def with_rules(
    items: Iterable[Item], known_by: datetime | None = None
) -> Iterator[tuple[Item, engine.Item, tuple[Rule, ...]]]:
    """Yield each item with its facts and the rules of its site that match it.

    Items that match the same rules have the same tuple of them.
    """
    rules = rules_by_site(known_by)
    matching: dict[tuple[object, ...], tuple[Rule, ...]] = {}
    for item in items:
        plain = facts(item)
        key = (item.site_id, *sorted(plain.attributes.items(), key=lambda pair: pair[0]))
        if key not in matching:
            matching[key] = tuple(
                rule for rule in rules.get(item.site_id, ()) if rule.matches(plain.attributes)
            )
        yield item, plain, matching[key]


def explained(
    item: Item, on: date, known_by: datetime | None = None
) -> tuple[Standing, tuple[Explained, ...]]:
    """Return an item's standing on a day and every candidate of every task.

    known_by: as it was known at that moment; nothing entered later changes the answer.
    Raises NotKnownThen where the item was not in the register at that moment.
    """
    found = on_day(item, on, known_by)
    return found.standing, found.tasks


def explained_under(
    item: Item, on: date, tables: Iterable[str], known_by: datetime | None = None
) -> tuple[Standing, tuple[Explained, ...]]:
    """Return what `explained` would if the item's site followed just these tables.

    Raises NoSuchTable where one is not loaded, and NotKnownThen.
    """
    rules = rules_of_tables(tables, known_by)
    for _, plain, past, _ in engine_input([item], known_by=known_by):
        return engine.standing(plain, past, rules, on), explain(plain, past, rules, on)
    raise NotKnownThen.about(item.tag, known_by)


def on_day(item: Item, on: date, known_by: datetime | None = None) -> OnDay:
    """Return what the engine finds of an item on a day, from one reading of its past.

    known_by: as for `explained`, with the same refusal.
    """
    for known, plain, past, rules in engine_input([item], known_by=known_by):
        tasks = explain(plain, past, rules, on)
        kept = [task.obligation for task in tasks if not task.dropped]
        start = (plain.made_on, past, kept, on, plain.in_service_on)
        life = lifeline(*start, made_to_month=known.made_to_month)
        return OnDay(known, tuple(past), engine.standing(plain, past, rules, on), tasks, life)
    raise NotKnownThen.about(item.tag, known_by)


def items_under(rule: Rule, site: Site) -> int:
    """Return how many items at a site and below it a rule means."""
    here = items_for_engine().filter(site__in=with_sites_below(site))
    return sum(rule.matches(facts(item).attributes) for item in here)


def owed(item: Item, on: date, extra: Sequence[engine.Record] = ()) -> tuple[Obligation, ...]:
    """Return what an item owes on a day; `extra` records are taken as if entered last."""
    return owes(item, on, extra)[1]


def owes(
    item: Item, on: date, extra: Sequence[engine.Record] = ()
) -> tuple[Standing, tuple[Obligation, ...]]:
    """Return an item's standing and what it owes; `extra` is taken as if entered last."""
    _, plain, past, rules = next(engine_input([item]))
    return engine.situation(plain, [*past, *extra], rules, on)


def owes_corrected(
    item: Item, on: date, corrected: str, by: engine.Record | None
) -> tuple[Standing, tuple[Obligation, ...]]:
    """Return what `owes` does, as it would be with the record of a hash corrected.

    by: what would stand in its place; None where it would be said never to have happened.
    """
    _, plain, _, rules = next(engine_input([item]))
    said = by.facts if by else None
    past = [engine.Record(*row) for row in facts_corrected(item, corrected, said)]
    return engine.situation(plain, past, rules, on)


def held_back(item: Item, on: date) -> tuple[Standing, tuple[Obligation, ...]]:
    """Return how an item would stand on a day, and what it owes, were it returned to service."""
    back = engine.Record(RETURN, on, engine.PASS)
    return owes(item, on, [back])


def taken_out(item: Item, on: date) -> engine.Record | None:
    """Return what took an item out of service and still holds on a day, failures apart."""
    _, _, past, _ = next(engine_input([item]))
    return engine.History(past, on).taken_out()


def governing_rule(item: Item, task: str, on: date) -> str:
    """Return the rule that asks for a task of an item on a day, with its version; or nothing."""
    rule = next((o.rule for o in owed(item, on) if o.task == task), None)
    return str(current_versions()[rule.id]) if rule else ""


def governing_rules(task: str, days: Mapping[Item, date]) -> dict[int, str]:
    """Return what `governing_rule` does for many items, each on its day, by item id."""
    versions = current_versions()
    found = {}
    for item, plain, past, rules in engine_input(list(days)):
        owed_then = engine.obligations(plain, past, rules, days[item])
        rule = next((o.rule for o in owed_then if o.task == task), None)
        found[item.pk] = str(versions[rule.id]) if rule else ""
    return found


def as_then(item: Item, known_by: datetime | None) -> Item:
    """Return an item as it was known at a moment, or as it is known now without one.

    Raises NotKnownThen where the item was not in the register at that moment.
    """
    if known_by is None:
        return item
    found = as_known([item], known_by)
    if not found:
        raise NotKnownThen.about(item.tag, known_by)
    return found[0]


def attribute_rows(item: Item, *, end_stamped: bool = False) -> list[tuple[str, str]]:
    """Return what is known of an item beside its names, as (label, text with unit).

    A word that is not as lists and rules write it says so: no rule finds the item by it.
    end_stamped: whether a final date was stamped on it at a retest.
    """
    shown = [
        (fact.label, f"{told}: no rule goes by it, for it {wrong}" if wrong else told)
        for name, fact in _OWN_KEYS.items()
        if (told := fact.with_unit(value := getattr(item, name)))
        for wrong in [fact.wrong_words(value)]
    ]
    return [*shown, *_life_not_entered(item, end_stamped=end_stamped)]


def _life_not_entered(item: Item, *, end_stamped: bool) -> list[tuple[str, str]]:
    """Say of a cylinder that may have a limited life whether somebody looked for one.

    The engine takes an empty design life for not limited (DEVELOPERS.md, `life`), so that a
    mark nobody read must not look like one that says so.
    """
    may_be_limited = item.type.kind == Kind.CYLINDER and item.construction != Construction.TYPE_1
    if not may_be_limited or item.design_life_years is not None:
        return []
    if end_stamped:
        also = ", though its mark says not limited" if NOT_LIMITED in item.marks else ""
        return [("Design life", f"not entered: the final date stamped on it counts{also}")]
    if NOT_LIMITED in item.marks:
        return [("Design life", "not limited, by its mark")]
    return [("Design life", "not entered, taken as not limited: look for a final date on it")]

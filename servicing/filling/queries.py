"""What the filling point must know of a few items: stored due dates, never a recomputation.

However many items are asked about, and however many the register holds, it is the same
handful of queries.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal

from django.db.models import Q, QuerySet

from registry.items.models import Item
from registry.items.pure import OXYGEN, Kind
from registry.items.queries import Meant, entered_on, named_by
from registry.sites.clock import today_in
from registry.sites.models import Site
from registry.wording.pure.dates import day_words
from servicing.away.queries import away_now
from servicing.due.models import DueSpan, StoredBar, StoredObligation, holding
from servicing.due.pure.charge import ChargeState, charge_state, filled_on
from servicing.due.pure.obligations import StandingWord
from servicing.due.queries.doubts import doubt_words, in_doubt
from servicing.filling.pure.may_fill import (
    AIR_TEST,
    FillAnswer,
    Owed,
    Subject,
    may_fill,
    owed_by_rule,
    several_items,
    unknown_code,
)
from servicing.filling.pure.stamped import stamped_lines
from servicing.ledger.queries.records import facts_by_item

SHOWN = 200
"""How many characters of an unknown code are shown."""


@dataclass(frozen=True, slots=True)
class Answer:
    """What the filling point says to one code.

    code: as read. item: None where the code names none, or several. charge: what may
    become of the air inside, where something is overdue. meant: items that may be meant.
    stamped: what can be read on its shoulder, as far as it was entered.
    """

    code: str
    item: Item | None
    verdict: FillAnswer
    charge: ChargeState | None = None
    meant: tuple[Meant, ...] = ()
    stamped: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Source:
    """A compressor to fill from, and its air test as it stands today."""

    item: Item
    subject: Subject

    @property
    def air_test(self) -> Owed | None:
        """The air test it owes; None where no rule asks for one."""
        return next((owed for owed in self.subject.owed if owed.task == AIR_TEST), None)

    @property
    def air_words(self) -> str:
        """How its air stands, in words for a list."""
        test = self.air_test
        if test is None or test.due_on is None or test.never_done:
            return "its air is not known"
        if test.overdue(self.subject.today):
            return f"air test overdue since {day_words(test.due_on)}"
        return f"air test good until {day_words(test.due_on)}"


def subjects_today(items: Sequence[Item]) -> dict[int, Subject]:
    """Return items as the filling point takes them, by id; type and site must be loaded.

    From the stored due dates that hold today at each item's site. Asked by the items' ids
    alone: PostgreSQL, where it has not counted a large list yet, begins a join at the sites.
    """
    here: dict[date, list[int]] = defaultdict(list)
    for item in items:
        here[today_in(item.site.timezone)].append(item.pk)
    today = Q(pk__in=[])
    for day, ids in here.items():
        today |= holding(day) & Q(item_id__in=ids)
    owed: dict[int, list[Owed]] = defaultdict(list)
    entered = entered_on(items)
    for kept in (StoredObligation, StoredBar):
        rows = kept.objects.filter(today).select_related("rule__table")
        for row in rows.order_by("due_on", "task"):
            owed[row.item_id].append(_owed(row, entered.get(row.item_id)))
    away = away_now(item.pk for item in items)
    doubts = in_doubt(Q(item__in=[item.pk for item in items]))
    standings = {span.item_id: span for span in DueSpan.objects.filter(today).order_by()}
    return {
        item.pk: replace(
            _subject(item, standings.get(item.pk), tuple(owed[item.pk])),
            away=away.get(item.pk),
            doubt=doubt_words(doubts.get(item.pk, ())),
        )
        for item in items
    }


def answer(text: str, compressor: Item | None, wanted_bar: Decimal | None = None) -> Answer:
    """Return what the filling point says to a scanned or typed text.

    Only a mark that the code itself gives is followed; what comes near it is offered.
    """
    named = named_by(text)
    scan = named.scan
    if named.item is not None:
        return answers([named.item], compressor, wanted_bar)[0]
    code = scan.text[:SHOWN] if scan.is_printable else "".join(scan.signs[:SHOWN])
    if named.items:
        several = tuple(Meant(item, f"its serial is {code}") for item in named.items)
        return Answer(code, None, several_items(code), meant=several)
    return Answer(code, None, unknown_code(code), meant=named.meant)


def answers(
    items: Sequence[Item], compressor: Item | None, wanted_bar: Decimal | None = None
) -> list[Answer]:
    """Return what the filling point says to items, in their order."""
    asked = [*items, compressor] if compressor else [*items]
    subjects = subjects_today(asked)
    air = subjects[compressor.pk] if compressor else None
    past = facts_by_item(item.pk for item in items)
    return [
        Answer(
            item.tag,
            item,
            may_fill(subjects[item.pk], air, wanted_bar),
            charge_state(
                filled_on((task, day, outcome) for task, day, outcome, *_ in past.get(item.pk, ())),
                subjects[item.pk].owed,
                subjects[item.pk].today,
            ),
            stamped=stamped_lines(subjects[item.pk].owed),
        )
        for item in items
    ]


def sources(site: Site | None) -> list[Source]:
    """Return the compressors, those of a site first, each with its air test."""
    items = list(_with_names().filter(type__kind=Kind.COMPRESSOR).order_by("tag"))
    items.sort(key=lambda item: site is None or item.site_id != site.pk)
    subjects = subjects_today(items)
    return [Source(item, subjects[item.pk]) for item in items]


def source_of(compressor: Item) -> Source:
    """Return a compressor with its air test as it stands today."""
    return Source(compressor, subjects_today([compressor])[compressor.pk])


def compressor_with(pk: object) -> Item | None:
    """Return the compressor with an id, or None where that is none (any more)."""
    if not isinstance(pk, int):
        return None
    return _with_names().filter(pk=pk, type__kind=Kind.COMPRESSOR).first()


def items_again(items: Sequence[Item]) -> dict[int, Item]:
    """Return the same items as they stand in the register now, by id."""
    return _with_names().in_bulk([item.pk for item in items])


def _with_names() -> QuerySet[Item]:
    return Item.objects.select_related("type", "site")


def _owed(row: StoredObligation | StoredBar, entered_on: date | None) -> Owed:
    jurisdiction = row.rule.table.jurisdiction
    return owed_by_rule(row.owed, row.rule.rule, jurisdiction, entered_on)


def _subject(item: Item, span: DueSpan | None, owed: tuple[Owed, ...]) -> Subject:
    return Subject(
        tag=item.tag,
        kind=item.type.kind,
        today=today_in(item.site.timezone),
        standing=StandingWord(span.standing) if span else None,
        since_on=span.since_on if span else None,
        failed_task=span.task if span else "",
        owed=owed,
        working_pressure_bar=item.working_pressure_bar,
        test_pressure_bar=item.test_pressure_bar,
        for_oxygen=OXYGEN in item.marks,
    )

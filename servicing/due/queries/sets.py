"""Sets with what they and their parts owe: one as of any day, or all of them today."""

from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import F, Q, QuerySet, Window
from django.db.models.functions import RowNumber

from registry.items.models import Item, ItemType
from registry.items.pure import Kind
from registry.items.queries import whereabouts
from registry.sets.models import Fitting
from registry.sets.pure.places import CYLINDERS, Place
from registry.sets.pure.steps import AFTERWARDS
from registry.sets.queries import Assembled, assembled, troubled
from registry.sites.clock import today_anywhere, today_in
from registry.sites.models import Site
from registry.sites.queries import TreeRow, sites_meant, tree_rows, with_sites_above
from registry.wording.pure.dates import day_words
from servicing.away.pure import Away
from servicing.away.queries import all_away, away_on
from servicing.due.models import OWED, DueSpan, StoredBar, StoredObligation, holding
from servicing.due.pure import obligations as engine
from servicing.due.pure.charge import filled_on
from servicing.due.pure.obligations import Standing, StandingWord
from servicing.due.pure.owed import Owed, owed_of, worst_first
from servicing.due.pure.readiness import INCOMPLETE, WORST, Member, Readiness, readiness
from servicing.due.pure.sheet import Stamp, stamp_of, worst_stamps
from servicing.due.queries.doubts import Doubt, Doubtful, doubt_words, in_doubt
from servicing.due.queries.engine import NotKnownThen, engine_input
from servicing.due.queries.rows import today_q
from servicing.ledger.queries.records import facts_by_item

LEAK_CHECKS = frozenset({"tightness-test", "functional-test"})
FEW = 500
"""So many items are asked for by their ids; more as all that are sets or fitted."""
_FINE = Standing(StandingWord.IN_SERVICE)


@dataclass(frozen=True, slots=True)
class PartLine:
    """A part as the set's page and paper show it: where, what, and the task to speak of.

    first: what decides its state, where it is in service and here.
    """

    place: Place
    fitting: Fitting
    item: Item
    state: str
    reason: str
    first: Stamp | None

    @property
    def badness(self) -> int:
        """How bad its state is; the worst is the least."""
        return WORST.index(self.state)


@dataclass(frozen=True, slots=True)
class SetSheet:
    """A set on a day: ready or not, its parts by their clocks, and what is said beside.

    own: the set itself. parts: the worst first. remarks: the charge, and a leak
    check that is owed. doubts: what is in doubt of the set itself. tables: the rule tables
    behind its dates.
    """

    on: date
    assembled: Assembled
    readiness: Readiness
    own: Member
    parts: tuple[PartLine, ...]
    remarks: tuple[str, ...]
    doubts: tuple[tuple[Doubt, Doubtful], ...]
    tables: frozenset[str]

    @property
    def stamps(self) -> tuple[Stamp, ...]:
        """What the set and each part has first; what the first line speaks of comes first."""
        tag, own = self.assembled.set.tag, self.own.first(self.on)
        first = [stamp_of(own, self.on, tag)] if own else []
        return worst_stamps([*first, *(part.first for part in self.parts if part.first)])

    def at(self, place: Place) -> PartLine | None:
        """Return the part in a place, if one is there."""
        return next((part for part in self.parts if part.place is place), None)


@dataclass(frozen=True, slots=True)
class SetRow:
    """A set as a list shows it today."""

    item: Item
    readiness: Readiness
    first: Owed | None
    parts: int


@dataclass(frozen=True, slots=True)
class ReadySets:
    """How many sets are ready today, of how many: at a site, or at it and all below."""

    at: TreeRow
    ready: int
    sets: int

    @property
    def least(self) -> int | None:
        """The site's least number of ready sets, which counts those below it as well."""
        return None if self.at.alone else self.at.site.least_ready

    @property
    def short(self) -> bool:
        """Whether the site can't turn out: fewer are ready than its least number."""
        return self.least is not None and self.ready < self.least

    @property
    def word(self) -> str:
        """How it stands, in words."""
        if self.least is None:
            return "" if self.at.alone else "no least number"
        return "can't turn out" if self.short else "can turn out"


@dataclass(frozen=True, slots=True)
class Gone:
    """A part that is not where its set is. fault: the same in a sentence that names it."""

    words: str
    fault: str


def set_sheet(
    set_item: Item, on: date, known_by: datetime | None = None, *, on_paper: bool = False
) -> SetSheet:
    """Return a set as it was at the end of a day, and as it was known at a moment.

    on_paper: the words are read later too, so that they name days and no "today".
    Raises NotKnownThen where the set was not in the register at that moment.
    """
    whole = assembled(set_item, on, known_by)
    items = [set_item, *(fitting.part for fitting in whole.fitted.values())]
    members: dict[int, Member] = {}
    tables: set[str] = set()
    away = away_on([item.pk for item in items], on, known_by)
    here = today_in(set_item.site.timezone)
    now, today = known_by is None and on >= here, None if on_paper else here
    where = {item.pk: item.site for item in items} if now else whereabouts(items, on, known_by)
    gone = _gone(set_item, whole.fitted.values(), away, where)
    doubts = in_doubt(Q(item__in=[item.pk for item in items]), on, known_by)
    for item, plain, past, rules in engine_input(items, known_by=known_by):
        standing, owed = engine.situation(plain, past, rules, on)
        doubt = doubt_words(doubts.get(item.pk, ()))
        members[item.pk] = Member(_name(item), standing, owed_of(owed), doubt)
        tables |= {candidate.rule.table for o in owed for candidate in o.candidates}
    if set_item.pk not in members:
        raise NotKnownThen.about(set_item.tag, known_by)
    lacks = [*faults(whole), *(each.fault for each in gone.values())]
    parts = sorted(
        (
            _part_shown(place, fitting, members, gone, on, today=today)
            for place, fitting in whole.fitted.items()
        ),
        key=lambda part: (part.badness, (part.first and part.first.due_on) or date.min),
    )
    return SetSheet(
        on=on,
        assembled=whole,
        readiness=_readiness(set_item, whole.fitted.values(), members, lacks, on, today=today),
        own=members[set_item.pk],
        parts=tuple(parts),
        remarks=tuple(_said(whole, on, known_by)),
        doubts=tuple(doubts.get(set_item.pk, ())),
        tables=frozenset(tables),
    )


def sets_today(
    site: Site | None = None,
    *,
    alone: bool = False,
    only: Collection[int] | None = None,
    on: date | None = None,
) -> list[SetRow]:
    """Return every set with its readiness today, by tag; the number of queries stays flat.

    site, alone: only those at a site and below it, or at it alone. only: the ids of the sets
    that are wanted; None for all. on: a day to come, as it would find them if nothing were
    done until then.
    """
    types, sites = ItemType.objects.in_bulk(), Site.objects.in_bulk()

    def loaded(rows: QuerySet[Item]) -> dict[int, Item]:
        # Thousands of parts share a few types and sites: they are not made anew for each.
        found = {item.pk: item for item in rows.defer("marks")}
        for item in found.values():
            item.type, item.site = types[item.type_id], sites[item.site_id]
        return found

    asked = Item.objects.filter(type__kind=Kind.SET).order_by("tag")
    running = Fitting.objects.open().defer("confirmed").order_by()
    if (meant := sites_meant(site, alone)) is not None:
        asked = asked.filter(site_id__in=meant)
        running = running.filter(set__in=asked.values("pk"))
    if only is not None:
        asked, running = asked.filter(pk__in=only), running.filter(set__in=only)
    sets = loaded(asked)
    parts = loaded(Item.objects.filter(pk__in=running.values("part")))
    fitted: dict[Item, list[Fitting]] = {item: [] for item in sets.values()}
    for fitting in running:
        fitting.set, fitting.part = sets[fitting.set_id], parts[fitting.part_id]
        fitted[fitting.set].append(fitting)
    members = _members_today(fitted, on)
    bad = {whole.set.pk: faults(whole) for whole in troubled(fitted)}
    away = all_away()
    where = {item.pk: item.site for item in (*sets.values(), *parts.values())}
    for set_item, fittings in fitted.items():
        if gone := _gone(set_item, fittings, away, where):
            lacks = (each.fault for each in gone.values())
            bad[set_item.pk] = [*bad.get(set_item.pk, ()), *lacks]
    return [
        _set_row(
            item,
            fittings,
            members,
            bad.get(item.pk, ()),
            on or today_in(item.site.timezone),
        )
        for item, fittings in fitted.items()
    ]


def ready_sets(rows: Iterable[SetRow], within: Collection[int] | None = None) -> list[ReadySets]:
    """Return how many sets are ready at each site that has any, in the order of the tree.

    A site that is asked for ready sets and has none at all has a row too. within: the ids of
    the sites whose sets the rows are; None for all.
    """
    rows = list(rows)
    sets = Counter(row.item.site_id for row in rows)
    ready = Counter(row.item.site_id for row in rows if row.readiness.ready)
    chains = with_sites_above()
    held = {above for site in sets for above in chains[site]}
    asked = Site.objects.exclude(least_ready=None).values_list("pk", flat=True)
    return [
        ReadySets(row, sum(ready[pk] for pk in row.ids), sum(sets[pk] for pk in row.ids))
        for row in tree_rows({*sets, *(pk for pk in asked if pk not in held)})
        if within is None or row.site.pk in within
    ]


def _name(item: Item) -> str:
    kind = item.type.kind
    return item.tag if kind == Kind.SET else f"{kind.replace('-', ' ')} {item.tag}"


def _part_shown(
    place: Place,
    fitting: Fitting,
    members: Mapping[int, Member],
    gone: Mapping[int, Gone],
    on: date,
    *,
    today: date | None,
) -> PartLine:
    member = members.get(fitting.part_id) or _unknown(fitting.part)
    word, reason = member.worst(on, today)
    first = member.first(on)
    if fitting.part_id in gone:
        word, reason = INCOMPLETE, gone[fitting.part_id].words
    dated = stamp_of(first, on, fitting.part.tag) if first else None
    return PartLine(place, fitting, fitting.part, word, reason, dated)


def _unknown(item: Item) -> Member:
    """Return an item that the engine has nothing of: never fine."""
    return Member(_name(item), _FINE, ())


def _readiness(
    item: Item,
    fittings: Iterable[Fitting],
    members: Mapping[int, Member],
    bad: Iterable[str],
    on: date,
    *,
    today: date | None,
) -> Readiness:
    own = members.get(item.pk) or _unknown(item)
    parts = [members.get(f.part_id) or _unknown(f.part) for f in fittings]
    return readiness(own, parts, bad, on, today)


def faults(whole: Assembled) -> list[str]:
    """Return in words what a set lacks and what does not go together in it."""
    empty = [f"the {place.replace('-', ' ')} is missing" for place in whole.missing]
    if len(empty) == len(Place) - 2:
        empty = ["no part is fitted"]
    return [*empty, *(finding.reason.rstrip(".") for finding in whole.refused)]


def _gone(
    set_item: Item, fittings: Iterable[Fitting], away: Mapping[int, Away], where: Mapping[int, Site]
) -> dict[int, Gone]:
    """Return which parts of a set are not where it is, by item id.

    away: what is at a test house. where: the site of each item, of the set as well.
    """
    home = where.get(set_item.pk, set_item.site)
    found: dict[int, Gone] = {}
    for fitting in fittings:
        name, site = _name(fitting.part), where.get(fitting.part_id, fitting.part.site)
        if (gone := away.get(fitting.part_id)) is not None:
            found[fitting.part_id] = Gone(gone.words, f"{name}: {gone.words}")
        elif site.pk != home.pk:
            words = f"at {site.name}, not here"
            found[fitting.part_id] = Gone(words, f"{name} is {words}")
    return found


def _set_row(
    item: Item,
    fittings: Sequence[Fitting],
    members: Mapping[int, Member],
    bad: Iterable[str],
    on: date,
) -> SetRow:
    ids = [item.pk, *(fitting.part_id for fitting in fittings)]
    firsts = [first for pk in ids if pk in members and (first := members[pk].first(on))]
    first = next(iter(worst_first(firsts, on)), None)
    ready = _readiness(item, fittings, members, bad, on, today=on)
    return SetRow(item, ready, first, len(fittings))


def _members_today(fitted: Mapping[Item, Sequence[Fitting]], on: date | None) -> dict[int, Member]:
    """Return sets and their parts with what they owe today, or on a day, from the store.

    Of what is current only the first is fetched, of each that bars as much: nothing else of it
    is shown.
    """
    holds, last = (today_q(), today_anywhere()) if on is None else (holding(on), on)
    items = {f.part_id: f.part for fittings in fitted.values() for f in fittings}
    items |= {item.pk: item for item in fitted}
    standing: dict[int, Standing] = {}
    owed: dict[int, list[Owed]] = defaultdict(list)
    wanted = Q(item__type__kind=Kind.SET) | Q(item__in=Fitting.objects.open().values("part"))
    if len(items) <= FEW:
        wanted = Q(item__in=list(items))
    spans = DueSpan.objects.filter(holds, wanted).exclude(standing=StandingWord.IN_SERVICE)
    for pk, word, since_on, task in spans.values_list("item_id", "standing", "since_on", "task"):
        standing[pk] = Standing(StandingWord(word), since_on, task)
    place = Window(
        RowNumber(),
        partition_by=["item_id", "bars"],
        order_by=[F("due_on").asc(nulls_first=True), "task"],
    )
    rows = StoredObligation.objects.filter(holds, wanted).annotate(place=place)
    not_current = Q(soon_on=None) | Q(soon_on__lte=last)
    rows = rows.filter(Q(place=1) | not_current).order_by()
    behind = StoredBar.objects.filter(holds, wanted, not_current).order_by()
    for answers in (rows, behind):
        for pk, *each in answers.values_list("item_id", *OWED):
            owed[pk].append(Owed(*each))
    doubts = {pk: doubt_words(rows) for pk, rows in in_doubt(wanted).items()}
    return {
        pk: Member(_name(item), standing.get(pk, _FINE), tuple(owed[pk]), doubts.get(pk, ""))
        for pk, item in items.items()
    }


def _said(whole: Assembled, on: date, known_by: datetime | None) -> Iterable[str]:
    """Yield what is said of a set beside its readiness: air, and the leak check."""
    ids = [whole.set.pk, *(fitting.part_id for fitting in whole.fitted.values())]
    facts = facts_by_item(ids, known_by)
    for place in CYLINDERS:
        if (fitting := whole.fitted.get(place)) is not None:
            past = facts.get(fitting.part_id, ())
            filled = filled_on((task, day, outcome) for task, day, outcome, *_ in past if day <= on)
            yield _charge(fitting.part.tag, filled)
    newest = max((whole.fitted[p].fitted_on for p in CYLINDERS if p in whole.fitted), default=None)
    checks = [
        day
        for task, day, outcome, *_ in facts.get(whole.set.pk, ())
        if task in LEAK_CHECKS and outcome == engine.PASS and day <= on
    ]
    if newest is not None and max(checks, default=date.min) < newest:
        went_in = f"No leak check is recorded since the cylinder went in on {day_words(newest)}."
        yield f"{went_in} {AFTERWARDS}"


def _charge(tag: str, filled: date | None) -> str:
    """Say what the ledger knows of a cylinder's charge: a fill that nothing let out since."""
    if filled is None:
        return f"The charge of {tag} is not known: read the gauge."
    return f"{tag} was filled on {day_words(filled)} and no use is recorded since: read the gauge."

"""What lists are held against."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from datetime import date
from types import MappingProxyType

from registry.items.facts import CHOSEN, Fact
from registry.items.models import FormerTag, Item
from registry.lists.pure.fittings import KnownFitting, KnownThing
from registry.lists.pure.problems import Problem
from registry.lists.pure.questions import Held, TypeName
from registry.lists.pure.register import ItemRow
from registry.sets.models import Fitting
from registry.sites.clock import today_in


def known_things(condemned: Mapping[str, date]) -> dict[str, KnownThing]:
    """Return what is registered, by tag. condemned: the days of condemnation, by tag."""
    rows = Item.objects.values_list("tag", "type__kind", "made_on", "site__timezone")
    return {
        tag: KnownThing(kind, made_on, today_in(zone), condemned.get(tag))
        for tag, kind, made_on, zone in rows
    }


def parts_left(file: str, rows: Iterable[ItemRow]) -> list[Problem]:
    """Return the rows of a list of items by which a fitted part and its set would part.

    A set that moves takes its parts along; a row that says otherwise of one is refused, and
    so is one that moves a part alone. What was apart before, and stays so, is no problem.
    """
    listed = {row.tag: row for row in rows}
    names = ("set__tag", "set__site__code", "part__tag", "part__site__code")
    problems = []
    for whole, home, part, site in Fitting.objects.open().values_list(*names):
        row, goes = listed.get(part), listed[whole].site if whole in listed else home
        if row is not None and row.site != goes and (site, home) != (row.site, goes):
            remedy = (
                f"is not where its set {whole} is, {goes}; write {goes}, or take it out of the "
                "set first"
            )
            problems.append(Problem(file, row.line, "site", row.site, remedy))
    return problems


def held_for_questions(words: Mapping[str, Collection[str]] = MappingProxyType({})) -> Held:
    """Return what the register holds that new rows of a list are asked about.

    words: by fact, those that rules go by.
    """
    lives: dict[TypeName, list[int]] = defaultdict(list)
    rows = Item.objects.exclude(design_life_years=None).order_by()
    names = ("type__kind", "type__maker", "type__model")
    for kind, maker, model, years in rows.values_list(*names, "design_life_years").distinct():
        if years is not None:
            lives[kind, maker, model].append(years)
    return Held(
        tags=list(Item.objects.values_list("tag", flat=True)),
        former=dict(FormerTag.objects.values_list("tag", "item__tag")),
        lives=lives,
        words={fact.name: {*words.get(fact.name, ()), *_words_held(fact)} for fact in CHOSEN},
    )


def _words_held(fact: Fact) -> set[str]:
    """Return the words of a fact that stand in the register."""
    held = Item.objects.order_by().values_list(fact.name, flat=True).distinct()
    return {word for value in held for word in fact.words_of(value)}


def known_fittings() -> list[KnownFitting]:
    """Return every fitting of the register."""
    rows = Fitting.objects.values_list("set__tag", "part__tag", "place", "fitted_on", "removed_on")
    return [KnownFitting(*row) for row in rows]

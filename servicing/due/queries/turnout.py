"""How many sets a station could turn out with, and what a change would take from it."""

from collections.abc import Collection, Container, Iterable, Iterator
from datetime import date

from registry.items.models import Item
from registry.items.pure import Kind
from registry.sets.models import Fitting
from registry.sites.queries import in_tree_order, with_sites_above
from servicing.due.pure.turnout import Shortfall, Station, Stood, ready_at, shortfall
from servicing.due.queries.sets import sets_today


def sets_with(item_ids: Iterable[int]) -> set[int]:
    """Return the ids of the sets that are among some items, or that have one fitted now."""
    ids = list(item_ids)
    sets = Item.objects.filter(pk__in=ids, type__kind=Kind.SET).order_by()
    fitted = Fitting.objects.open().filter(part_id__in=ids).order_by()
    return {*sets.values_list("pk", flat=True), *fitted.values_list("set_id", flat=True)}


def sets_listed(tags: Container[str]) -> set[int]:
    """Return what `sets_with` does for the items of a list, which may name the whole register."""
    sets = Item.objects.filter(type__kind=Kind.SET).order_by().values_list("tag", "pk")
    fitted = Fitting.objects.open().order_by().values_list("part__tag", "set_id")
    return {pk for tag, pk in (*sets, *fitted) if tag in tags}


def sets_stood(only: Collection[int] | None = None, on: date | None = None) -> dict[int, Stood]:
    """Return sets as they stand, by id: all of them or some; today or on a later day."""
    return {
        row.item.pk: Stood(
            row.item.tag, row.item.site_id, row.readiness.ready, row.readiness.sentence
        )
        for row in sets_today(only=only, on=on)
    }


def stations() -> list[Station]:
    """Return the sites with a least number of ready sets, in the order of the tree."""
    below: dict[int, set[int]] = {}
    for site, chain in with_sites_above().items():
        for above in chain:
            below.setdefault(above, set()).add(site)
    return [
        Station(site.code, site.name, site.least_ready, frozenset(below[site.pk]))
        for _, site in in_tree_order()
        if site.least_ready is not None
    ]


def fallen_since(
    before: dict[int, Stood], only: Collection[int] | None = None, on: date | None = None
) -> Shortfall:
    """Return what a change took from the stations that has been made since.

    before: the sets that it can touch, as `sets_stood` gave them; `only` and `on` as then.
    The other sets of the stations are counted only where one of these was lost.
    """
    after = sets_stood(only, on)
    touched = shortfall(before, after, ())
    moved = {pk for pk, stood in before.items() if pk in after and after[pk].site != stood.site}
    if not touched.stops and not moved:
        return touched
    concerned = [
        each
        for each in stations()
        if ready_at(each, after.values()) < ready_at(each, before.values())
    ]
    if only is None or not concerned:
        return shortfall(before, after, concerned)
    others = sets_stood(set(_sets_at(concerned)) - before.keys(), on)
    return shortfall({**others, **before}, {**others, **after}, concerned)


def _sets_at(concerned: Iterable[Station]) -> Iterator[int]:
    sites = {site for station in concerned for site in station.sites}
    sets = Item.objects.filter(type__kind=Kind.SET, site_id__in=sites).order_by()
    yield from sets.values_list("pk", flat=True)

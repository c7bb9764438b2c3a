"""What is known of an item as far as it decides which steps of a procedure apply to it."""

from collections.abc import Collection
from datetime import date

from registry.items.models import Item
from registry.items.pure import Kind
from registry.sets.models import Fitting
from registry.sets.pure.places import Place
from registry.sets.queries import around
from registry.sites.models import Site
from servicing.bench.pure.applying import Facts
from servicing.rules.queries import tables_adopted

BREATHED_FROM = (Place.DEMAND_VALVE, Place.MASK)
Adopted = dict[tuple[int, date], frozenset[str]]
"""The tables that sites follow, by site and day, as looked up before."""


def facts_of(item: Item, on: date, asked: Collection[str], adopted: Adopted | None = None) -> Facts:
    """Return what is known of an item on a day: the facts that are asked for and stated.

    A set breathes as the demand valve and the mask do that are fitted to it; where they
    differ nobody knows. adopted: tables looked up before, for many items.
    """
    found = {"kind": frozenset({item.kind})}
    if item.construction:
        found["construction"] = frozenset({item.construction})
    if "tables" in asked:
        found["tables"] = tables_at(item.site, on, adopted)
    whole = item.kind in (Kind.SET, Kind.FRAME)
    fitted = around(item, on)[1] if whole and {"fitted", "breathing"} & set(asked) else []
    if whole:
        found["fitted"] = frozenset(each.place for each in fitted)
    if breathing := _breathing(item, fitted):
        found["breathing"] = frozenset({breathing})
    return found


def tables_at(site: Site, on: date, adopted: Adopted | None = None) -> frozenset[str]:
    """Return the rule tables that a site follows on a day."""
    known = {} if adopted is None else adopted
    if (site.pk, on) not in known:
        known[site.pk, on] = tables_adopted(site, on)
    return known[site.pk, on]


def _breathing(item: Item, fitted: list[Fitting]) -> str:
    """Return how an item is breathed from; nothing where that is not stated, or not one thing."""
    types = [each.part.type for each in fitted if each.place in BREATHED_FROM]
    stated = {named.breathing for named in types or [item.type]} - {""}
    return stated.pop() if len(stated) == 1 else ""

"""What lists are held against."""

from collections.abc import Mapping
from datetime import date

from registry.items.models import Item
from registry.lists.pure.fittings import KnownFitting, KnownThing
from registry.sets.models import Fitting
from registry.sites.clock import today_in


def known_things(condemned: Mapping[str, date]) -> dict[str, KnownThing]:
    """Return what is registered, by tag. condemned: the days of condemnation, by tag."""
    rows = Item.objects.values_list("tag", "type__kind", "made_on", "site__timezone")
    return {
        tag: KnownThing(kind, made_on, today_in(zone), condemned.get(tag))
        for tag, kind, made_on, zone in rows
    }


def known_fittings() -> list[KnownFitting]:
    """Return every fitting of the register."""
    rows = Fitting.objects.values_list("set__tag", "part__tag", "place", "fitted_on", "removed_on")
    return [KnownFitting(*row) for row in rows]

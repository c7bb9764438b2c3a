"""Two sets and parts for them, approved by the type; no rule tables."""

from datetime import date
from decimal import Decimal

import pytest

from registry.items.models import Item
from registry.sets.actions import fit_part
from registry.sets.models import Fitting
from registry.sites.clock import now
from registry.sites.models import Site
from tests.people import approve, make_item, state

DAY = date(2026, 3, 10)


def part(
    site: Site, tag: str, kind: str = "mask", mass_kg: str | None = "0.6", **known: object
) -> Item:
    """Register a part of the type that all of its kind here share, with its mass stated."""
    item = make_item(site, tag, kind, model=f"{kind} model", **known)
    return state(item, mass_kg=Decimal("0.6"))


def fitted(set_item: Item, item: Item, on: date = DAY, **more: object) -> Fitting:
    """Fit a part, by a form of its own unless a key is given."""
    key = str(more.pop("key", f"{set_item.tag}-{item.tag}-{on}-{Fitting.objects.count()}"))
    return fit_part(
        set_item=set_item,
        part=item,
        on=on,
        by=None,
        at=now(),
        entry_key=key,
        **more,  # type: ignore[arg-type]
    )


@pytest.fixture
def workshop(db: None) -> Site:
    return Site.objects.create(code="WS", name="Workshop", timezone="Europe/Vienna")


@pytest.fixture
def masks(workshop: Site) -> list[Item]:
    return [part(workshop, f"M00{n}") for n in range(1, 4)]


@pytest.fixture
def sets(workshop: Site, masks: list[Item]) -> list[Item]:
    """Two sets of one type, which approves the masks."""
    found = [make_item(workshop, f"S00{n}", "set", model="Ravine") for n in (1, 2)]
    approve(found[0], masks[0])
    return found

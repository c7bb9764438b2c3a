"""What the commands are tried on."""

from datetime import date
from pathlib import Path

import pytest

from registry.items.models import Item
from registry.sites.models import Site
from tests.people import make_item
from tests.worlds import world_fixture


@world_fixture
def fleet(mask: Item, valley: Site) -> Item:
    """A mask and a nameless cylinder at the station, another cylinder above it."""
    make_item(
        mask.site, "C-2", "cylinder", made_on=date(2019, 5, 1), construction="type-1", serial="2"
    )
    make_item(valley, "C-1", "cylinder", construction="type-1", serial="1")
    return mask


@pytest.fixture
def sets(mask: Item) -> Path:
    """A set and a frame beside the mask; a list of two fittings of the past and one of now."""
    for tag, kind in (("S001", "set"), ("F001", "frame")):
        make_item(mask.site, tag, kind, made_on=date(2021, 5, 1))
    return Path("fittings.csv")

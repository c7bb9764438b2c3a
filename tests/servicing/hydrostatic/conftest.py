"""Three cylinders, and a consignment in which they are away."""

from django.contrib.auth.models import User

from registry.items.models import Item
from registry.sites.models import Site
from servicing.away.models import Consignment
from tests.servicing.hydrostatic.away import (
    cylinder,
    sent_away,
)
from tests.worlds import world_fixture


@world_fixture
def fleet(station: Site) -> list[Item]:
    return [cylinder(station, f"{number:05d}") for number in range(1, 4)]


@world_fixture
def away(station: Site, fleet: list[Item], technician: User) -> Consignment:
    """Three cylinders that left ten days ago."""
    return sent_away(station, fleet, technician)

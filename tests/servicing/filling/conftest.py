"""A filling point: a cylinder that may be filled, and a compressor with good air."""

from dataclasses import dataclass
from decimal import Decimal

from django.contrib.auth.models import User
from django.test import Client

from registry.items.models import Item
from registry.sites.models import Site
from servicing.filling.actions import GaugeReading
from tests.people import make_filling_point, signed_in
from tests.worlds import world_fixture

FULL = GaugeReading(Decimal(300), Decimal(15))
KEY = "k" * 32


@dataclass(frozen=True)
class Point:
    """Where a technician fills."""

    site: Site
    cylinder: Item
    compressor: Item
    technician: User

    def client(self) -> Client:
        """Return the technician's client, the compressor chosen."""
        client = signed_in(self.technician)
        client.post("/filling/compressor/", {"compressor": self.compressor.pk})
        return client


@world_fixture
def point(station: Site, technician: User) -> Point:
    cylinder, compressor = make_filling_point(station, technician)
    return Point(station, cylinder, compressor, technician)

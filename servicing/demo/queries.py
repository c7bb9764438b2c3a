"""Whether the register holds the demo, and the day that it is made for."""

from datetime import date

from django.contrib.auth.models import User

from registry.items.models import Item
from registry.people.pure import DEMO_PREFIX
from registry.sites.clock import today_at
from registry.sites.models import Site


class NotTheDemo(ValueError):
    """The register holds a fleet that is not the demo's; the demo would spoil it."""


def is_demo() -> bool:
    """Say whether the register holds the demo already. Raises NotTheDemo for another fleet."""
    demo = User.objects.filter(username__startswith=DEMO_PREFIX).exists()
    if not demo and any(kept.objects.exists() for kept in (Site, Item, User)):
        raise NotTheDemo(
            "This database holds a fleet of its own; the demo needs an empty one. Set "
            "NECKRING_DATA_DIR to another folder, or DATABASE_URL to another database."
        )
    return demo


def demo_day() -> date:
    """Return the day the demo is made for: the earliest that is today somewhere on earth.

    So nothing in it lies in the future of any of its sites.
    """
    return today_at(Site(timezone="Etc/GMT+12"))

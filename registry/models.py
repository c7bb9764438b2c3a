"""Where Django looks for the models; they live with their subjects."""

from registry.items.models import Item, ItemType
from registry.people.models import Posting
from registry.sites.models import Site

__all__ = ["Item", "ItemType", "Posting", "Site"]

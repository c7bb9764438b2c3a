"""Where Django looks for the models; they live with their subjects."""

from registry.items.models import Item, ItemType, ItemVersion
from registry.people.models import Posting
from registry.sites.models import Site, SiteVersion
from registry.trail.models import TrailEntry

__all__ = ["Item", "ItemType", "ItemVersion", "Posting", "Site", "SiteVersion", "TrailEntry"]

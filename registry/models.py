"""Where Django looks for the models; they live with their subjects."""

from registry.items.models import FormerTag, Item, ItemType, ItemTypeVersion, ItemVersion
from registry.people.models import Authorisation, PersonVersion, Posting, Tries
from registry.sets.models import Fitting
from registry.sites.models import Site, SiteVersion
from registry.trail.models import TrailEntry

__all__ = [
    "Authorisation",
    "Fitting",
    "FormerTag",
    "Item",
    "ItemType",
    "ItemTypeVersion",
    "ItemVersion",
    "PersonVersion",
    "Posting",
    "Site",
    "SiteVersion",
    "TrailEntry",
    "Tries",
]

"""Writing one item, the only way outside of lists."""

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any

from registry.items.models import Item, ItemType, ItemVersion
from registry.sites.models import Site

ATTRIBUTES = (
    *("serial", "made_on", "made_to_month", "in_service_on", "connection", "size"),
    *("working_pressure_bar", "specification", "construction", "fibre", "marks"),
    *("water_capacity_l", "test_pressure_bar", "tare_kg", "ree_ml", "design_life_years"),
)


def write_item(
    item: Item,
    *,
    tag: str,
    kind: str,
    maker: str,
    model: str,
    site: Site,
    attributes: Mapping[str, Any],
    at: datetime,
) -> Item:
    """Set everything that is known of an item and save it; a new type is made where needed.

    attributes: values for ATTRIBUTES, with units as in their names. at: the moment from
    which it is known. Due dates are not touched: `servicing.due.actions.register` does
    both. Raises ValidationError where tag or (maker, serial) is taken or a value can't be.
    """
    item.type, _ = ItemType.objects.get_or_create(kind=kind, maker=maker, model=model)
    item.tag, item.maker, item.site = tag, maker, site
    for name in ATTRIBUTES:
        setattr(item, name, attributes[name])
    item.full_clean()
    item.save()
    keep_versions([item], at=at)
    return item


def keep_versions(items: Iterable[Item], *, at: datetime) -> None:
    """Keep what is known of items from this moment on. Their types must be loaded."""
    ItemVersion.objects.bulk_create(
        ItemVersion(item=item, known_from=at, known=item.known()) for item in items
    )

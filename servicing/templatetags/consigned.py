"""Where a cylinder is while it is at a test house."""

from django import template

from registry.items.models import Item
from servicing.hydrostatic.models import Consignment
from servicing.hydrostatic.queries import away_in

register = template.Library()


@register.simple_tag
def consignment_holding(item: Item) -> Consignment | None:
    """Return the consignment a cylinder is in; None for what is at home or no cylinder."""
    return away_in(item) if item.type.kind == "cylinder" else None

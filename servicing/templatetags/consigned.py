"""Where a cylinder is while it is at a test house."""

from django import template

from registry.items.models import Item
from servicing.away.models import Consigned
from servicing.away.queries import holding

register = template.Library()


@register.simple_tag
def consignment_holding(item: Item) -> Consigned | None:
    """Return a cylinder's place in the consignment it is in; None at home or for no cylinder."""
    return holding(item) if item.type.kind == "cylinder" else None

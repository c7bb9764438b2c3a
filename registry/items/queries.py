"""Finding items by what is written on them."""

from django.db.models import Q

from registry.items.models import Item

NEAR = 12


def items_marked(text: str) -> list[Item]:
    """Return the item with exactly this tag, else those with exactly this serial."""
    items = Item.objects.select_related("type", "site")
    by_tag = list(items.filter(tag=text))
    return by_tag or list(items.filter(serial=text)[:NEAR])


def near_marks(text: str) -> list[Item]:
    """Return items whose tag or serial comes near: other zeros in front, other case, a part."""
    bare = text.lstrip("0") or text
    near = Q(tag__iexact=text) | Q(tag__icontains=bare) | Q(serial__icontains=bare)
    return list(Item.objects.select_related("type", "site").filter(near).order_by("tag")[:NEAR])

"""Finding items by what is written on them."""

from collections.abc import Iterable
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.db.models import Q

from registry.items.models import KNOWN, Item, ItemType, ItemTypeVersion, ItemVersion
from registry.items.pure import MeasuringRange, Serving
from registry.sites.models import Site
from registry.sites.queries import sites_as_known

NEAR = 12


def items_marked(text: str) -> list[Item]:
    """Return the item with exactly this tag, else those with exactly this serial."""
    items = Item.objects.select_related("type", "site")
    by_tag = list(items.filter(tag=text))
    return by_tag or list(items.filter(serial=text)[:NEAR])


def near_marks(text: str) -> list[Item]:
    """Return items whose tag or serial comes near: other zeros in front, other case, a part."""
    bare = text.lstrip("0") or text
    near = Q(tag__icontains=bare) | Q(serial__icontains=bare)
    return list(Item.objects.select_related("type", "site").filter(near).order_by("tag")[:NEAR])


def items_tagged(tags: Iterable[str]) -> dict[str, Item]:
    """Return the items with exactly these tags, by tag; what no item carries is left out."""
    wanted = [tag for tag in tags if tag.isprintable()]
    found = Item.objects.select_related("type", "site").filter(tag__in=wanted)
    return {item.tag: item for item in found}


def as_told(item: Item) -> dict[str, Any]:
    """Return all that is known of an item as the trail tells it.

    Its site by the code; numbers without the places that a column adds.
    """
    values = ((name, getattr(item, name)) for name in KNOWN)
    numbers = {n: format(v.normalize(), "f") for n, v in values if isinstance(v, Decimal)}
    return {**item.known(), **numbers, "site": item.site.code}


def as_stored(item: Item) -> dict[str, Any] | None:
    """Return what the register holds of an item, as the trail tells it; None where nothing."""
    held = Item.objects.select_related("type", "site").filter(pk=item.pk).first()
    return None if held is None else as_told(held)


def as_known(items: Iterable[Item], known_by: datetime) -> list[Item]:
    """Return items as they were known at a moment, unsaved; those unknown then are left out.

    Their sites are called as they were called then, and stand where they stood.
    """
    now = {item.pk: item for item in items}
    rows = ItemVersion.objects.filter(known_from__lte=known_by).order_by("known_from", "pk")
    latest = dict(rows.filter(item__in=now).values_list("item_id", "known"))
    sites = sites_as_known(known_by)
    return [_rebuilt(pk, latest[pk], sites) for pk in now if pk in latest]


def versions_of(item_ids: Iterable[int]) -> dict[int, list[tuple[datetime, dict[str, Any]]]]:
    """Return what was known of items from which moment on, in order, by item id."""
    found: dict[int, list[tuple[datetime, dict[str, Any]]]] = {}
    rows = ItemVersion.objects.filter(item__in=list(item_ids)).order_by("known_from", "pk")
    for item_id, since, known in rows.values_list("item_id", "known_from", "known"):
        found.setdefault(item_id, []).append((since, known))
    return found


def register_was_empty(known_by: datetime | None) -> bool:
    """Say whether no item at all was known at a moment; an answer of then means nothing."""
    return (
        known_by is not None and not ItemVersion.objects.filter(known_from__lte=known_by).exists()
    )


def types_stated(type_ids: Iterable[int], known_by: datetime | None) -> dict[int, dict[str, Any]]:
    """Return what is stated of types, by id, in the form of `ItemType.facts`.

    known_by: as it was stated at that moment; a type of which nothing was is left out.
    """
    if known_by is None:
        types = ItemType.objects.filter(pk__in=set(type_ids)).prefetch_related("approved")
        return {named.pk: named.facts() for named in types}
    rows = ItemTypeVersion.objects.filter(type__in=set(type_ids), known_from__lte=known_by)
    return dict(rows.order_by("known_from", "pk").values_list("type_id", "known"))


def serving_known(item: Item, known_by: datetime | None) -> Serving:
    """Return what an instrument's type served as, as it was described at a moment or now."""
    type_id = Item.objects.values_list("type_id", flat=True).get(pk=item.pk)
    stated = types_stated({type_id}, known_by).get(type_id, {})
    ranges = tuple(MeasuringRange.from_json(each) for each in stated.get("ranges", ()))
    return Serving(tuple(stated.get("serves_as", ())), ranges)


def _rebuilt(pk: int, known: dict[str, Any], sites: dict[int, Site]) -> Item:
    fields = {name: _from_json(name, known[name]) for name in KNOWN}
    named = ItemType(kind=known["kind"], maker=known["maker"], model=known["model"])
    return Item(pk=pk, type=named, site=sites[known["site"]], **fields)


def _from_json(name: str, value: Any) -> Any:
    if not isinstance(value, str):
        return value
    if name in ("made_on", "in_service_on"):
        return date.fromisoformat(value)
    numbers = ("working_pressure_bar", "water_capacity_l", "test_pressure_bar", "tare_kg", "ree_ml")
    return Decimal(value) if name in numbers else value

"""Writing one item, the only way outside of lists."""

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any

from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.db import transaction

from registry.items.facts import ATTRIBUTES
from registry.items.models import (
    SERVING_FACTS,
    TYPE_FACTS,
    FormerTag,
    Item,
    ItemType,
    ItemTypeVersion,
    ItemVersion,
)
from registry.items.pure import Kind, Serving
from registry.items.queries import as_stored, as_told
from registry.people.actions.rights import only
from registry.people.pure import Right
from registry.sites.models import Site
from registry.trail.actions import Noted, note
from registry.trail.pure import differences


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

    attributes: values for `facts.ATTRIBUTES`, with units as in their names. at: the moment from
    which it is known; where nothing changes, no version is kept. Due dates are not touched:
    `servicing.due.actions.register` does both. Raises ValidationError where tag or (maker,
    serial) is taken or a value can't be.
    """
    held = as_stored(item)
    keep_former_tag(item, tag, at=at)
    item.type, _ = ItemType.objects.get_or_create(kind=kind, maker=maker, model=model)
    item.tag, item.maker, item.site = tag, maker, site
    for name in ATTRIBUTES:
        setattr(item, name, attributes[name])
    item.full_clean()
    item.save()
    if as_told(item) != held:
        keep_versions([item], at=at)
    return item


def keep_former_tag(item: Item, tag: str, *, at: datetime) -> None:
    """Keep the tag that an item carries now as a former one, where it gets another."""
    held = Item.objects.filter(pk=item.pk).values_list("tag", flat=True).first()
    if held is not None and held != tag:
        FormerTag.objects.create(item=item, tag=held, replaced_at=at)


def move_items(items: Iterable[Item], site: Site, *, at: datetime, why: str) -> list[Noted]:
    """Move items to a site and return the trail's notes of those that were elsewhere.

    Their types and sites must be loaded. Due dates are not touched.
    """
    moved = [item for item in items if item.site_id != site.pk]
    notes = []
    for item in moved:
        notes.append(Noted("item", item.tag, {"site": item.site.code}, {"site": site.code}, why))
        item.site = site
        item.save(update_fields=["site"])
    keep_versions(moved, at=at)
    return notes


def keep_versions(items: Iterable[Item], *, at: datetime) -> None:
    """Keep what is known of items from this moment on. Their types must be loaded."""
    ItemVersion.objects.bulk_create(
        ItemVersion(item=item, known_from=at, known=item.known()) for item in items
    )


@only(Right.RECORD)
@transaction.atomic
def state_type(
    named: ItemType,
    *,
    facts: Mapping[str, Any],
    approved: Iterable[ItemType] = (),
    by: User | None,
    at: datetime,
    why: str = "",
) -> ItemType:
    """Set what is stated of a type: what its items fit, what they weigh, what they approve.

    facts: values for TYPE_FACTS, with units as in their names. approved: of a set's type,
    the types of part that its maker approves. The trail keeps before and after; the same
    facts again change nothing. Raises ValidationError where a value can't be.
    """
    named = ItemType.objects.select_for_update().get(pk=named.pk)
    before, wanted = named.facts(), sorted({kind.pk for kind in approved})
    if wanted and named.kind != Kind.SET:
        raise ValidationError("Only the type of a set lists approved parts.")
    for name in TYPE_FACTS:
        setattr(named, name, facts[name])
    named.full_clean()
    named.save(update_fields=TYPE_FACTS)
    named.approved.set(wanted)
    return _keep_type(named.pk, before, by=by, at=at, why=why)


@only(Right.MANAGE)
@transaction.atomic
def state_serving(
    named: ItemType, *, serving: Serving, by: User | None, at: datetime, why: str = ""
) -> ItemType:
    """Set what an instrument's type serves as, and how far it shows.

    The words are the procedures'; whoever calls knows them. The trail keeps before and
    after; the same again changes nothing. Raises ValidationError where it is the type of no
    instrument. Records already made keep what it served as then.
    """
    named = ItemType.objects.select_for_update().get(pk=named.pk)
    if named.kind != Kind.INSTRUMENT:
        raise ValidationError("Only the type of an instrument says what it serves as.")
    before = named.facts()
    named.serves_as = list(dict.fromkeys(serving.serves_as))
    named.ranges = [each.as_json() for each in serving.ranges]
    named.save(update_fields=SERVING_FACTS)
    return _keep_type(named.pk, before, by=by, at=at, why=why)


def _keep_type(
    pk: int, before: dict[str, Any], *, by: User | None, at: datetime, why: str
) -> ItemType:
    """Return a type as stored; where it changed, a version and the trail keep that."""
    named = ItemType.objects.get(pk=pk)
    if (after := named.facts()) != before:
        ItemTypeVersion.objects.create(type=named, known_from=at, known=after)
        was, becomes = differences(before, after)
        subject = f"{named.kind} {named}"[:250]
        note(what="type", subject=subject, before=was, after=becomes, why=why, by=by, at=at)
    return named

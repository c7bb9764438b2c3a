"""Finding items by what is written on them."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import Count, Min, Q

from registry.items.facts import ATTRIBUTES, revived, whole_version
from registry.items.models import FormerTag, Item, ItemType, ItemTypeVersion, ItemVersion
from registry.items.pure import MeasuringRange, Serving
from registry.scanning.pure import likeness
from registry.scanning.pure.code import Scan, read_code
from registry.scanning.pure.layouts import layout_guesses
from registry.sites.models import Site
from registry.sites.queries import sites_as_known
from registry.wording.pure.dates import day_words

NEAR = 12
"""So many items are offered at the most."""


@dataclass(frozen=True, slots=True)
class Meant:
    """An item that may be meant by a code that names none. It is offered and never taken.

    because: why it may be meant, in words. by_layout: the scanner would be set wrong.
    """

    item: Item
    because: str
    by_layout: bool = False


@dataclass(frozen=True, slots=True)
class Named:
    """What a scanned or typed text names.

    items: the item it names, or several that have it as their serial. meant: where it names
    nothing, the items that may be meant, the likeliest first.
    """

    scan: Scan
    items: tuple[Item, ...] = ()
    meant: tuple[Meant, ...] = ()

    @property
    def item(self) -> Item | None:
        """The one item it names; None for none or several."""
        return self.items[0] if len(self.items) == 1 else None

    @property
    def why_none(self) -> str:
        """Why it names no one item, in a sentence; what is offered stands in it."""
        text = self.scan.text[:80] if self.scan.is_printable else "that was scanned"
        if self.items:
            return f"{len(self.items)} items have the serial {text}; scan the tag."
        if not self.meant:
            return f"Nothing carries the mark {text}; scan it again."
        offered = " or ".join(each.item.tag for each in self.meant[:3])
        return f"Nothing carries the mark {text}. Did you mean {offered}?"


def named_by(text: str) -> Named:
    """Return the item that a scanned or typed text names, or those that may be meant.

    Only a mark that the code itself gives is followed, character by character. Every place
    that takes a tag asks here, so that each offers the same.
    """
    scan = read_code(text)
    found = next((found for mark in scan.marks if (found := items_marked(mark))), [])
    return Named(scan, tuple(found)) if found else Named(scan, (), tuple(_meant(scan)))


def items_marked(text: str) -> list[Item]:
    """Return the item with exactly this tag, else those with exactly this serial."""
    items = Item.objects.select_related("type", "site")
    by_tag = list(items.filter(tag=text))
    by_serial = [] if by_tag else items.filter(serial=text).order_by()[:NEAR]
    return by_tag or sorted(by_serial, key=lambda item: item.tag)


def _meant(scan: Scan) -> list[Meant]:
    """Return the items that may be meant by a code, each once."""
    told = [
        Meant(item, "its serial stands in the code")
        for offer in scan.offers
        for item in items_marked(offer)
    ]
    if scan.text and scan.is_printable and len(scan.text) <= likeness.LONGEST:
        told += [*_formerly(scan.text), *_alike(scan.text), *_by_layout(scan.text)]
    once = {each.item.pk: each for each in reversed(told)}
    return sorted(once.values(), key=told.index)[:NEAR]


def _formerly(text: str) -> list[Meant]:
    """Return the items that carried just this tag, or one like it, until they got another."""
    rows = FormerTag.objects.select_related("item__type", "item__site")
    found = rows.filter(_misread_as(text)).order_by()[:NEAR]
    likely = [row for row in found if likeness.look_alike(text, row.tag)]
    likely.sort(key=lambda row: (row.tag != text, -row.replaced_at.timestamp()))
    return [
        Meant(
            row.item,
            f"the tag {row.tag} was replaced on {_day_at(row.item.site, row.replaced_at)}"
            + (f"; {likeness.difference(text, row.tag)}" if row.tag != text else ""),
        )
        for row in likely
    ]


def tags_like(tag: str) -> list[Meant]:
    """Return the items whose tag may be read for a new one, or that carried such a tag before."""
    told = [
        *(Meant(item, likeness.difference(tag, item.tag)) for item in items_like(tag)),
        *_formerly(tag),
    ]
    return list({each.item.pk: each for each in reversed(told)}.values())[::-1]


def usual_life(*, kind: str, maker: str, model: str, but: Item) -> int | None:
    """Return the design life in years that most items of a type have; None where none has one.

    but: the item that is asked about.
    """
    items = Item.objects.filter(type__kind=kind, type__maker=maker, type__model=model)
    lives = items.exclude(pk=but.pk).exclude(design_life_years=None).order_by()
    counted = lives.values("design_life_years").annotate(number=Count("pk"))
    usual = counted.order_by("-number", "design_life_years").first()
    return usual["design_life_years"] if usual else None


def _alike(text: str) -> list[Meant]:
    """Return the items whose tag or serial may be misread as a text."""
    by_serial = Item.objects.filter(serial_short__in={*likeness.readings(text)} - {""})
    return [
        *(Meant(item, likeness.difference(text, item.tag)) for item in items_like(text)),
        *(
            Meant(item, f"its serial is {item.serial}; {likeness.difference(text, item.serial)}")
            for item in by_serial.select_related("type", "site").order_by()[:NEAR]
        ),
    ]


def items_like(tag: str) -> list[Item]:
    """Return the items whose tag may be read or typed for this one, and is not it."""
    items = Item.objects.select_related("type", "site").filter(_misread_as(tag)).exclude(tag=tag)
    # Not put in order by the database: it would rather go through every tag in order.
    found = [item for item in items.order_by()[:NEAR] if likeness.look_alike(tag, item.tag)]
    return sorted(found, key=lambda item: item.tag)


def _misread_as(text: str) -> Q:
    likely = {*likeness.readings(text)} - {""}
    return Q(tag_short__in=likely) | Q(tag_whole__in=likely)


def _by_layout(text: str) -> list[Meant]:
    """Return the items whose tag it would be under another keyboard layout."""
    guesses = layout_guesses(text)
    tagged = items_tagged(guess.text for guess in guesses)
    fit = (guess for guess in guesses if guess.text in tagged)
    return [Meant(tagged[guess.text], guess.because, by_layout=True) for guess in fit]


def _day_at(site: Site, moment: datetime) -> str:
    local = moment.astimezone(ZoneInfo(site.timezone))
    return day_words(local)


def items_with_part(text: str) -> list[Item]:
    """Return items whose tag or serial holds a text. It reads the whole register."""
    held = Q(tag__icontains=text) | Q(serial__icontains=text)
    return list(Item.objects.select_related("type", "site").filter(held).order_by("tag")[:NEAR])


def items_tagged(tags: Iterable[str]) -> dict[str, Item]:
    """Return the items with exactly these tags, by tag; what no item carries is left out."""
    wanted = [tag for tag in tags if tag.isprintable()]
    found = Item.objects.select_related("type", "site").filter(tag__in=wanted).order_by()
    return {item.tag: item for item in found}


def as_told(item: Item) -> dict[str, Any]:
    """Return all that is known of an item as the trail tells it.

    Its site by the code; numbers without the places that a column adds.
    """
    values = ((name, getattr(item, name)) for name in ATTRIBUTES)
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


def whereabouts(
    items: Iterable[Item], on: date, known_by: datetime | None = None
) -> dict[int, Site]:
    """Return where items were kept at the end of a day, by item id, as known at a moment or now.

    A move is known from the moment it was entered. Before the first that is known of an
    item it counts as kept where it was first registered.
    """
    days: dict[int, list[tuple[date, int]]] = {}
    sites = Site.objects.in_bulk() if known_by is None else sites_as_known(known_by)
    for pk, versions in versions_of(item.pk for item in items).items():
        for since, known in versions:
            if known_by is None or since <= known_by:
                zone = ZoneInfo(sites[known["site"]].timezone)
                days.setdefault(pk, []).append((since.astimezone(zone).date(), known["site"]))
    return {
        pk: sites[next((site for day, site in reversed(moves) if day <= on), moves[0][1])]
        for pk, moves in days.items()
    }


def versions_of(item_ids: Iterable[int]) -> dict[int, list[tuple[datetime, dict[str, Any]]]]:
    """Return what was known of items from which moment on, in order, by item id.

    A fact of today that a version does not have was not known.
    """
    found: dict[int, list[tuple[datetime, dict[str, Any]]]] = {}
    rows = ItemVersion.objects.filter(item__in=list(item_ids)).order_by("known_from", "pk")
    for item_id, since, known in rows.values_list("item_id", "known_from", "known"):
        found.setdefault(item_id, []).append((since, whole_version(known)))
    return found


def entered_on(items: Iterable[Item]) -> dict[int, date]:
    """Return the day on which items came into the register, by id; their sites must be loaded."""
    zones = {item.pk: ZoneInfo(item.site.timezone) for item in items}
    rows = ItemVersion.objects.filter(item__in=zones).order_by().values_list("item_id")
    first = rows.annotate(first=Min("known_from"))
    return {pk: since.astimezone(zones[pk]).date() for pk, since in first}


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
    facts = revived(known)
    named = ItemType(kind=facts["kind"], maker=facts["maker"], model=facts["model"])
    fields = {name: facts[name] for name in ("tag", "maker", *ATTRIBUTES)}
    fields["marks"] = list(facts["marks"])
    return Item(pk=pk, type=named, site=sites[known["site"]], **fields)

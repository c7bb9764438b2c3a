"""Writing a list that was read without a problem. All or nothing is the caller's transaction."""

import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from django.contrib.auth.models import User
from django.db import transaction

from registry.bulk.actions import Progress, as_stored, count_afresh, insert_rows
from registry.items.facts import ATTRIBUTES
from registry.items.models import Item, ItemType, ItemVersion
from registry.items.queries import as_told
from registry.lists.pure.fittings import FittingRow
from registry.lists.pure.register import ItemRow
from registry.lists.pure.sites import SiteRow
from registry.sets.actions import close_row, noted_fitting
from registry.sets.models import Fitting
from registry.sites.actions import keep_versions as keep_site_versions
from registry.sites.models import Site
from registry.trail import actions as trail
from registry.trail.pure import as_text, differences

BATCH = 1000


@dataclass(frozen=True, slots=True)
class Written:
    """How many rows were new, changed, or as they stood; and the ids a date may hang on.

    new_digest: the SHA-256 over what is known of the new items, each as one JSON text as in
    the trail and with a line feed behind it, in the order of the list. changes: each item
    that was changed, for the trail.
    """

    new: int
    changed: int
    same: int
    ids: tuple[int, ...]
    new_digest: str = field(default="", compare=False)
    changes: tuple[trail.Noted, ...] = field(default=(), compare=False)


def write_sites(rows: Sequence[SiteRow], *, at: datetime) -> dict[str, Site]:
    """Make or change sites, in any order of the rows, and return them by code."""
    for row in rows:
        Site.objects.update_or_create(
            code=row.code, defaults={"name": row.name, "timezone": row.timezone}
        )
    sites = {site.code: site for site in Site.objects.all()}
    for row in rows:
        site = sites[row.code]
        site.parent = sites[row.parent] if row.parent else None
        site.save(update_fields=["parent"])
    keep_site_versions([sites[row.code] for row in rows], at=at)
    return sites


def write_register(rows: Sequence[ItemRow], progress: Progress, *, at: datetime) -> Written:
    """Make or change items as a list says; rows that change nothing are left alone."""
    types = _types(rows)
    sites = {site.code: site for site in Site.objects.all()}
    known = {item.tag: item for item in Item.objects.select_related("type", "site")}
    fresh: list[Item] = []
    changed: list[Item] = []
    changes: list[trail.Noted] = []
    for row in rows:
        item = known.get(row.tag)
        if item is None:
            fresh.append(_fill(Item(tag=row.tag), row, types, sites))
        elif not _says(row, item):
            before = as_told(item)
            changed.append(_fill(item, row, types, sites))
            changes.append(trail.Noted("item", item.tag, *differences(before, as_told(item))))
    for start in range(0, len(fresh), BATCH):
        Item.objects.bulk_create(fresh[start : start + BATCH])
        progress("items written", min(start + BATCH, len(fresh)), len(fresh))
    columns = ["type", "maker", "site", *ATTRIBUTES]
    Item.objects.bulk_update(changed, columns, batch_size=100)
    _keep_versions([*fresh, *changed], at)
    count_afresh(len(fresh) + len(changed), Item, ItemVersion)
    ids = tuple(item.pk for item in (*fresh, *changed))
    same = len(rows) - len(ids)
    return Written(len(fresh), len(changed), same, ids, digest_of(fresh), tuple(changes))


def digest_of(items: Iterable[Item]) -> str:
    """Return the digest that binds new items of a list to the trail; see `Written`."""
    digest = hashlib.sha256()
    for item in items:
        digest.update(f"{as_text(as_told(item))}\n".encode())
    return digest.hexdigest()


def _keep_versions(items: Sequence[Item], at: datetime) -> None:
    moment = as_stored(at)
    rows = [(item.pk, moment, as_stored(item.known())) for item in items]
    insert_rows(ItemVersion._meta.db_table, ("item_id", "known_from", "known"), rows)


def _types(rows: Iterable[ItemRow]) -> dict[tuple[str, str, str], ItemType]:
    """Return the types of the rows by (kind, maker, model), new ones made."""
    known = {(named.kind, named.maker, named.model): named for named in ItemType.objects.all()}
    for key in sorted({(row.kind, row.maker, row.model) for row in rows} - known.keys()):
        kind, maker, model = key
        known[key] = ItemType.objects.create(kind=kind, maker=maker, model=model)
    return known


def _fill(
    item: Item,
    row: ItemRow,
    types: dict[tuple[str, str, str], ItemType],
    sites: dict[str, Site],
) -> Item:
    item.type = types[row.kind, row.maker, row.model]
    item.maker = row.maker
    item.site = sites[row.site]
    for name in ATTRIBUTES:
        setattr(item, name, _as_kept(row.attributes[name]))
    return item


def _says(row: ItemRow, item: Item) -> bool:
    """Say whether a row says of an item just what is known of it already."""
    named = item.type
    if (row.kind, row.maker, row.model) != (named.kind, named.maker, named.model):
        return False
    if row.site != item.site.code:
        return False
    return all(getattr(item, name) == _as_kept(row.attributes[name]) for name in ATTRIBUTES)


def _as_kept(value: object) -> object:
    """Return a value as the register keeps it: words as a list, for JSON has no tuple."""
    return list(value) if isinstance(value, tuple) else value


@transaction.atomic
def write_fittings(rows: Sequence[FittingRow], *, by: User | None, at: datetime) -> Written:
    """Add fittings that a list brings, and close those that it says have ended.

    The rows were read against the register without a problem; whether parts go together
    is not asked, for a list says what was: the set's page says so. Rows that change
    nothing are left alone.
    """
    items = {item.tag: item for item in Item.objects.select_related("type")}
    known = {
        (f.set.tag, f.part.tag, f.place, f.fitted_on): f
        for f in Fitting.objects.select_related("set", "part")
    }
    changes: list[trail.Noted] = []
    fresh = [row for row in rows if row.key not in known]
    ended = [row for row in rows if row.key in known and row.removed_on]
    closed = []
    for row in ended:
        fitting = known[row.key]
        if fitting.removed_on is None and row.removed_on is not None:
            key = f"list-{_digest(row)}-out"
            why = "by a list"
            changes.append(close_row(fitting, on=row.removed_on, by=by, at=at, key=key, why=why))
            closed.append(fitting.part_id)
    # Closed spans first, so that a part is free again before it is fitted anew.
    fresh.sort(key=lambda row: (row.removed_on is None, row.fitted_on))
    added = [_fitting(row, items, by, at) for row in fresh]
    Fitting.objects.bulk_create(added, batch_size=500)
    count_afresh(len(added), Fitting)
    changes += map(noted_fitting, added)
    trail.note_all(changes, by=by, at=at)
    ids = tuple(items[row.part].pk for row in fresh)
    same = len(rows) - len(fresh) - len(closed)
    return Written(len(fresh), len(closed), same, ids)


def _fitting(row: FittingRow, items: dict[str, Item], by: User | None, at: datetime) -> Fitting:
    key = f"list-{_digest(row)}"
    fitting = Fitting(
        set=items[row.set],
        part=items[row.part],
        place=row.place,
        fitted_on=row.fitted_on,
        fitted_at=at,
        fitted_by=trail.called(by),
        entry_key=key,
    )
    if row.removed_on is not None:
        fitting.removed_on, fitting.removed_at = row.removed_on, at
        fitting.removed_by, fitting.removal_key = trail.called(by), f"{key}-out"
    return fitting


def _digest(row: FittingRow) -> str:
    """Return what tells a fitting of a list from all others, short enough for a key."""
    return hashlib.sha256(repr(row.key).encode()).hexdigest()[:40]

"""Questions to the tree of sites."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime

from registry.sites.models import VERSIONED, Site, SiteVersion


@dataclass(frozen=True, slots=True)
class TreeRow:
    """A row of an overview by site: a site with all below it, or a site alone.

    ids: the sites that the row counts. alone: whether there are others below that it leaves
    out. below: whether it counts others below.
    """

    site: Site
    depth: int
    ids: tuple[int, ...]
    alone: bool = False
    below: bool = False

    @property
    def name(self) -> str:
        """What the row is called, so that nobody takes one for the other."""
        if self.below:
            return f"{self.site.name} and all below"
        return f"{self.site.name} alone" if self.alone else self.site.name


def sites_as_known(known_by: datetime) -> dict[int, Site]:
    """Return the sites by id, unsaved, as they were called and stood at a moment."""
    sites = Site.objects.in_bulk()
    for row in SiteVersion.objects.filter(known_from__lte=known_by).order_by("known_from", "pk"):
        for name in VERSIONED:
            setattr(sites[row.site_id], name, getattr(row, name))
    return sites


def site_coded(code: str, known_by: datetime | None = None) -> Site | None:
    """Return the site that has a code now, else the one that had it at the moment asked about.

    It is returned as it was known at that moment; None where no site has or had the code.
    """
    now = Site.objects.filter(code=code).first()
    if known_by is None:
        return now
    then = sites_as_known(known_by)
    if now is not None:
        return then[now.pk]
    return next((site for site in then.values() if site.code == code), None)


def with_sites_above(known_by: datetime | None = None) -> dict[int, tuple[int, ...]]:
    """Return every site's id with the ids of itself and of the sites above it, nearest first.

    known_by: the tree as it was known at that moment; None for now.
    """
    parents: dict[int, int | None] = dict(Site.objects.values_list("pk", "parent_id"))
    if known_by is not None:
        rows = SiteVersion.objects.filter(known_from__lte=known_by).order_by("known_from", "pk")
        parents = dict(rows.values_list("site_id", "parent_id"))
    found: dict[int, tuple[int, ...]] = {}
    for site in parents:
        chain: list[int] = []
        above: int | None = site
        # A loop can't be entered on screen or by a list; the check keeps a damaged tree finite.
        while above is not None and above not in chain:
            chain.append(above)
            above = parents.get(above)
        found[site] = tuple(chain)
    return found


def with_sites_below(site: Site, known_by: datetime | None = None) -> list[int]:
    """Return the ids of a site and of all sites below it, as known at a moment or now."""
    return [below for below, chain in with_sites_above(known_by).items() if site.pk in chain]


def sites_meant(
    site: Site | None, alone: bool, known_by: datetime | None = None
) -> list[int] | None:
    """Return the ids of the sites that a question means; None for all.

    alone: the site itself; else it and all sites below it, as known at a moment or now.
    """
    if site is None:
        return None
    return [site.pk] if alone else with_sites_below(site, known_by)


def in_tree_order() -> list[tuple[int, Site]]:
    """Return all sites as (depth, site), each below its parent, siblings by code."""
    children: dict[int | None, list[Site]] = {}
    for site in Site.objects.select_related("parent").order_by("code"):
        children.setdefault(site.parent_id, []).append(site)

    def walk(parent: int | None, depth: int) -> list[tuple[int, Site]]:
        return [
            row
            for site in children.get(parent, [])
            for row in [(depth, site), *walk(site.pk, depth + 1)]
        ]

    return walk(None, 0)


def tree_rows(busy: Collection[int]) -> list[TreeRow]:
    """Return the rows of an overview by site, for the sites at which there is something.

    busy: their ids. A site with some of them below has a row with all of these first, and one
    for itself alone if there is something at it.
    """
    tree = in_tree_order()
    parents = {site.pk: site.parent_id for _, site in tree}
    below: dict[int, list[int]] = {}
    for site_id in (pk for pk in parents if pk in busy):
        above: int | None = site_id
        while above is not None:
            below.setdefault(above, []).append(site_id)
            above = parents[above]
    rows = []
    for depth, site in tree:
        ids = below.get(site.pk, [])
        under = ids not in ([], [site.pk])
        if ids:
            rows.append(TreeRow(site, depth, tuple(ids), below=under))
        if under and site.pk in ids:
            rows.append(TreeRow(site, depth + 1, (site.pk,), alone=True))
    return rows

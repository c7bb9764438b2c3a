"""Keeping what was known of sites."""

from collections.abc import Iterable
from datetime import datetime

from registry.sites.models import VERSIONED, Site, SiteVersion


def keep_versions(sites: Iterable[Site], *, at: datetime) -> None:
    """Keep what is known of sites from this moment on, where they are new or changed."""
    rows = SiteVersion.objects.order_by("known_from", "pk").values_list("site_id", *VERSIONED)
    latest = {site: tuple(known) for site, *known in rows}
    SiteVersion.objects.bulk_create(
        SiteVersion(site=site, known_from=at, **{name: getattr(site, name) for name in VERSIONED})
        for site in sites
        if latest.get(site.pk) != tuple(getattr(site, name) for name in VERSIONED)
    )

"""Keeping what was known of sites."""

from collections.abc import Iterable
from datetime import datetime

from registry.sites.models import Site, SiteVersion


def keep_versions(sites: Iterable[Site], *, at: datetime) -> None:
    """Keep the place and zone of sites from this moment on, where they are new or changed."""
    latest = {
        row.site_id: (row.parent_id, row.timezone)
        for row in SiteVersion.objects.order_by("known_from", "pk")
    }
    SiteVersion.objects.bulk_create(
        SiteVersion(site=site, known_from=at, parent_id=site.parent_id, timezone=site.timezone)
        for site in sites
        if latest.get(site.pk) != (site.parent_id, site.timezone)
    )

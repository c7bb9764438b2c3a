"""Counts for overviews."""

from django.db.models import Count

from registry.sites.models import Site
from registry.sites.queries import with_sites_below
from servicing.due.models import StoredObligation
from servicing.due.pure.obligations import State
from servicing.due.queries.rows import today_q, zones_by_day


def state_counts(site: Site | None) -> dict[str, int]:
    """Return how many obligations are in each state today, at a site and below or everywhere.

    The keys are the states' words with an underscore for the hyphen, as templates need.
    """
    days = zones_by_day()
    rows = StoredObligation.objects.filter(today_q(by_day=days))
    if site is not None:
        rows = rows.filter(item__site_id__in=with_sites_below(site))
    counts = {
        state.replace("-", "_"): Count("pk", filter=today_q(state, by_day=days)) for state in State
    }
    return rows.aggregate(**counts)

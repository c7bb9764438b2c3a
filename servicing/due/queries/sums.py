"""Counts for overviews."""

from dataclasses import dataclass
from datetime import date

from django.db.models import Count

from registry.sites.models import Site
from registry.sites.queries import with_sites_below
from servicing.due.models import StoredObligation
from servicing.due.pure.obligations import State
from servicing.due.queries.rows import today_q, zones_by_day
from servicing.rules.pure.durations import add_months, month_end


@dataclass(frozen=True, slots=True)
class Month:
    """How many obligations fall due in a month, in all and by site code.

    first: the month's first day, or today in the month that runs.
    """

    first: date
    count: int
    by_site: dict[str, int]

    @property
    def last(self) -> date:
        """The month's last day."""
        return month_end(self.first)


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


def months_ahead(today: date, months: int = 12) -> list[Month]:
    """Return what falls due from today on, by month and site; this month's is the first.

    Counted by day in the database and folded to months here: it keeps to the index.
    """
    first = today.replace(day=1)
    end = add_months(first, months)
    days = (
        StoredObligation.objects.filter(today_q(), due_on__gte=today, due_on__lt=end)
        .order_by()
        .values_list("due_on", "item__site__code")
        .annotate(number=Count("pk"))
    )
    found: dict[date, dict[str, int]] = {add_months(first, n): {} for n in range(months)}
    for day, site, number in days:
        by_site = found[day.replace(day=1)]
        by_site[site] = by_site.get(site, 0) + number
    return [Month(max(start, today), sum(by.values()), by) for start, by in found.items()]

"""Counts and first dates for overviews."""

from dataclasses import dataclass
from datetime import date

from django.db.models import Count, F, OuterRef, QuerySet, Subquery

from registry.items.models import Item
from registry.sites.models import Site
from servicing.due.models import StoredObligation
from servicing.due.pure.obligations import State
from servicing.due.queries.rows import DueQuestion, standings_today, stored_rows, today_q
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
    return {
        state.replace("-", "_"): stored_rows(DueQuestion(site=site, state=state)).count()
        for state in State
    }


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


def items_with_due() -> QuerySet[Item]:
    """Return items with their standing today, and the task, day and notice of what is due first."""
    standing = standings_today().filter(item=OuterRef("pk"))
    first = StoredObligation.objects.filter(today_q(), item=OuterRef("pk")).order_by(
        F("due_on").asc(nulls_first=True), "task"
    )
    return Item.objects.select_related("type", "site").annotate(
        standing=Subquery(standing.values("standing")[:1]),
        next_task=Subquery(first.values("task")[:1]),
        next_due=Subquery(first.values("due_on")[:1]),
        next_soon=Subquery(first.values("soon_on")[:1]),
    )


def with_standing(items: QuerySet[Item], word: str) -> QuerySet[Item]:
    """Return the items whose standing today is the word."""
    return items.filter(pk__in=standings_today().filter(standing=word).values("item"))

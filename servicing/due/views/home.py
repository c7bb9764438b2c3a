"""The first page, by role."""

from datetime import date
from typing import Any
from urllib.parse import urlencode

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse

from registry.people.pure import Role
from registry.people.queries import PersonRequest, Viewer, for_roles, viewer_of
from registry.sites.clock import today_anywhere, today_at
from registry.sites.queries import in_tree_order
from servicing.due.forms.questions import AsOfForm
from servicing.due.queries.rows import DueQuestion, stored_row, stored_rows
from servicing.due.queries.sets import ready_sets, sets_today
from servicing.due.queries.start import lacking
from servicing.due.queries.sums import Month, months_ahead, state_counts

EVERYONE = for_roles(*Role)
WORK_ROWS = 40


@EVERYONE
def home(request: PersonRequest) -> HttpResponse:
    """Show the page that this person's day begins with."""
    viewer = viewer_of(request.user)
    pages = {Role.TECHNICIAN: _bench, Role.MANAGER: _fleet, Role.AUDITOR: _audit}
    template, context = pages[viewer.role](viewer)
    return render(request, template, context)


def _bench(viewer: Viewer) -> tuple[str, dict[str, Any]]:
    work = stored_rows(DueQuestion(site=viewer.site)).exclude(
        pk__in=stored_rows(DueQuestion(site=viewer.site, state="current")).values("pk")
    )
    counts = state_counts(viewer.site)
    return "servicing/due/home_technician.html", {
        "rows": [stored_row(row) for row in work[:WORK_ROWS]],
        "many": work.count(),
        "counts": counts,
        "lacking": lacking(viewer.site, owing=any(counts.values())),
        "today": today_at(viewer.site) if viewer.site else today_anywhere(),
    }


def _fleet(viewer: Viewer) -> tuple[str, dict[str, Any]]:
    today = today_at(viewer.site) if viewer.site else today_anywhere()
    ahead = months_ahead(today)
    by_site = ready_sets(sets_today())
    counts = state_counts(None)
    return "servicing/due/home_manager.html", {
        "counts": counts,
        "lacking": lacking(None, owing=any(counts.values())),
        "bars": _bars(ahead),
        "by_site": _by_site(ahead),
        "ready_sets": by_site,
        "ready": (sum(row.ready for row in by_site), sum(row.sets for row in by_site)),
        "today": today,
    }


def _bars(ahead: list[Month]) -> list[dict[str, Any]]:
    """Return a bar for each month; its link lists what falls due up to the month's end."""
    tallest = max((month.count for month in ahead), default=0) or 1
    return [
        {
            "word": _month_word(month.first, with_year=not number),
            "short": f"{month.first:%b}",
            "title": f"{month.first:%B %Y}",
            "count": month.count,
            "share": round(100 * month.count / tallest, 1),
            "href": _listed(month),
        }
        for number, month in enumerate(ahead)
    ]


def _month_word(first: date, *, with_year: bool) -> str:
    """Return a month's short name; the first of all and each January say their year."""
    return f"{first:%b %Y}" if with_year or first.month == 1 else f"{first:%b}"


def _listed(month: Month, **more: str) -> str:
    """Return the address of the list of what falls due in a month."""
    asked = {"since": month.first, "until": month.last, **more}
    return f"{reverse('due-list')}?{urlencode(asked)}"


def _by_site(ahead: list[Month]) -> list[dict[str, Any]]:
    """Return a row for each site at which something falls due, in the tree's order."""
    busy = {code for month in ahead for code in month.by_site}
    rows = []
    for _, site in in_tree_order():
        if site.code in busy:
            cells = [
                {
                    "title": f"{month.first:%B %Y}",
                    "count": month.by_site.get(site.code, 0),
                    "href": _listed(month, site=site.code),
                }
                for month in ahead
            ]
            total = sum(month.by_site.get(site.code, 0) for month in ahead)
            rows.append({"code": site.code, "name": site.name, "cells": cells, "sum": total})
    return rows


def _audit(viewer: Viewer) -> tuple[str, dict[str, Any]]:
    today = today_at(viewer.site) if viewer.site else today_anywhere()
    return "servicing/due/home_auditor.html", {
        "as_of": AsOfForm(initial={"on": today}),
        "counts": state_counts(None),
        "today": today,
    }

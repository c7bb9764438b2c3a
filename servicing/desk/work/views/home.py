"""The first page, by role."""

from datetime import date
from typing import Any
from urllib.parse import urlencode

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_safe

from registry.people.pure import Role
from registry.people.queries import PersonRequest, Viewer, viewer_of
from registry.sites.clock import today_anywhere, today_at
from registry.sites.queries import TreeRow, tree_rows
from servicing.bench.queries.in_hand import in_hand
from servicing.desk.parts.forms.questions import AsOfForm
from servicing.desk.parts.views.pages import EVERYONE
from servicing.desk.work.queries import waiting_for
from servicing.due.pure.ahead import ASSUMPTION
from servicing.due.pure.obligations import State
from servicing.due.queries.ahead import Month, months_ahead
from servicing.due.queries.doubts import open_doubts
from servicing.due.queries.instruments import undescribed_types
from servicing.due.queries.rows import DueQuestion, stored_row, stored_rows, today_q
from servicing.due.queries.sets import ready_sets, sets_today
from servicing.due.queries.stamps import stamps_that_differ
from servicing.due.queries.start import lacking
from servicing.due.queries.sums import state_counts

WORK_ROWS = 40


@EVERYONE
@require_safe
def home(request: PersonRequest) -> HttpResponse:
    """Show the page that this person's day begins with."""
    viewer = viewer_of(request.user)
    pages = {Role.TECHNICIAN: _bench, Role.MANAGER: _fleet, Role.AUDITOR: _audit}
    template, context = pages[viewer.role](viewer)
    context["waits"] = waiting_for(viewer, request.user)
    if viewer.may_record:
        context |= {"doubts": open_doubts(), "in_hand": in_hand(request.user)}
    return render(request, template, context)


def _bench(viewer: Viewer) -> tuple[str, dict[str, Any]]:
    work = stored_rows(DueQuestion(site=viewer.site)).filter(~today_q(State.CURRENT))
    counts = state_counts(viewer.site)
    return "desk/work/home_technician.html", {
        "rows": [stored_row(row) for row in work[:WORK_ROWS]],
        "many": sum(counts.values()) - counts["current"],
        "counts": counts,
        "lacking": lacking(viewer.site, owing=any(counts.values())),
        "today": today_at(viewer.site) if viewer.site else today_anywhere(),
    }


def _fleet(viewer: Viewer) -> tuple[str, dict[str, Any]]:
    today = today_at(viewer.site) if viewer.site else today_anywhere()
    ahead = months_ahead(today)
    sets = sets_today()
    by_site = ready_sets(sets)
    counts = state_counts(None)
    return "desk/work/home_manager.html", {
        "counts": counts,
        "lacking": lacking(None, owing=any(counts.values())),
        "bars": _bars(ahead),
        "months": [f"{month.first:%b}:num:{_title(month)}" for month in ahead],
        "by_site": _by_site(ahead),
        "all_sites": _months_row(ahead, None),
        "assumption": ASSUMPTION,
        "ready_sets": by_site,
        "ready": (sum(row.readiness.ready for row in sets), len(sets)),
        "short": [row for row in by_site if row.short],
        "undescribed": list(undescribed_types()),
        "stamps": stamps_that_differ().count(),
        "today": today,
    }


def _bars(ahead: list[Month]) -> list[dict[str, Any]]:
    """Return a bar for each month; its link lists what is counted in it."""
    tallest = max((month.count for month in ahead), default=0) or 1
    return [
        {
            "word": _month_word(month.first, with_year=not number),
            "title": _title(month),
            "count": month.count,
            "share": round(100 * month.count / tallest, 1),
            "href": _listed(month, last=month.last),
        }
        for number, month in enumerate(ahead)
    ]


def _title(month: Month) -> str:
    return f"{month.first:%B %Y}" if month.whole else f"rest of {month.first:%B %Y}"


def _month_word(first: date, *, with_year: bool) -> str:
    """Return a month's short name; the first of all and each January say their year."""
    return f"{first:%b %Y}" if with_year or first.month == 1 else f"{first:%b}"


def _listed(month: Month, *, last: date, at: TreeRow | None = None) -> str:
    """Return the address of the list of what is counted from a month on up to a day."""
    asked: dict[str, Any] = {"ahead": "yes"}
    if not month.is_first:  # there is nothing before the first
        asked["since"] = month.first
    asked["until"] = last
    if at is not None:
        asked["site"] = at.site.code
        asked |= {"alone": "yes"} if at.alone else {}
    return f"{reverse('due-list')}?{urlencode(asked)}"


def _by_site(ahead: list[Month]) -> list[dict[str, Any]]:
    """Return a row for each site at which something comes due, in the tree's order."""
    busy = {site_id for month in ahead for site_id in month.by_site}
    return [_months_row(ahead, row) for row in tree_rows(busy)]


def _months_row(ahead: list[Month], at: TreeRow | None) -> dict[str, Any]:
    """Return what comes due in each month at the sites of a row, or at all; and the sum."""
    counts = [month.at(at.ids) if at else month.count for month in ahead]
    cells = [
        {"title": _title(month), "count": count, "href": _listed(month, last=month.last, at=at)}
        for month, count in zip(ahead, counts, strict=True)
    ]
    href = _listed(ahead[0], last=ahead[-1].last, at=at)
    return {"at": at, "cells": cells, "sum": sum(counts), "href": href}


def _audit(viewer: Viewer) -> tuple[str, dict[str, Any]]:
    today = today_at(viewer.site) if viewer.site else today_anywhere()
    return "desk/work/home_auditor.html", {
        "as_of": AsOfForm(initial={"on": today}),
        "counts": state_counts(None),
        "today": today,
    }

"""The trail as a page and as a list, and its review."""

from django.http import HttpResponse, StreamingHttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_safe

from registry.lists.pure.leaving import file_name
from registry.lists.views import csv_download
from registry.people.actions.security import security
from registry.people.pure import Role
from registry.people.queries import PersonRequest, role_to_show
from registry.sites.clock import now
from registry.trail.models import TrailEntry
from registry.trail.queries import trail_head
from servicing.desk.parts.tables import arranged
from servicing.desk.parts.views.checked import CheckedForm
from servicing.desk.parts.views.pages import EVERYONE, MAY_REVIEW
from servicing.desk.people.forms.trail import ReviewForm, TrailForm
from servicing.desk.people.tables import TrailTable
from servicing.oversight import queries as oversight
from servicing.oversight.actions import NothingSeen, sign_review

COLUMNS = ("number", "at", "by", "what", "subject", "before", "after", "why", "hash")


@EVERYONE
@require_safe
def trail_page(request: PersonRequest) -> HttpResponse:
    """Show who changed what, from what to what, and why."""
    form, only = _asked(request)
    found = form.is_valid()
    rows = oversight.trail_rows(form.question(only)) if found else TrailEntry.objects.none()
    context = {
        "form": form,
        "table": arranged(TrailTable(rows), request, form.sentence() if found else ""),
        "head": trail_head(),
        "query": request.GET.urlencode(),
        "of_items_only": bool(only),
        "section": "trail",
    }
    return render(request, "desk/people/trail.html", context, status=200 if found else 422)


@EVERYONE
@require_safe
def trail_csv(request: PersonRequest) -> HttpResponse | StreamingHttpResponse:
    """Give the trail of a sentence as CSV, with the hashes that bind it."""
    form, only = _asked(request)
    if not form.is_valid():
        return render(request, "parts/question.html", {"form": form}, status=422)
    at = now()
    security("export", account=request.user.username, of="trail")
    rows = oversight.trail_rows(form.question(only)).order_by("number").iterator(chunk_size=2000)
    name = file_name("trail", form.cleaned_data["of"] or "all", f"{at:%Y-%m-%d}")
    return csv_download(name, COLUMNS, ((getattr(r, c) for c in COLUMNS) for r in rows))


def _asked(request: PersonRequest) -> tuple[TrailForm, tuple[str, ...]]:
    only = oversight.OF_ITEMS if role_to_show(request.user) is Role.TECHNICIAN else ()
    kinds, people = oversight.kinds_and_people(only)
    return TrailForm(request.GET, kinds=kinds, people=people), only


@MAY_REVIEW
def review(request: PersonRequest) -> HttpResponse:
    """Show what came since the last review, and take the auditor's signature under it."""
    seen = oversight.to_review(now())
    asked = {"number": seen.number, "moment": seen.moment.isoformat()}
    form = ReviewForm(request.POST or None, initial=asked)
    checked = CheckedForm(request, form, refused=(NothingSeen,), at_once=True)

    def enter() -> str:
        data = form.cleaned_data
        sign_review(
            number=data["number"],
            moment=data["moment"],
            user=request.user,
            remark=data["remark"],
        )
        return reverse("trail-review")

    if (led := checked.entered(enter)) is not None:
        return led
    return checked.page("desk/people/review.html", {"review": seen, "section": "trail"})

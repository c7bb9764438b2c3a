"""Consignments: the list of them, the page of one, and the list that goes with it."""

from django.http import HttpResponse, StreamingHttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from registry.lists.pure.leaving import file_name
from registry.lists.views import csv_download
from registry.people.queries import PersonRequest
from servicing.away.queries import all_away
from servicing.desk.parts.views.pages import EVERYONE
from servicing.desk.retests.forms.consignments import TagsForm
from servicing.desk.retests.views.pages import consignment_or_404, consignment_shown
from servicing.hydrostatic import queries as retests
from servicing.hydrostatic.pure.results import FIGURES, GIVEN


@EVERYONE
@require_safe
def consignment_list(request: PersonRequest) -> HttpResponse:
    """Show what is away, what is being packed, and what came back."""
    rows = retests.consignments_listed()
    waiting = retests.condemnations_waiting()
    context = {
        "rows": rows,
        "away": len(all_away()),
        "condemn": waiting,
        "disputes": retests.disputes_waiting(waiting),
        "section": "retests",
    }
    return render(request, "desk/retests/consignment_list.html", context)


@EVERYONE
@require_safe
def consignment_page(request: PersonRequest, pk: int) -> HttpResponse:
    """Show a consignment: what is in it, where it is, what came back."""
    shown = consignment_shown(request, consignment_or_404(pk), TagsForm())
    return render(request, "desk/retests/consignment.html", shown)


@EVERYONE
@require_safe
def consignment_csv(request: PersonRequest, pk: int) -> StreamingHttpResponse:
    """Send the list that goes with the cylinders, with empty columns for the house."""
    consignment = consignment_or_404(pk)
    empty = [""] * len(FIGURES)
    rows = ([*(getattr(row, c) for c in GIVEN), *empty] for row in retests.listed(consignment))
    return csv_download(file_name("consignment", consignment.number), [*GIVEN, *FIGURES], rows)

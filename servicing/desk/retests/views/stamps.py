"""The dates stamped on cylinders that are not those of the rules."""

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from registry.people.queries import PersonRequest
from servicing.desk.parts.views.pages import EVERYONE
from servicing.due.queries.stamps import stamp_rows
from servicing.rules.queries import cautions_of


@EVERYONE
@require_safe
def stamp_list(request: PersonRequest) -> HttpResponse:
    """Show each with what the rules say, and which of the two counts."""
    rows = stamp_rows()
    cautions = cautions_of({row.table for row in rows})
    context = {"rows": rows, "cautions": cautions, "section": "retests"}
    return render(request, "desk/retests/stamp_list.html", context)

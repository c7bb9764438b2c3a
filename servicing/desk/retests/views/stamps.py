"""The dates stamped on cylinders that are not those of the rules."""

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from registry.people.queries import PersonRequest
from servicing.away.queries import all_away
from servicing.desk.parts.tables import arranged
from servicing.desk.parts.views.pages import EVERYONE
from servicing.desk.retests.tables import StampTable
from servicing.due.queries.stamps import beside_stamps, stamps_that_differ
from servicing.rules.queries import cautions_of


@EVERYONE
@require_safe
def stamp_list(request: PersonRequest) -> HttpResponse:
    """Show each with what the rules say, and which of the two counts."""
    table = arranged(StampTable(stamps_that_differ(), all_away()), request)
    table.beside = beside_stamps({row.record.item_id for row in table.paginated_rows})
    tables = {owed.rule.table for owed in table.beside.values()}
    context = {"table": table, "cautions": cautions_of(tables), "section": "retests"}
    return render(request, "desk/retests/stamp_list.html", context)

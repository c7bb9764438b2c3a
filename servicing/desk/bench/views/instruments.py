"""An instrument's records: what was measured with it, and what a failed calibration doubts."""

from collections.abc import Iterable

from django.http import HttpResponse, StreamingHttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from registry.items.queries import serving_known
from registry.lists.pure.leaving import file_name
from registry.lists.views import csv_download
from registry.people.queries import PersonRequest, Viewer, viewer_of
from registry.sites.clock import today_at
from servicing.desk.bench.tables import MADE_WITH, made_with_rows
from servicing.desk.parts.pure import DoubtActs
from servicing.desk.parts.views import pages
from servicing.due.queries.doubts import Doubtful, doubts_of
from servicing.due.queries.instruments import calibration_of, made_with

SHOWN = 500


@pages.EVERYONE
@require_safe
def instrument_records(request: PersonRequest, pk: int) -> HttpResponse:
    """Show the records made with an instrument, those in doubt first."""
    instrument, viewer = pages.item_or_404(pk), viewer_of(request.user)
    made = made_with(instrument)
    doubts = doubts_of(instrument)
    context = {
        "item": instrument,
        "calibration": calibration_of(instrument, today_at(instrument.site)),
        "serving": serving_known(instrument, None),
        "doubts": [
            (doubt, _with_acts(viewer, doubt.rows), _with_acts(viewer, doubt.later))
            for doubt in doubts
        ],
        "to_do": len({row.record.item_id for doubt in doubts for row in doubt.open_rows}),
        "records": list(reversed(made))[:SHOWN],
        "many": len(made),
        "section": "items",
    }
    return render(request, "desk/bench/instrument.html", context)


def _with_acts(viewer: Viewer, rows: Iterable[Doubtful]) -> list[tuple[Doubtful, DoubtActs]]:
    return [(row, pages.doubt_acts(viewer, row)) for row in rows]


@pages.EVERYONE
@require_safe
def instrument_csv(request: PersonRequest, pk: int) -> StreamingHttpResponse:
    """Give every record made with an instrument as CSV; those in doubt say since when."""
    instrument = pages.item_or_404(pk)
    rows = made_with_rows(instrument, doubtful_only=False)
    name = file_name("made-with", instrument.tag)
    return csv_download(name, MADE_WITH, (row.values() for row in rows))

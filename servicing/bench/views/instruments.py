"""An instrument's records: what was measured with it, and what a failed calibration doubts."""

from django.http import HttpResponse
from django.shortcuts import render

from registry.people.queries import PersonRequest
from registry.sites.clock import today_at
from servicing.bench.queries.instruments import calibration_of, in_doubt, made_with
from servicing.due.views.home import EVERYONE
from servicing.due.views.items import item_or_404

SHOWN = 500


@EVERYONE
def instrument_records(request: PersonRequest, pk: int) -> HttpResponse:
    """Show the records made with an instrument, those in doubt first."""
    instrument = item_or_404(pk)
    doubt = in_doubt(instrument)
    made = made_with(instrument)
    context = {
        "item": instrument,
        "calibration": calibration_of(instrument, today_at(instrument.site)),
        "failure": doubt[0] if doubt else None,
        "doubtful": doubt[1] if doubt else [],
        "records": list(reversed(made))[:SHOWN],
        "many": len(made),
        "section": "items",
    }
    return render(request, "servicing/bench/instrument.html", context)

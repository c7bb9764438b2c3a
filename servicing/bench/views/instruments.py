"""An instrument's records: what was measured with it, and what a failed calibration doubts."""

import csv
import io

from django.http import HttpResponse
from django.shortcuts import render

from registry.lists.pure.tables import FORMULA_SIGNS
from registry.people.queries import PersonRequest
from registry.sites.clock import today_at
from servicing.bench.tables import MADE_WITH, made_with_rows
from servicing.due.queries.doubts import doubts_of
from servicing.due.queries.instruments import calibration_of, made_with
from servicing.due.views.home import EVERYONE
from servicing.due.views.items import item_or_404

SHOWN = 500


@EVERYONE
def instrument_records(request: PersonRequest, pk: int) -> HttpResponse:
    """Show the records made with an instrument, those in doubt first."""
    instrument = item_or_404(pk)
    made = made_with(instrument)
    doubts = doubts_of(instrument)
    context = {
        "item": instrument,
        "calibration": calibration_of(instrument, today_at(instrument.site)),
        "doubts": doubts,
        "to_do": len({row.record.item_id for doubt in doubts for row in doubt.open_rows}),
        "records": list(reversed(made))[:SHOWN],
        "many": len(made),
        "section": "items",
    }
    return render(request, "servicing/bench/instrument.html", context)


@EVERYONE
def instrument_csv(request: PersonRequest, pk: int) -> HttpResponse:
    """Give every record made with an instrument as CSV; those in doubt say since when."""
    instrument = item_or_404(pk)
    text = io.StringIO()
    writer = csv.DictWriter(text, MADE_WITH, lineterminator="\r\n")
    writer.writeheader()
    for row in made_with_rows(instrument, doubtful_only=False):
        writer.writerow({name: _cell(value) for name, value in row.items()})
    name = f"made-with-{instrument.pk}.csv"
    return HttpResponse(
        "\ufeff" + text.getvalue(),
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )


def _cell(value: object) -> object:
    """Return a value as a cell that no spreadsheet takes for a formula."""
    formula = isinstance(value, str) and value.startswith(FORMULA_SIGNS)
    return f"'{value}" if formula else value

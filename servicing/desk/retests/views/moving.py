"""A consignment leaves and comes back, whole or one cylinder before the others."""

from datetime import date

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect

from registry.people.queries import PersonRequest
from registry.sites.clock import today_at
from servicing.away.models import Consigned
from servicing.desk.parts.forms.turnout import TurnoutForm
from servicing.desk.parts.views.pages import MAY_RECORD
from servicing.desk.retests.forms.consignments import DayForm
from servicing.desk.retests.views.pages import (
    at_once,
    consignment_or_404,
    in_section,
    turnout_packed,
)
from servicing.hydrostatic.actions.consignments import receive, send, take_back
from servicing.hydrostatic.queries import result_of


@MAY_RECORD
def consignment_move(request: PersonRequest, pk: int) -> HttpResponse:
    """Let a consignment leave, or take it back."""
    consignment = consignment_or_404(pk)
    leaving = consignment.sent_on is None
    act = "leaves" if leaving else "comes-back"
    if request.POST.get("act", act) != act:  # pressed twice: it has left, and is not back for that
        return redirect(consignment)
    form = DayForm(
        request.POST or None,
        label="Left on" if leaving else "Back on",
        today=today_at(consignment.from_site),
    )
    checked = at_once(request, form)
    checked.tick = TurnoutForm(request.POST or None, shortfall=turnout_packed(consignment))

    def enter() -> str:
        on: date = form.cleaned_data["on"]
        if leaving:
            send(consignment=consignment, sent_on=on, user=request.user)
        else:
            take_back(consignment=consignment, back_on=on, user=request.user)
        return consignment.get_absolute_url()

    if (led := checked.entered(enter)) is not None:
        return led
    context = {"consignment": consignment, "leaving": leaving, "tick": checked.tick, "act": act}
    return checked.page("desk/retests/consignment_move.html", in_section(context))


@MAY_RECORD
def consigned_back(request: PersonRequest, pk: int) -> HttpResponse:
    """Take one cylinder of a consignment back before the others."""
    rows = Consigned.objects.select_related("consignment__from_site", "item")
    row = get_object_or_404(rows, pk=pk)
    consignment = row.consignment
    form = DayForm(request.POST or None, label="Back on", today=today_at(consignment.from_site))

    def enter() -> str:
        receive(consigned=row, back_on=form.cleaned_data["on"], user=request.user)
        messages.success(request, f"{row.item.tag} is back from {consignment.house}.")
        return row.item.get_absolute_url()

    checked = at_once(request, form)
    if (led := checked.entered(enter)) is not None:
        return led
    context = {"consignment": consignment, "row": row, "without_result": result_of(row) is None}
    return checked.page("desk/retests/consignment_move.html", in_section(context))

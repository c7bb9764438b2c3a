"""Packing a consignment: beginning it, putting cylinders in, taking one out."""

from collections.abc import Mapping, Sequence
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect

from registry.items.models import Item
from registry.people.queries import PersonRequest, kept_for, viewer_of
from servicing.away.models import Consignment
from servicing.desk.parts.forms.turnout import TurnoutForm
from servicing.desk.parts.views.pages import MAY_RECORD
from servicing.desk.retests.forms.consignments import ConsignmentForm, TagsForm
from servicing.desk.retests.views.pages import (
    at_once,
    consignment_or_404,
    consignment_shown,
    in_section,
    turnout_packed,
)
from servicing.due.pure.turnout import Shortfall
from servicing.hydrostatic.actions import consignments


@MAY_RECORD
def consignment_add(request: PersonRequest) -> HttpResponse:
    """Begin a consignment."""
    kept = kept_for(request)
    given = {"from_site": viewer_of(request.user).site, "tags": request.GET.get("tag", "")}
    form = ConsignmentForm(request.POST or None, initial={**given, **(kept.fields if kept else {})})
    checked = at_once(request, form)
    checked.tick = checked.checked(
        lambda: TurnoutForm(request.POST, shortfall=_turnout_begun(form.cleaned_data))
    )

    def enter() -> str:
        begun = consignments.open_consignment(
            from_site=form.cleaned_data["from_site"],
            house=form.cleaned_data["house"],
            items=form.cleaned_data["tags"],
            user=request.user,
            entry_key=form.cleaned_data["key"],
        )
        return begun.get_absolute_url()

    if (led := checked.entered(enter)) is not None:
        return led
    context = in_section({"kept": kept, "tick": checked.tick})
    return checked.page("desk/retests/consignment_form.html", context)


def _turnout_begun(data: Mapping[str, Any]) -> Shortfall:
    """Return what a consignment takes from the stations; one begun already has been asked about.

    data: of its form.
    """
    if not data["tags"] or Consignment.objects.filter(entry_key=data["key"]).exists():
        return Shortfall()
    return consignments.turnout_when_gone(data["tags"], house=data["house"])


@MAY_RECORD
def consignment_change(request: PersonRequest, pk: int) -> HttpResponse:
    """Add cylinders to a consignment that is being packed, or take one out."""
    consignment = consignment_or_404(pk)
    if "remove" in request.POST:
        return _taken_out(request, consignment)
    form = TagsForm(request.POST or None)
    checked = at_once(request, form)
    checked.tick = checked.checked(
        lambda: TurnoutForm(
            request.POST, shortfall=_turnout_added(consignment, form.cleaned_data["tags"])
        )
    )

    def enter() -> str:
        items = form.cleaned_data["tags"]
        consignments.add_cylinders(consignment=consignment, items=items, user=request.user)
        return consignment.get_absolute_url()

    if (led := checked.entered(enter)) is not None:
        return led
    shown = consignment_shown(request, consignment, form)
    return checked.page("desk/retests/consignment.html", {**shown, "tick": checked.tick})


def _taken_out(request: PersonRequest, consignment: Consignment) -> HttpResponse:
    """Take one cylinder out and go back to the consignment, which says so where it can't be."""
    row = get_object_or_404(consignment.cylinders, pk=_whole(request.POST["remove"]))
    try:
        consignments.remove_cylinder(consigned=row, user=request.user)
    except consignments.ConsignmentRefused as problem:
        messages.error(request, str(problem))
    return redirect(consignment)


def _turnout_added(consignment: Consignment, items: Sequence[Item]) -> Shortfall:
    """Return what the whole consignment takes, where more than without these; else nothing."""
    whole = consignments.turnout_when_gone(items, consignment)
    return whole if whole != turnout_packed(consignment) else Shortfall()


def _whole(text: str) -> int:
    return int(text) if text.isascii() and text.isdigit() and len(text) < 10 else 0

"""A test of our own on screen."""

from typing import Any

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect

from registry.items.models import Item
from registry.items.pure import Kind
from registry.people.forms import PresenceForm
from registry.people.queries import PersonRequest, kept_for, viewer_of
from registry.sites.clock import today_at
from servicing.away.pure import RECEIVE_FIRST, Away
from servicing.away.queries import away_now
from servicing.desk.parts.views.pages import MAY_RECORD
from servicing.desk.retests.forms.own import OwnTestForm
from servicing.desk.retests.views.pages import asked_of, check_page, form_page
from servicing.due.actions.standing import may_condemn
from servicing.hydrostatic.actions.consignments import ConsignmentRefused
from servicing.hydrostatic.actions.own import OwnTest, enter_own_test
from servicing.hydrostatic.pure.amounts import HydroProblem
from servicing.hydrostatic.pure.marks import CAUTION, composite_label, iso_mark, us_mark
from servicing.hydrostatic.pure.outcome import own_outcome
from servicing.hydrostatic.pure.own import Judged, judged
from servicing.hydrostatic.pure.verdict import MEANS, Word
from servicing.hydrostatic.queries import (
    calibrated_cylinder,
    described,
    instruments_meant,
    known_of,
    limits,
)
from servicing.ledger.queries.records import condemnation_of


@MAY_RECORD
def own_test(request: PersonRequest, pk: int) -> HttpResponse:
    """Take a test of our own; first show the verdict, then, confirmed, enter it."""
    item = get_object_or_404(Item.objects.select_related("type", "site"), pk=pk)
    kept = kept_for(request)
    form = OwnTestForm(
        request.POST or None,
        today=today_at(item.site),
        initial={"by": viewer_of(request.user).name, **(kept.fields if kept else {})},
    )
    step = request.POST.get("step", "")
    signing = PresenceForm(request, sent=step == "enter")
    context: dict[str, Any] = {"form": form, "kept": kept, "item": item, **asked_of(item)}
    condemned = condemnation_of(item)
    away = away_now([pk]).get(pk)
    context["closed"] = _closed(item, away, condemned=condemned is not None)
    if form.is_valid() and step != "change":
        try:
            found = judged(form.raw(), known_of([item])[item.pk], limits(), described(item))
            data = form.cleaned_data
            context["checked_with"] = calibrated_cylinder(data["cylinder"], data["tested_on"])
            context["meant"] = instruments_meant(data["cylinder"])
            if step == "enter" and signing.proves():
                position = enter_own_test(
                    item=item,
                    test=_own(form, found),
                    user=request.user,
                    entry_key=form.cleaned_data["key"],
                    signed=True,
                )
                return redirect("record", pk=item.pk, position=position)
        except (HydroProblem, ConsignmentRefused) as problem:
            form.add_error(None, str(problem))
        else:
            context |= _verdict_shown(form, item, found)
            context["outcome"] = own_outcome(
                found.verdict.word, may_condemn=may_condemn(request.user)
            )
            return check_page(request, "own_check", context, signing)
    return form_page(request, "own_form", context)


def _own(form: OwnTestForm, found: Judged) -> OwnTest:
    data = form.cleaned_data
    word = found.verdict.word
    return OwnTest(
        data["tested_on"],
        data["by"],
        word,
        found.says,
        found.readings,
        cylinder=data["cylinder"],
    )


def _verdict_shown(form: OwnTestForm, item: Item, found: Judged) -> dict[str, Any]:
    word = found.verdict.word
    return {
        "found": found,
        "word": word,
        "means": MEANS[word],
        "marks": _marks(form, item) if word is Word.PASS else (),
        "marking_caution": CAUTION,
    }


def _marks(form: OwnTestForm, item: Item) -> tuple[str, ...]:
    """Return how the mark is laid out, with a placeholder for the body's number."""
    on, body = form.cleaned_data["tested_on"], "RIN0"
    us = item.specification.startswith(("DOT-", "CTC-", "TC-"))
    if item.construction not in ("", "type-1"):
        pressure = str(form.cleaned_data["reached"])
        return composite_label(on, body, serial=item.serial, test_pressure=pressure, us=us)
    return us_mark(on, body).lines if us else (str(iso_mark(on, body)),)


def _closed(item: Item, away: Away | None, *, condemned: bool) -> str:
    """Return why an item can't be tested here, or nothing."""
    if item.type.kind != Kind.CYLINDER:
        return "Only cylinders are tested hydrostatically."
    if condemned:
        return "It is condemned and isn't tested again."
    return f"It is {away.words}. {RECEIVE_FIRST}" if away else ""

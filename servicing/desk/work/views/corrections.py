"""Correcting a record: say what is right and why, see what it moves, enter it."""

from typing import TYPE_CHECKING, Any

from django.contrib.auth.models import User
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from registry.people.actions.presence import NotTheSecondPerson, second_person
from registry.people.actions.tries import TooManyTries
from registry.people.forms import PresenceForm
from registry.people.queries import PersonRequest, kept_for
from registry.sites.clock import today_at
from servicing.desk.parts.views.effects import change_rows, part_rows
from servicing.desk.parts.views.pages import MAY_RECORD, item_or_404
from servicing.desk.work.forms.changes import CorrectionForm
from servicing.due.actions.corrections import (
    correct_record,
    effect_of_correction,
    needs_second_person,
    reach_of_correction,
)
from servicing.due.actions.services import Effect, ServiceRefused
from servicing.due.actions.standing import may_condemn
from servicing.due.queries.together import recorded_along, set_record_of
from servicing.ledger.actions import CorrectionRefused, EntryKeyUsedTwice, SignatureRefused
from servicing.ledger.queries.records import history_of, reading_names
from servicing.rules.queries import known_tasks

if TYPE_CHECKING:
    from servicing.ledger.models import Record

REFUSED = (
    ServiceRefused,
    CorrectionRefused,
    EntryKeyUsedTwice,
    SignatureRefused,
    NotTheSecondPerson,
    TooManyTries,
)


@MAY_RECORD
def correct_view(request: PersonRequest, pk: int, position: int) -> HttpResponse:
    """Take a correction; first show what it moves, then, confirmed and signed, enter it."""
    item = item_or_404(pk)
    record = get_object_or_404(history_of(item), position=position)
    record.item = item
    kept = kept_for(request)
    form = CorrectionForm(
        request.POST or None,
        typed=kept.fields if kept else {},
        record=record,
        may_condemn=may_condemn(request.user),
        tasks=sorted(known_tasks() | {record.task}),
        today=today_at(item.site),
    )
    step, valid = request.POST.get("step", ""), form.is_valid()
    signing = PresenceForm(request, sent=step == "enter")
    if valid and step == "enter" and signing.proves():
        try:
            added = _enter(request, form)
            return redirect("record", pk=item.pk, position=added.position)
        except REFUSED as problem:
            form.add_error(None, str(problem))
    effect, reach = None, None
    if valid and step != "change":
        try:
            effect = effect_of_correction(record, form.correction())
            reach = reach_of_correction(
                record,
                form.correction(),
                reason=form.cleaned_data["reason"],
                user=request.user,
            )
        except REFUSED as problem:
            if not form.non_field_errors():
                form.add_error(None, str(problem))
    more = {"signing": signing, "kept": kept, "page_errors": bool(signing.errors), "reach": reach}
    return _answer(request, form, effect, more)


def _enter(request: PersonRequest, form: CorrectionForm) -> "Record":
    return correct_record(
        record=form.record,
        service=form.correction(),
        reason=form.cleaned_data["reason"],
        user=request.user,
        entry_key=form.cleaned_data["key"],
        second=_second(request, form) if needs_second_person(form.record) else None,
        signed=True,
    )


def _second(request: PersonRequest, form: CorrectionForm) -> User | None:
    """Return the second person, once they have said their own name and password."""
    name, word = (form.cleaned_data[field] for field in form.SECOND)
    return second_person(request, username=name, password=word) if name else None


def _answer(
    request: PersonRequest, form: CorrectionForm, effect: Effect | None, more: dict[str, Any]
) -> HttpResponse:
    record, step = form.record, request.POST.get("step", "")
    context: dict[str, Any] = {
        "item": record.item,
        "record": record,
        "form": form,
        "section": "items",
        "along": recorded_along(record),
        "of_set": set_record_of(record),
        "needs_second": needs_second_person(record),
        **more,
    }
    refused = form.errors or more["page_errors"]
    status = 422 if refused and step != "change" else 200
    if effect is not None:
        rows, parts = change_rows(effect, record.item), part_rows(effect)
        context |= {"rows": rows, "parts": parts, "effect": effect}
        return render(request, "desk/work/correct_check.html", context, status=status)
    context["reading_names"] = reading_names()
    return render(request, "desk/work/correct_form.html", context, status=status)

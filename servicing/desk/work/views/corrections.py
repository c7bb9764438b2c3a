"""Correcting a record: say what is right and why, see what it moves, enter it."""

from typing import Any

from django.contrib.auth.models import User
from django.http import HttpResponse
from django.shortcuts import get_object_or_404

from registry.people.actions.presence import NotTheSecondPerson, second_person
from registry.people.actions.tries import TooManyTries
from registry.people.queries import PersonRequest, kept_for
from registry.sites.clock import today_at
from servicing.desk.parts.views import pages
from servicing.desk.parts.views.checked import CheckedForm
from servicing.desk.parts.views.effects import change_rows, part_rows, stamped_words
from servicing.desk.work.forms.changes import CorrectionForm
from servicing.due.actions import corrections
from servicing.due.actions.preview import Reach
from servicing.due.actions.services import ServiceRefused
from servicing.due.actions.standing import may_condemn
from servicing.due.queries.together import recorded_along, set_record_of
from servicing.ledger import actions as ledger
from servicing.ledger.queries.records import history_of, reading_names
from servicing.rules.queries import known_tasks

REFUSED = (
    ServiceRefused,
    ledger.CorrectionRefused,
    ledger.EntryKeyUsedTwice,
    ledger.SignatureRefused,
    NotTheSecondPerson,
    TooManyTries,
)


@pages.MAY_RECORD
def correct_view(request: PersonRequest, pk: int, position: int) -> HttpResponse:
    """Take a correction; first show what it moves, then, confirmed and signed, enter it."""
    item = pages.item_or_404(pk)
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
    checked = CheckedForm(request, form, refused=REFUSED)
    if (led := checked.entered(lambda: _enter(request, form))) is not None:
        return led
    context: dict[str, Any] = {
        "item": item,
        "record": record,
        "kept": kept,
        "section": "items",
        "along": recorded_along(record),
        "of_set": set_record_of(record),
        "needs_second": corrections.needs_second_person(record),
    }
    effect = checked.checked(
        lambda: corrections.effect_of_correction(record, form.correction()), again=True
    )
    if effect is None:
        context["reading_names"] = reading_names()
        return checked.page("desk/work/correct_form.html", context)
    reach = checked.checked(lambda: _reach(request, form), again=True)
    context |= {"rows": change_rows(effect, item), "parts": part_rows(effect)}
    context |= {"effect": effect, "reach": reach, "stamped": stamped_words(effect.after)}
    return checked.page("desk/work/correct_check.html", context)


def _enter(request: PersonRequest, form: CorrectionForm) -> str:
    added = corrections.correct_record(
        record=form.record,
        service=form.correction(),
        reason=form.cleaned_data["reason"],
        user=request.user,
        entry_key=form.cleaned_data["key"],
        second=_second(request, form) if corrections.needs_second_person(form.record) else None,
        signed=True,
    )
    return pages.record_address(form.record.item, added.position)


def _reach(request: PersonRequest, form: CorrectionForm) -> Reach:
    reason = form.cleaned_data["reason"]
    return corrections.reach_of_correction(
        form.record, form.correction(), reason=reason, user=request.user
    )


def _second(request: PersonRequest, form: CorrectionForm) -> User | None:
    """Return the second person, once they have said their own name and password."""
    name, word = (form.cleaned_data[field] for field in form.SECOND)
    return second_person(request, username=name, password=word) if name else None

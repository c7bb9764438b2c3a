"""A test of our own on screen."""

from decimal import Decimal
from typing import Any

from django.http import HttpResponse
from django.shortcuts import get_object_or_404

from registry.items.models import Item
from registry.items.pure import Kind
from registry.people.queries import PersonRequest, kept_for, viewer_of
from registry.sites.clock import today_at
from servicing.away.pure import RECEIVE_FIRST, Away
from servicing.away.queries import away_now
from servicing.desk.parts.views.checked import CheckedForm
from servicing.desk.parts.views.effects import stamped_after
from servicing.desk.parts.views.pages import MAY_RECORD, record_address
from servicing.desk.retests.forms.own import OwnTestForm
from servicing.desk.retests.views.pages import asked_of, in_section
from servicing.due.actions.standing import may_condemn
from servicing.hydrostatic import queries as retests
from servicing.hydrostatic.actions.consignments import ConsignmentRefused
from servicing.hydrostatic.actions.own import OwnTest, check_marks, enter_own_test
from servicing.hydrostatic.pure import marks
from servicing.hydrostatic.pure.amounts import HydroProblem
from servicing.hydrostatic.pure.content import is_us
from servicing.hydrostatic.pure.outcome import own_outcome
from servicing.hydrostatic.pure.own import Judged, judged
from servicing.hydrostatic.pure.verdict import MEANS, Word
from servicing.ledger.pure.entry import PASS
from servicing.ledger.queries.records import condemnation_of

RIG = "rig"
"""Where a session keeps what the plates of its rig say: as at the bench, until signing out."""


@MAY_RECORD
def own_test(request: PersonRequest, pk: int) -> HttpResponse:
    """Take a test of our own; first show the verdict, then, confirmed, enter it."""
    item = get_object_or_404(Item.objects.select_related("type", "site"), pk=pk)
    kept = kept_for(request)
    form = OwnTestForm(
        request.POST or None,
        today=today_at(item.site),
        initial={
            "by": viewer_of(request.user).name,
            **request.session.get(RIG, {}),
            **(kept.fields if kept else {}),
        },
    )
    condemned = condemnation_of(item) is not None
    context: dict[str, Any] = {
        "kept": kept,
        "item": item,
        **asked_of(item),
        "closed": _closed(item, away_now([pk]).get(pk), condemned=condemned),
    }

    def enter() -> str:
        position = enter_own_test(
            item=item,
            test=_own(form, _judged(form, item)),
            user=request.user,
            entry_key=form.cleaned_data["key"],
            signed=True,
        )
        request.session[RIG] = {name: request.POST.get(name, "") for name in form.RIG}
        return record_address(item, position)

    return CheckedForm(request, form, refused=(HydroProblem, ConsignmentRefused)).answer(
        enter=enter,
        preview=lambda: _verdict_shown(request, form, item),
        pages=("desk/retests/own_form.html", "desk/retests/own_check.html"),
        context=in_section(context),
    )


def _judged(form: OwnTestForm, item: Item) -> Judged:
    known = retests.known_of([item])[item.pk].marked(form.shoulder())
    return judged(form.raw(), known, retests.limits(), retests.described(item))


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
        shoulder=form.shoulder(),
    )


def _verdict_shown(request: PersonRequest, form: OwnTestForm, item: Item) -> dict[str, Any]:
    found, data = _judged(form, item), form.cleaned_data
    word = found.verdict.word
    check_marks(_own(form, found))
    shoulder = form.shoulder()
    return {
        "shoulder": shoulder.readings,
        "stamped": stamped_after(item, data["tested_on"], PASS, shoulder),
        "checked_with": retests.calibrated_cylinder(data["cylinder"], data["tested_on"]),
        "meant": retests.instruments_meant(data["cylinder"]),
        "outcome": own_outcome(word, may_condemn=may_condemn(request.user)),
        "found": found,
        "word": word,
        "means": MEANS[word],
        "marks": _marks(form, item) if word is Word.PASS else (),
        "marking_caution": marks.CAUTION,
        "suffixes": retests.suffixes_of(item, _elastic_ml(form)) if word is Word.PASS else (),
    }


def _elastic_ml(form: OwnTestForm) -> Decimal | None:
    total, permanent = (form.cleaned_data.get(name) for name in ("total_ml", "permanent_ml"))
    return None if total is None or permanent is None else total - permanent


def _marks(form: OwnTestForm, item: Item) -> tuple[str, ...]:
    """Return how the mark is laid out, with a placeholder for the body's number."""
    on, body = form.cleaned_data["tested_on"], "RIN0"
    us = is_us(item.specification)
    if item.construction not in ("", "type-1"):
        pressure = str(form.cleaned_data["reached"])
        return marks.composite_label(on, body, serial=item.serial, test_pressure=pressure, us=us)
    return marks.us_mark(on, body).lines if us else (str(marks.iso_mark(on, body)),)


def _closed(item: Item, away: Away | None, *, condemned: bool) -> str:
    """Return why an item can't be tested here, or nothing."""
    if item.type.kind != Kind.CYLINDER:
        return "Only cylinders are tested hydrostatically."
    if condemned:
        return "It is condemned and isn't tested again."
    return f"It is {away.words}. {RECEIVE_FIRST}" if away else ""

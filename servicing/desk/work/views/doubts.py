"""A manager's word that a record in doubt stands."""

from django.http import HttpResponse
from django.shortcuts import get_object_or_404

from registry.people.queries import PersonRequest, kept_for
from servicing.desk.parts.views import pages
from servicing.desk.parts.views.checked import CheckedForm
from servicing.desk.work.forms.changes import DecisionForm
from servicing.due.actions.doubts import NOT_IN_DOUBT, let_stand
from servicing.due.actions.services import ServiceRefused
from servicing.due.queries.doubts import doubt_about
from servicing.ledger.actions import EntryKeyUsedTwice, SignatureRefused
from servicing.ledger.queries.records import history_of


@pages.MAY_MANAGE
def let_stand_view(request: PersonRequest, pk: int, position: int) -> HttpResponse:
    """Take the reason why a record in doubt stands, signed."""
    item = pages.item_or_404(pk)
    record = get_object_or_404(history_of(item), position=position)
    record.item = item
    kept = kept_for(request)
    form = DecisionForm(request.POST or None, initial=kept.fields if kept else None)
    checked = CheckedForm(
        request,
        form,
        refused=(ServiceRefused, EntryKeyUsedTwice, SignatureRefused),
        at_once=True,
    )

    def enter() -> str:
        ruling = let_stand(
            record=record,
            reason=form.cleaned_data["reason"],
            user=request.user,
            entry_key=form.cleaned_data["key"],
            signed=True,
        )
        return pages.record_address(item, ruling.position)

    if (led := checked.entered(enter)) is not None:
        return led
    found = doubt_about(record)
    context = {
        "item": item,
        "record": record,
        "doubt": found[0] if found and found[1].is_open else None,
        "not_in_doubt": NOT_IN_DOUBT,
        "kept": kept,
        "section": "items",
    }
    return checked.page("desk/work/let_stand.html", context)

"""Taking an item out of service, bringing it back, condemning it."""

import uuid
from collections.abc import Callable
from typing import TYPE_CHECKING, NamedTuple

from django.contrib.auth.models import User
from django.http import Http404, HttpResponse

from registry.items.models import Item
from registry.people.actions.rights import refuse_unless
from registry.people.pure import Right
from registry.people.queries import PersonRequest, kept_for
from registry.sites.clock import today_at
from servicing.desk.parts.forms.turnout import TurnoutForm
from servicing.desk.parts.views import pages
from servicing.desk.parts.views.checked import CheckedForm
from servicing.desk.work.forms.changes import DecisionForm
from servicing.due.actions import standing
from servicing.due.actions.preview import turnout_of
from servicing.due.actions.services import ServiceRefused
from servicing.due.pure.turnout import Shortfall
from servicing.ledger.actions import EntryKeyUsedTwice, SignatureRefused

if TYPE_CHECKING:
    from servicing.ledger.models import Record


class Decision(NamedTuple):
    """What can be decided about an item: the deed, and what its page says."""

    enter: "Callable[..., Record]"
    title: str
    means: str


DECISIONS = {
    "withdraw": Decision(
        standing.withdraw,
        "Take out of service",
        "It is not to be used until somebody returns it to service. Its clocks go on.",
    ),
    "quarantine": Decision(
        standing.quarantine,
        "Keep back for investigation",
        "It is not to be used, nor changed, until what happened has been looked into.",
    ),
    "return": Decision(
        standing.return_to_service,
        "Return to service",
        "Everything that fell due meanwhile must be done, and every failure passed, before.",
    ),
    "condemn": Decision(
        standing.condemn,
        "Condemn",
        "It can never be used again. Only a correction that two people sign undoes it.",
    ),
}


@pages.MAY_RECORD
def decide_view(request: PersonRequest, pk: int, decision: str) -> HttpResponse:
    """Take a decision about an item's standing; condemning is asked about twice."""
    item = pages.item_or_404(pk)
    if decision not in DECISIONS:
        raise Http404
    if decision == "condemn":
        refuse_unless(request.user, Right.MANAGE, path=request.path)
    kept = kept_for(request)
    chosen = DECISIONS[decision]
    form = DecisionForm(request.POST or None, initial=kept.fields if kept else None)
    asked = decision == "condemn" and request.POST.get("step") == "check"
    checked = CheckedForm(
        request,
        form,
        refused=(ServiceRefused, EntryKeyUsedTwice, SignatureRefused),
        at_once=not asked,
    )
    falls = _turnout(item, chosen, request.user)
    checked.tick = TurnoutForm(request.POST if checked.sent else None, shortfall=falls)

    def enter() -> str:
        record = chosen.enter(
            item=item,
            reason=form.cleaned_data["reason"],
            user=request.user,
            entry_key=form.cleaned_data["key"],
            signed=True,
        )
        return pages.record_address(item, record.position)

    if (led := checked.entered(enter)) is not None:
        return led
    context = {
        "item": item,
        "decision": decision,
        "chosen": chosen,
        "section": "items",
        "sure": form.is_valid() and (asked or (decision == "condemn" and checked.sent)),
        "tick": checked.tick,
        "kept": kept,
        "missing": standing.why_not_return(item, today_at(item.site))
        if decision == "return"
        else [],
    }
    return checked.page("desk/work/decide.html", context)


def _turnout(item: Item, chosen: Decision, user: User) -> Shortfall:
    """Return what a decision takes from the stations; nothing where it will be refused."""
    # Another instance, and a reason of its own: none is typed yet when the page opens.
    held, key = pages.item_or_404(item.pk), uuid.uuid4().hex
    try:
        return turnout_of(
            lambda: chosen.enter(item=held, reason=chosen.title, user=user, entry_key=key),
            [item.pk],
        )
    except ServiceRefused:
        return Shortfall()

"""The limits that belong to a type: the maker's own, stricter than the procedures'."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse

from registry.items.models import ItemType
from registry.people.queries import PersonRequest
from registry.sites.clock import now
from servicing.bench.actions.procedures import LimitNotOpen, set_type_limit
from servicing.bench.models import TypeLimit
from servicing.bench.pure.limits import LimitProblem
from servicing.bench.pure.procedure import Measure
from servicing.bench.queries import procedures
from servicing.desk.bench.forms.limits import EndLimitForm, TypeLimitForm
from servicing.desk.parts.views.checked import CheckedForm
from servicing.desk.parts.views.pages import MAY_MANAGE


@MAY_MANAGE
def type_limits_page(request: PersonRequest, pk: int) -> HttpResponse:
    """Show a type's own limits with all their versions; set one, or take one away."""
    named = get_object_or_404(ItemType, pk=pk)
    readings = procedures.readings_open_to(named)
    ending = "end" in request.POST
    form = TypeLimitForm(None if ending else request.POST or None, readings=readings)
    end = EndLimitForm(request.POST if ending else None)
    sent = end if ending else form
    refused = (LimitProblem, LimitNotOpen)
    checked = CheckedForm(request, sent, refused=refused, at_once=True, signed=False)

    def enter() -> str:
        reading = sent.cleaned_data["reading"]
        set_type_limit(
            of=named,
            reading=reading,
            limit=None if ending else form.limit(),
            by=request.user,
            at=now(),
            why=sent.cleaned_data["why"],
        )
        said = "no longer holds" if ending else "is kept"
        messages.success(request, f"The limit for {reading} {said}.")
        return reverse("type-limits", args=[pk])

    if (led := checked.entered(enter)) is not None:
        return led
    context = {
        "named": named,
        "form": form,
        "end": end,
        "shown": sent,
        "bases": _bases(named),
        "limits": TypeLimit.objects.filter(type=named).order_by("reading", "-known_from"),
        "section": "items",
    }
    return checked.page("desk/bench/type_limits.html", context)


def _bases(named: ItemType) -> list[dict[str, str]]:
    """Return what the procedures themselves say of each reading that is open to a type."""
    found = procedures.measures_of(procedures.current_procedures().values(), named.kind)
    rows = {
        (m.reading, m.limit.words if m.limit else "the maker's own limit is needed"): m
        for m in found
    }
    return [
        {
            "reading": reading,
            "words": f"{said}{_share(measure, named.kind)}",
            "source": measure.limit.source if measure.limit else "",
        }
        for (reading, said), measure in sorted(rows.items())
    ]


def _share(measure: Measure, kind: str) -> str:
    """Return of what a limit is a share, in words; nothing where it is none."""
    if not measure.share_of:
        return ""
    what = measure.share_of.removesuffix("_bar").replace("_", " ")
    which = "fitted" if kind in procedures.BY_ITS_CYLINDER else "itself"
    return f" of the {what} of the cylinder {which}"

"""The limits that belong to a type: the maker's own, stricter than the procedures'."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from registry.items.models import ItemType
from registry.people.queries import PersonRequest
from registry.sites.clock import now
from servicing.bench.actions.procedures import LimitNotOpen, set_type_limit
from servicing.bench.models import TypeLimit
from servicing.bench.pure.limits import LimitProblem
from servicing.bench.pure.procedure import Measure
from servicing.bench.queries.procedures import (
    BY_ITS_CYLINDER,
    current_procedures,
    measures_of,
    readings_open_to,
)
from servicing.desk.bench.forms.limits import EndLimitForm, TypeLimitForm
from servicing.desk.parts.views.pages import MAY_MANAGE


@MAY_MANAGE
def type_limits_page(request: PersonRequest, pk: int) -> HttpResponse:
    """Show a type's own limits with all their versions; set one, or take one away."""
    named = get_object_or_404(ItemType, pk=pk)
    readings = readings_open_to(named)
    ending = request.method == "POST" and "end" in request.POST
    form = TypeLimitForm(request.POST if request.method == "POST" else None, readings=readings)
    end = EndLimitForm(request.POST if ending else None)
    if ending:
        form = TypeLimitForm(readings=readings)
        if end.is_valid():
            data = end.cleaned_data
            set_type_limit(
                of=named,
                reading=data["reading"],
                limit=None,
                by=request.user,
                at=now(),
                why=data["why"],
            )
            messages.success(request, f"The limit for {data['reading']} no longer holds.")
            return redirect("type-limits", pk=pk)
    elif form.is_valid():
        try:
            set_type_limit(
                of=named,
                reading=form.cleaned_data["reading"],
                limit=form.limit(),
                by=request.user,
                at=now(),
                why=form.cleaned_data["why"],
            )
            messages.success(request, f"The limit for {form.cleaned_data['reading']} is kept.")
            return redirect("type-limits", pk=pk)
        except (LimitProblem, LimitNotOpen) as problem:
            form.add_error(None, str(problem))
    shown = end if ending else form
    context = {
        "named": named,
        "form": form,
        "end": end,
        "shown": shown,
        "bases": _bases(named),
        "limits": TypeLimit.objects.filter(type=named).order_by("reading", "-known_from"),
        "section": "items",
        "page_errors": bool(shown.errors),
    }
    status = 422 if shown.errors else 200
    return render(request, "desk/bench/type_limits.html", context, status=status)


def _bases(named: ItemType) -> list[dict[str, str]]:
    """Return what the procedures themselves say of each reading that is open to a type."""
    found = measures_of(current_procedures().values(), named.kind)
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
    return f" of the {what} of the cylinder {'fitted' if kind in BY_ITS_CYLINDER else 'itself'}"

"""What these pages share: who may see them, and how they are shown."""

from typing import Any

from django.http import HttpResponse
from django.shortcuts import render

from registry.items.models import Item
from registry.people.queries import PersonRequest
from servicing.hydrostatic.pure.amounts import HydroProblem
from servicing.hydrostatic.pure.house import asked_pressure, least_pressure
from servicing.hydrostatic.pure.verdict import pre_check_pressure
from servicing.hydrostatic.queries import known_of, limits


def asked_of(item: Item) -> dict[str, Any]:
    """Return what the form says before anything is typed: the pressures and the limit."""
    try:
        known = known_of([item])[item.pk]
        table = limits()
        return {
            "asked": asked_pressure(known, table),
            "before_at_most": pre_check_pressure(least_pressure(known, table)),
            "limit_row": table.acceptance(item.specification),
        }
    except HydroProblem as problem:
        return {"asked_problem": str(problem)}


def form_page(request: PersonRequest, name: str, context: dict[str, Any]) -> HttpResponse:
    """Show a form, and what in it or in its signature is refused."""
    refused = context["form"].errors or context.get("page_errors")
    status = 422 if refused and request.POST.get("step") != "change" else 200
    page = f"desk/retests/{name}.html"
    return render(request, page, in_section(context), status=status)


def in_section(context: dict[str, Any]) -> dict[str, Any]:
    """Return what a page of this section shows, with the caution of the limits."""
    return {**context, "section": "retests", "cautions": [limits().caution]}

"""The page of one item, and the same for programs."""

from dataclasses import fields
from typing import Any

from django.http import HttpResponse, JsonResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from registry.people.queries import PersonRequest, viewer_of
from servicing.bench.queries.work import drafts_of
from servicing.desk.item.pure import acts_of_item
from servicing.desk.item.queries import ItemSheet, item_sheet, papers_now, sheet_json, stands_now
from servicing.desk.parts.forms.questions import AsOfForm
from servicing.desk.parts.views.pages import (
    EVERYONE,
    MOST_PAPERS,
    doubt_acts,
    item_or_404,
    unreadable,
)
from servicing.due.queries.engine import NotKnownThen

NEWEST = 50
"""So many records are shown of an item unless all are asked for."""


@EVERYONE
@require_safe
def item_page(request: PersonRequest, pk: int) -> HttpResponse:
    """Show what an item needs on a day, by which rule, and its history."""
    form = AsOfForm(request.GET)
    newest = None if request.GET.get("records") == "all" else NEWEST
    if (sheet := _sheet(pk, form, newest)) is None:
        return unreadable(request, form)
    said = {field.name: getattr(sheet, field.name) for field in fields(sheet)}
    said |= {"item": sheet.item, "standing": sheet.by_rules.standing, "life": sheet.by_rules.life}
    asked = AsOfForm(initial={"on": sheet.on, "known_by": sheet.known_by})
    context = {**said, "sheet": sheet, "as_of": asked, **_now(request, sheet)}
    return render(request, "desk/item/item.html", context)


@EVERYONE
@require_safe
def item_json(request: PersonRequest, pk: int) -> HttpResponse:
    """Give the same as the page to a program."""
    form = AsOfForm(request.GET)
    if (sheet := _sheet(pk, form)) is None:
        return JsonResponse({"errors": form.errors}, status=422)
    return JsonResponse(sheet_json(sheet), json_dumps_params={"ensure_ascii": False})


def _sheet(pk: int, form: AsOfForm, newest: int | None = None) -> ItemSheet | None:
    """Return the sheet that is asked for; None where the form says why it can't be told.

    newest: with so many of its records; None for all.
    """
    item = item_or_404(pk)
    if not form.is_valid():
        return None
    on, known_by = form.cleaned_data["on"], form.cleaned_data["known_by"]
    try:
        return item_sheet(item, on, known_by, newest=newest)
    except NotKnownThen as problem:
        form.add_error(None, str(problem))
        return None


def _now(request: PersonRequest, sheet: ItemSheet) -> dict[str, Any]:
    """Return what is so now, whatever day is shown: papers, where it is held, work in hand."""
    item = sheet.item
    papers = [] if sheet.known_by else papers_now(item, MOST_PAPERS)
    found: dict[str, Any] = {"papers": papers}
    viewer = viewer_of(request.user)
    if viewer.may_record:
        found["drafts"] = list(drafts_of(request.user).filter(item=item))
    now = sheet.on == sheet.today and not sheet.known_by
    found["doubts"] = [
        (doubt, row, doubt_acts(viewer, row) if now else None) for doubt, row in sheet.doubts
    ]
    stands, consigned = stands_now(sheet, viewer)
    return found | {"consigned": consigned, "to_do": stands.to_do, "acts": acts_of_item(stands)}

"""Lists: obligations and items, with filter and order in the address."""

from typing import Any

from django.db.models import Q
from django.http import HttpResponse
from django.shortcuts import render

from registry.items.models import Item
from registry.items.queries import register_was_empty
from registry.people.queries import PersonRequest
from registry.sites.models import Site
from registry.sites.queries import with_sites_below
from servicing.due.forms.questions import DueForm, ItemSearchForm
from servicing.due.queries.rows import due_rows, stored_rows
from servicing.due.queries.sums import items_with_due, with_standing
from servicing.due.tables import DueTable, ItemTable, arranged
from servicing.due.views.home import EVERYONE
from servicing.rules.queries import asked_tasks


@EVERYONE
def due_list(request: PersonRequest) -> HttpResponse:
    """Show obligations: today's from the store, another day's or moment's computed afresh."""
    form = DueForm(request.GET, tasks=asked_tasks())
    question = form.question() if form.is_valid() else None
    rows: Any = []
    if question is not None:
        computed = question.on or question.known_by
        rows = due_rows(question) if computed else stored_rows(question)
    table = arranged(DueTable(rows), request)
    context = {
        "form": form,
        "table": table,
        "question": question,
        "query": request.GET.urlencode(),
        "unknown": question is not None and register_was_empty(question.known_by),
    }
    status = 422 if form.errors else 200
    return render(request, "servicing/due/due_list.html", context, status=status)


@EVERYONE
def item_list(request: PersonRequest) -> HttpResponse:
    """Show items with their standing and what is due first."""
    form = ItemSearchForm(request.GET)
    items = Item.objects.none()
    if form.is_valid():
        items = items_with_due().filter(_item_filter(form.cleaned_data))
        if form.cleaned_data["standing"]:
            items = with_standing(items, form.cleaned_data["standing"])
    table = arranged(ItemTable(items), request)
    status = 422 if form.errors else 200
    context = {"form": form, "table": table}
    return render(request, "servicing/due/item_list.html", context, status=status)


def _item_filter(asked: dict[str, Any]) -> Q:
    found = Q()
    if asked["kind"]:
        found &= Q(type__kind=asked["kind"])
    if asked["site"]:
        found &= Q(site__in=with_sites_below(Site.objects.get(code=asked["site"])))
    if text := asked["text"]:
        found &= (
            Q(tag__icontains=text)
            | Q(serial__icontains=text)
            | Q(maker__icontains=text)
            | Q(type__model__icontains=text)
        )
    return found

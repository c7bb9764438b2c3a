"""The list of items."""

from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from registry.items.queries import register_was_empty
from registry.people.queries import PersonRequest
from servicing.away.queries import all_away
from servicing.desk.item.forms.questions import ItemSearchForm
from servicing.desk.item.tables import ItemTable
from servicing.desk.parts.tables import arranged
from servicing.desk.parts.views.pages import EVERYONE
from servicing.due.queries.items import items_then, items_today


@EVERYONE
@require_safe
def item_list(request: PersonRequest) -> HttpResponse:
    """Show items with their standing and what is due first; see `due_list` for other days."""
    form = ItemSearchForm(request.GET)
    question = form.question() if form.is_valid() else None
    rows: Any = []
    away = None
    if question is not None:
        computed = question.on or question.known_by
        rows = items_then(question) if computed else items_today(question)
        away = None if computed else all_away()
    context = {
        "form": form,
        "table": arranged(ItemTable(rows, away), request, form.sentence() if question else ""),
        "question": question,
        "unknown": question is not None and register_was_empty(question.known_by),
    }
    status = 422 if form.errors else 200
    return render(request, "desk/item/item_list.html", context, status=status)

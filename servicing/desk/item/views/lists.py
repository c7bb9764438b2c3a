"""The list of items."""

from functools import partial

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe
from django_tables2 import Table

from registry.items.queries import register_was_empty
from registry.people.queries import PersonRequest
from servicing.away.queries import all_away
from servicing.desk.item.forms.questions import ItemSearchForm
from servicing.desk.item.tables import ItemTable
from servicing.desk.parts.tables import arranged
from servicing.desk.parts.views.pages import EVERYONE
from servicing.due.queries.items import (
    ItemQuestion,
    as_they_stood,
    items_then,
    items_there,
    items_today,
)

OF_REGISTER = {f"{sign}{name}" for sign in ("", "-") for name in ("tag", "serial")}
"""The orders of the list that the register gives by itself, on whatever day."""


@EVERYONE
@require_safe
def item_list(request: PersonRequest) -> HttpResponse:
    """Show items with their standing and what is due first; see `due_list` for other days."""
    form = ItemSearchForm(request.GET)
    question = form.question() if form.is_valid() else None
    sentence = form.sentence() if question else ""
    context = {
        "form": form,
        "table": _table(request, question, sentence),
        "question": question,
        "unknown": question is not None and register_was_empty(question.known_by),
    }
    status = 422 if form.errors else 200
    return render(request, "desk/item/item_list.html", context, status=status)


def _table(request: PersonRequest, question: ItemQuestion | None, sentence: str) -> Table:
    if question is None:
        return arranged(ItemTable([]), request)
    if not (question.on or question.known_by):
        return arranged(ItemTable(items_today(question), all_away()), request, sentence)
    there = items_there(question) if set(request.GET.getlist("sort")) <= OF_REGISTER else None
    if there is None:
        return arranged(ItemTable(items_then(question)), request, sentence)
    return arranged(ItemTable(there), request, sentence, shown=partial(as_they_stood, question))

"""Lists: obligations and items, with filter and order in the address."""

from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from registry.items.queries import register_was_empty
from registry.people.queries import PersonRequest
from servicing.away.queries import all_away
from servicing.due.forms.questions import DueForm, ItemSearchForm, as_of_words
from servicing.due.pure.ahead import ASSUMPTION
from servicing.due.queries.ahead import rows_asked
from servicing.due.queries.items import items_then, items_today
from servicing.due.tables import DueTable, ItemTable, arranged
from servicing.due.views.home import EVERYONE
from servicing.rules.queries import asked_tasks


@EVERYONE
@require_safe
def due_list(request: PersonRequest) -> HttpResponse:
    """Show obligations: today's from the store, another day's or moment's computed afresh."""
    form = DueForm(request.GET, tasks=asked_tasks())
    question = form.question() if form.is_valid() else None
    rows: Any = []
    if question is not None:
        rows = rows_asked(question)
    now = question is not None and not (question.on or question.known_by)
    sentence = ""
    if question is not None:
        sentence = form.sentence() + as_of_words(question.on, question.known_by)
    table = arranged(DueTable(rows, all_away() if now else None), request, sentence)
    context = {
        "form": form,
        "table": table,
        "question": question,
        "query": request.GET.urlencode(),
        "unknown": question is not None and register_was_empty(question.known_by),
        "assumption": ASSUMPTION if question and question.ahead else "",
    }
    status = 422 if form.errors else 200
    return render(request, "servicing/due/due_list.html", context, status=status)


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
    return render(request, "servicing/due/item_list.html", context, status=status)

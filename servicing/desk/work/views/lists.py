"""Lists: obligations and items, with filter and order in the address."""

from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from registry.items.queries import register_was_empty
from registry.people.queries import PersonRequest
from servicing.away.queries import all_away
from servicing.desk.parts.forms.questions import as_of_words
from servicing.desk.parts.tables import arranged
from servicing.desk.parts.views.pages import EVERYONE
from servicing.desk.work.forms.questions import DueForm
from servicing.desk.work.tables import DueTable
from servicing.due.pure.ahead import ASSUMPTION
from servicing.due.queries.ahead import rows_asked
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
    return render(request, "desk/work/due_list.html", context, status=status)

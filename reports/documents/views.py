"""Papers on screen: each is made afresh and sent to be opened or kept."""

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from registry.items.queries import register_was_empty
from registry.people.queries import PersonRequest, viewer_of
from registry.sites.clock import now
from reports.documents.actions import PaperKind, make
from reports.documents.forms import PapersForm
from reports.documents.pure.duelist import due_list_pdf
from reports.documents.pure.overdue import overdue_pdf
from reports.documents.queries.lists import due_list_paper, overdue_report
from reports.documents.tables import PaperTable
from servicing.desk.parts.forms.questions import AsOfForm
from servicing.desk.parts.tables import arranged, sorted_by
from servicing.desk.parts.views.pages import EVERYONE, unreadable
from servicing.desk.work.forms.questions import DueForm
from servicing.desk.work.tables import DueTable, rows_of_table
from servicing.due.queries.ahead import rows_asked
from servicing.due.queries.engine import NotKnownThen
from servicing.papers.models import Paper
from servicing.papers.queries import papers_asked
from servicing.rules.queries import asked_tasks


@EVERYONE
@require_safe
def paper_list(request: PersonRequest) -> HttpResponse:
    """Show which papers were made, for whom, and which of them are superseded."""
    form = PapersForm(request.GET)
    found = form.is_valid()
    rows = papers_asked(form.question()) if found else Paper.objects.none()
    context = {"form": form, "table": arranged(PaperTable(rows), request), "section": "papers"}
    return render(request, "reports/paper_list.html", context, status=200 if found else 422)


@EVERYONE
@require_safe
def due_list_view(request: PersonRequest) -> HttpResponse:
    """Send the list for the sentence in the address: the rows of the screen, in its order."""
    form = DueForm(request.GET, tasks=asked_tasks())
    if not form.is_valid():
        return unreadable(request, form)
    question = form.question()
    if register_was_empty(question.known_by):
        form.add_error(None, "No item was in the register at that moment.")
        return unreadable(request, form)
    paper = due_list_paper(
        question,
        form.sentence(),
        rows_of_table(sorted_by(DueTable(rows_asked(question)), request)),
        printed_at=now(),
        printed_by=viewer_of(request.user).name,
    )
    return _pdf(due_list_pdf(paper), f"due-{paper.on.isoformat()}.pdf")


@EVERYONE
@require_safe
def overdue_view(request: PersonRequest) -> HttpResponse:
    """Send the overdue report for the sentence in the address.

    It is of what is overdue and undetermined as things stand, whatever state is asked for.
    """
    asked = {name: request.GET[name] for name in request.GET if name not in ("state", "ahead")}
    form = DueForm(asked, tasks=asked_tasks())
    if not form.is_valid():
        return unreadable(request, form)
    try:
        report = overdue_report(
            form.question(),
            form.sentence(),
            printed_at=now(),
            printed_by=viewer_of(request.user).name,
        )
    except NotKnownThen as problem:
        form.add_error(None, str(problem))
        return unreadable(request, form)
    return _pdf(overdue_pdf(report), f"overdue-{report.on.isoformat()}.pdf")


@EVERYONE
@require_safe
def paper_view(request: PersonRequest, pk: int, paper: PaperKind) -> HttpResponse:
    """Make and send a paper of its subject, as of a day and a moment where it takes them."""
    subject = get_object_or_404(paper.about.rows(), pk=pk)
    form = AsOfForm(request.GET if paper.about.as_of else {})
    if not form.is_valid():
        return unreadable(request, form)
    name = f"{paper.name}-{subject.pk}"
    if request.method == "HEAD":  # asks what there is, and has nothing made
        return _pdf(b"", f"{name}.pdf")
    asked = form.cleaned_data
    try:
        made = make(paper, subject, asked["on"], user=request.user, known_by=asked["known_by"])
    except NotKnownThen as problem:
        form.add_error(None, str(problem))
        return unreadable(request, form)
    return _pdf(made.content, f"{name}-{made.on.isoformat()}.pdf")


def _pdf(content: bytes, name: str) -> HttpResponse:
    return HttpResponse(
        content,
        content_type="application/pdf",
        headers={"Content-Disposition": f'inline; filename="{name}"', "Cache-Control": "no-store"},
    )

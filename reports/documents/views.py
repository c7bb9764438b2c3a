"""Papers on screen: each is made afresh and sent to be opened or kept."""

from collections.abc import Callable
from typing import TypeVar

from django.http import HttpResponse
from django.shortcuts import get_object_or_404

from registry.items.models import Item
from registry.people.queries import PersonRequest, viewer_of
from registry.sites.clock import now
from reports.documents.pure.assembly import set_pdf
from reports.documents.pure.consignment import consignment_pdf
from reports.documents.pure.overdue import overdue_pdf
from reports.documents.pure.record import record_pdf
from reports.documents.queries import consignment_list, overdue_report, service_record, set_paper
from servicing.due.forms.questions import AsOfForm, DueForm
from servicing.due.queries.engine import NotKnownThen
from servicing.due.views.home import EVERYONE
from servicing.due.views.items import item_or_404, unreadable
from servicing.due.views.sets import set_or_404
from servicing.hydrostatic.models import Consignment
from servicing.rules.queries import asked_tasks

Paper = TypeVar("Paper")


@EVERYONE
def overdue_view(request: PersonRequest) -> HttpResponse:
    """Send the overdue report for the sentence in the address."""
    form = DueForm(request.GET, tasks=asked_tasks())
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
    return _pdf(overdue_pdf(report), f"overdue-{report.on}.pdf")


@EVERYONE
def record_view(request: PersonRequest, pk: int) -> HttpResponse:
    """Send an item's service record as of a day."""
    return _as_of(
        request,
        item_or_404(pk),
        service_record,
        lambda record: _pdf(record_pdf(record), f"record-{pk}-{record.on}.pdf"),
    )


@EVERYONE
def set_view(request: PersonRequest, pk: int) -> HttpResponse:
    """Send the paper of a set as of a day."""
    return _as_of(
        request,
        set_or_404(pk),
        set_paper,
        lambda paper: _pdf(set_pdf(paper), f"set-{pk}-{paper.on}.pdf"),
    )


@EVERYONE
def consignment_view(request: PersonRequest, pk: int) -> HttpResponse:
    """Send the list that goes to the test house with the cylinders."""
    consignment = get_object_or_404(Consignment.objects.select_related("from_site"), pk=pk)
    paper = consignment_list(consignment, printed_at=now(), printed_by=viewer_of(request.user).name)
    return _pdf(consignment_pdf(paper), f"consignment-{consignment.number}.pdf")


def _as_of(
    request: PersonRequest,
    item: Item,
    gather: Callable[..., Paper],
    send: Callable[[Paper], HttpResponse],
) -> HttpResponse:
    """Gather an item's paper for the day and moment asked about, and send it; or say why not."""
    form = AsOfForm(request.GET)
    if not form.is_valid():
        return unreadable(request, form)
    try:
        paper = gather(
            item,
            form.cleaned_data["on"],
            printed_at=now(),
            printed_by=viewer_of(request.user).name,
            known_by=form.cleaned_data["known_by"],
        )
    except NotKnownThen as problem:
        form.add_error(None, str(problem))
        return unreadable(request, form)
    return send(paper)


def _pdf(content: bytes, name: str) -> HttpResponse:
    return HttpResponse(
        content,
        content_type="application/pdf",
        headers={"Content-Disposition": f'inline; filename="{name}"', "Cache-Control": "no-store"},
    )

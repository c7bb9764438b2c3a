"""Consignments on screen, and results by hand or by list."""

from collections.abc import Mapping, Sequence
from datetime import date
from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.forms import Form
from django.http import HttpResponse, StreamingHttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_safe

from registry.items.models import Item
from registry.lists.pure.leaving import file_name
from registry.lists.views import csv_download
from registry.people.queries import PersonRequest, kept_for, viewer_of
from registry.sites.clock import today_at
from servicing.away.models import Consigned, Consignment
from servicing.away.queries import all_away
from servicing.desk.parts.forms.turnout import TurnoutForm
from servicing.desk.retests.forms.consignments import (
    ConsignmentForm,
    DayForm,
    ResultForm,
    ResultsFileForm,
    SettleForm,
    TagsForm,
)
from servicing.due.actions.standing import may_condemn
from servicing.due.pure.turnout import Shortfall
from servicing.due.queries.engine import taken_out
from servicing.hydrostatic.actions.consignments import (
    ConsignmentRefused,
    add_cylinders,
    open_consignment,
    receive,
    remove_cylinder,
    send,
    take_back,
    turnout_when_gone,
)
from servicing.hydrostatic.actions.results import enter_results, opinion_of, settle
from servicing.hydrostatic.models import Result
from servicing.hydrostatic.pure.house import HouseResult
from servicing.hydrostatic.pure.limits import METHODS
from servicing.hydrostatic.pure.outcome import ledger_outcome
from servicing.hydrostatic.pure.results import FIGURES, GIVEN, REQUIRED, read_results
from servicing.hydrostatic.pure.verdict import Word
from servicing.hydrostatic.queries import (
    answered_by,
    condemnations_waiting,
    consignments_listed,
    cylinders_of,
    disputes_waiting,
    listed,
    result_of,
    results_of,
    sent_of,
)
from servicing.ledger.queries.records import condemned_days
from servicing.papers.queries import paper_lines, papers_about

if TYPE_CHECKING:
    from servicing.ledger.models import Record

from servicing.desk.parts.views.checked import CheckedForm
from servicing.desk.parts.views.effects import stamped_after
from servicing.desk.parts.views.pages import EVERYONE, MAY_MANAGE, MAY_RECORD
from servicing.desk.retests.pure import acts_of_consignment
from servicing.desk.retests.views.pages import asked_of, form_page, in_section

MOST_PAPERS = 12
MOST_BYTES = 8 * 2**20


@EVERYONE
@require_safe
def consignment_list(request: PersonRequest) -> HttpResponse:
    """Show what is away, what is being packed, and what came back."""
    rows = consignments_listed()
    waiting = condemnations_waiting()
    context = {
        "rows": rows,
        "away": len(all_away()),
        "condemn": waiting,
        "disputes": disputes_waiting(waiting),
        "section": "retests",
    }
    return render(request, "desk/retests/consignment_list.html", context)


@MAY_RECORD
def consignment_add(request: PersonRequest) -> HttpResponse:
    """Begin a consignment."""
    site = viewer_of(request.user).site
    kept = kept_for(request)
    given = {"from_site": site, "tags": request.GET.get("tag", "")}
    form = ConsignmentForm(request.POST or None, initial={**given, **(kept.fields if kept else {})})
    tick = None
    if form.is_valid():
        data = form.cleaned_data
        try:
            tick = TurnoutForm(request.POST, shown=_turnout_begun(data))
            if tick.known:
                return redirect(
                    open_consignment(
                        from_site=data["from_site"],
                        house=data["house"],
                        items=data["tags"],
                        user=request.user,
                        entry_key=data["key"],
                    )
                )
        except ConsignmentRefused as problem:
            form.add_error(None, str(problem))
    context = {"form": form, "kept": kept, "tick": tick, "page_errors": bool(tick and tick.errors)}
    return form_page(request, "consignment_form", context)


def _turnout_begun(data: Mapping[str, Any]) -> Shortfall:
    """Return what a consignment takes from the stations; one begun already has been asked about.

    data: of its form.
    """
    if not data["tags"] or Consignment.objects.filter(entry_key=data["key"]).exists():
        return Shortfall()
    return turnout_when_gone(data["tags"], house=data["house"])


@EVERYONE
@require_safe
def consignment_page(request: PersonRequest, pk: int) -> HttpResponse:
    """Show a consignment: what is in it, where it is, what came back."""
    consignment = _consignment(pk)
    return _page(request, consignment, TagsForm(), 200)


@MAY_RECORD
def consignment_change(request: PersonRequest, pk: int) -> HttpResponse:
    """Add cylinders to a consignment that is being packed, or take one out."""
    consignment = _consignment(pk)
    form = TagsForm(request.POST or None)
    tick = None
    try:
        if "remove" in request.POST:
            row = get_object_or_404(consignment.cylinders, pk=_whole(request.POST["remove"]))
            remove_cylinder(consigned=row, user=request.user)
            return redirect(consignment)
        if form.is_valid():
            items = form.cleaned_data["tags"]
            tick = TurnoutForm(request.POST, shown=_turnout_added(consignment, items))
            if tick.known:
                add_cylinders(consignment=consignment, items=items, user=request.user)
                return redirect(consignment)
    except ConsignmentRefused as problem:
        form.errors.setdefault("__all__", form.error_class()).append(str(problem))
    status = 422 if form.errors or (tick and tick.errors) else 200
    return _page(request, consignment, form, status, tick)


def _turnout_added(consignment: Consignment, items: Sequence[Item]) -> Shortfall:
    """Return what the whole consignment takes, where more than without these; else nothing."""
    whole = turnout_when_gone(items, consignment)
    return whole if whole != _turnout_packed(consignment) else Shortfall()


def _turnout_packed(consignment: Consignment) -> Shortfall:
    """Return what a consignment would take from the stations if it left today as it is packed."""
    try:
        return Shortfall() if consignment.sent_on else turnout_when_gone((), consignment)
    except ConsignmentRefused:  # nothing is in it
        return Shortfall()


@MAY_RECORD
def consignment_move(request: PersonRequest, pk: int) -> HttpResponse:
    """Let a consignment leave, or take it back."""
    consignment = _consignment(pk)
    leaving = consignment.sent_on is None
    act = "leaves" if leaving else "comes-back"
    if request.POST.get("act", act) != act:  # pressed twice: it has left, and is not back for that
        return redirect(consignment)
    form = DayForm(
        request.POST or None,
        label="Left on" if leaving else "Back on",
        today=today_at(consignment.from_site),
    )
    checked = _at_once(request, form)
    checked.tick = TurnoutForm(request.POST or None, shown=_turnout_packed(consignment))

    def enter() -> str:
        on: date = form.cleaned_data["on"]
        if leaving:
            send(consignment=consignment, sent_on=on, user=request.user)
        else:
            take_back(consignment=consignment, back_on=on, user=request.user)
        return consignment.get_absolute_url()

    if (led := checked.entered(enter)) is not None:
        return led
    context = {"consignment": consignment, "leaving": leaving, "tick": checked.tick, "act": act}
    return checked.page("desk/retests/consignment_move.html", in_section(context))


def _at_once(request: PersonRequest, form: Form) -> CheckedForm:
    """Return a form that is entered as it comes, unsigned, and may be refused."""
    return CheckedForm(request, form, refused=(ConsignmentRefused,), at_once=True, signed=False)


@MAY_RECORD
def consigned_back(request: PersonRequest, pk: int) -> HttpResponse:
    """Take one cylinder of a consignment back before the others."""
    rows = Consigned.objects.select_related("consignment__from_site", "item")
    row = get_object_or_404(rows, pk=pk)
    consignment = row.consignment
    form = DayForm(request.POST or None, label="Back on", today=today_at(consignment.from_site))

    def enter() -> str:
        receive(consigned=row, back_on=form.cleaned_data["on"], user=request.user)
        messages.success(request, f"{row.item.tag} is back from {consignment.house}.")
        return row.item.get_absolute_url()

    checked = _at_once(request, form)
    if (led := checked.entered(enter)) is not None:
        return led
    context = {"consignment": consignment, "row": row, "without_result": result_of(row) is None}
    return checked.page("desk/retests/consignment_move.html", in_section(context))


@EVERYONE
@require_safe
def consignment_csv(request: PersonRequest, pk: int) -> StreamingHttpResponse:
    """Send the list that goes with the cylinders, with empty columns for the house."""
    consignment = _consignment(pk)
    empty = [""] * len(FIGURES)
    rows = ([*(getattr(row, c) for c in GIVEN), *empty] for row in listed(consignment))
    return csv_download(file_name("consignment", consignment.number), [*GIVEN, *FIGURES], rows)


@MAY_RECORD
def consignment_results(request: PersonRequest, pk: int) -> HttpResponse:
    """Take in the list of results. All or nothing, every bad row named."""
    consignment = _consignment(pk)
    form = ResultsFileForm(request.POST or None, request.FILES or None)
    checked = CheckedForm(request, form, refused=(ConsignmentRefused,), at_once=True)
    results, problems = _read(form, consignment) if checked.sound else ([], [])

    def enter() -> str:
        fresh = enter_results(
            consignment=consignment, results=results, user=request.user, signed=True
        )
        messages.success(request, f"{len(fresh)} results entered.")
        return consignment.get_absolute_url()

    if (led := checked.entered(enter)) is not None:
        return led
    context = {
        "consignment": consignment,
        "problems": problems,
        "columns": [name for name in FIGURES if name not in REQUIRED],
        "methods": METHODS,
    }
    return checked.page("desk/retests/results_file.html", in_section(context))


def _read(form: ResultsFileForm, consignment: Consignment) -> tuple[list[HouseResult], list[str]]:
    """Return the results of a list and what is wrong with it; that it is stands in the form."""
    file = form.cleaned_data["file"]
    if file.size > MOST_BYTES:
        form.add_error("file", f"List of results: more than {MOST_BYTES // 2**20} MB; split it.")
        return [], []
    results, found = read_results(file.name, file.read(), cylinders=sent_of(consignment))
    if found:
        form.add_error("file", f"Nothing was entered: {len(found)} to put right.")
    return results, [str(problem) for problem in found]


@MAY_RECORD
def result_add(request: PersonRequest, pk: int) -> HttpResponse:
    """Take one result by hand; first show what we make of it, then, confirmed, enter it."""
    row = get_object_or_404(
        Consigned.objects.select_related("consignment__from_site", "item__type", "item__site"),
        pk=pk,
    )
    if result_of(row) is not None:
        return redirect(row.consignment)
    kept = kept_for(request)
    form = ResultForm(
        request.POST or None,
        tag=row.item.tag,
        sent=sent_of(row.consignment)[row.item.tag],
        initial={"held_s": "", **(kept.fields if kept else {})},
    )

    def enter() -> str:
        enter_results(
            consignment=row.consignment,
            results=[form.result()],
            user=request.user,
            signed=True,
        )
        return row.consignment.get_absolute_url()

    return CheckedForm(request, form, refused=(ConsignmentRefused,)).answer(
        enter=enter,
        preview=lambda: _opinion_shown(request, row, form.result()),
        pages=("desk/retests/result_form.html", "desk/retests/result_check.html"),
        context=in_section({"kept": kept, "row": row, "item": row.item, **asked_of(row.item)}),
    )


def _opinion_shown(request: PersonRequest, row: Consigned, result: HouseResult) -> dict[str, Any]:
    """Return what a check page says of a result: the house's word, ours, and what counts."""
    ours = opinion_of(row, result)
    may = may_condemn(request.user)
    return {
        "ours": ours,
        "result": result,
        "disagree": ours.word not in (None, result.word),
        "condemns": Word.CONDEMN in (result.word, ours.word),
        "outcome": ledger_outcome(result.word, ours.word, may_condemn=may),
        "stamped": stamped_after(row.item, result.tested_on, result.shoulder),
    }


@MAY_MANAGE
def result_settle(request: PersonRequest, pk: int) -> HttpResponse:
    """Settle a disagreement between the house and us."""
    result = get_object_or_404(
        Result.objects.select_related("consigned__item__site", "consigned__consignment"), pk=pk
    )
    kept = kept_for(request)
    form = SettleForm(request.POST or None, initial=kept.fields if kept else None)
    checked = CheckedForm(request, form, refused=(ConsignmentRefused,), at_once=True)

    def enter() -> str:
        settle(
            result=result,
            word=Word(form.cleaned_data["word"]),
            why=form.cleaned_data["why"],
            user=request.user,
            signed=True,
        )
        return result.consigned.consignment.get_absolute_url()

    if (led := checked.entered(enter)) is not None:
        return led
    item = result.consigned.item
    context: dict[str, Any] = {"kept": kept, "result": result}
    context["decided"] = answered_by([result]).get(result.pk)
    context["taken_out"] = taken_out(item, today_at(item.site))
    return checked.page("desk/retests/settle.html", in_section(context))


def _page(
    request: PersonRequest,
    consignment: Consignment,
    form: TagsForm,
    status: int,
    tick: TurnoutForm | None = None,
) -> HttpResponse:
    rows = cylinders_of(consignment)
    by_row = results_of(rows)
    results = list(by_row.values())
    decided = answered_by(results)
    still_open = [each for each in results if each.open_question and each.pk not in decided]
    disputed = sum(result.disagrees for result in still_open)
    condemned = condemned_days()
    waiting = sum(row.pk not in by_row and row.item.tag not in condemned for row in rows)
    acts = acts_of_consignment(
        consignment.pk,
        packed=consignment.sent_on is None,
        away=consignment.sent_on is not None and consignment.back_on is None,
        waiting=waiting > 0,
        may_record=viewer_of(request.user).may_record,
    )
    context = {
        "consignment": consignment,
        "acts": acts,
        "rows": [_row(row, by_row.get(row.pk), decided, condemned) for row in rows],
        "form": form,
        "tick": tick,
        "turnout": _turnout_packed(consignment),
        "papers": paper_lines(papers_about(consignment)[:MOST_PAPERS]),
        "to_settle": len(still_open),
        "disputed": disputed,
        "to_confirm": len(still_open) - disputed,
        "failed": sum(result.counts_as != Word.PASS for result in results),
        "waiting": waiting,
    }
    page = "desk/retests/consignment.html"
    return render(request, page, in_section(context), status=status)


def _row(
    row: Consigned,
    result: Result | None,
    decided: Mapping[int, "Record"],
    condemned: Mapping[str, date],
) -> tuple[Consigned, Result | None, "Record | None", date | None]:
    """Return a cylinder as its row shows it: result, what decided it, when it was condemned."""
    by = decided.get(result.pk) if result else None
    return row, result, by, None if result else condemned.get(row.item.tag)


def _consignment(pk: int) -> Consignment:
    return get_object_or_404(Consignment.objects.select_related("from_site"), pk=pk)


def _whole(text: str) -> int:
    return int(text) if text.isascii() and text.isdigit() and len(text) < 10 else 0

"""What a test house found: its list, one result by hand, and what is settled of it."""

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect

from registry.people.queries import PersonRequest, kept_for
from registry.sites.clock import today_at
from servicing.away.models import Consigned, Consignment
from servicing.desk.parts.views.checked import CheckedForm
from servicing.desk.parts.views.effects import stamped_after
from servicing.desk.parts.views.pages import MAY_MANAGE, MAY_RECORD
from servicing.desk.retests.forms.consignments import ResultForm, ResultsFileForm, SettleForm
from servicing.desk.retests.views.pages import asked_of, consignment_or_404, in_section
from servicing.due.actions.standing import may_condemn
from servicing.due.queries.engine import taken_out
from servicing.hydrostatic.actions.consignments import ConsignmentRefused
from servicing.hydrostatic.actions.results import enter_results, opinion_of, settle
from servicing.hydrostatic.models import Result
from servicing.hydrostatic.pure.house import HouseResult
from servicing.hydrostatic.pure.limits import METHODS
from servicing.hydrostatic.pure.outcome import ledger_outcome
from servicing.hydrostatic.pure.results import FIGURES, REQUIRED, read_results
from servicing.hydrostatic.pure.verdict import Word
from servicing.hydrostatic.queries import answered_by, result_of, sent_of

MOST_BYTES = 8 * 2**20


@MAY_RECORD
def consignment_results(request: PersonRequest, pk: int) -> HttpResponse:
    """Take in the list of results. All or nothing, every bad row named."""
    consignment = consignment_or_404(pk)
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
    outcome = ledger_outcome(result.word, ours.word, may_condemn=may_condemn(request.user))
    return {
        "ours": ours,
        "result": result,
        "disagree": ours.word not in (None, result.word),
        "condemns": Word.CONDEMN in (result.word, ours.word),
        "outcome": outcome,
        "stamped": stamped_after(row.item, result.tested_on, outcome, result.shoulder),
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

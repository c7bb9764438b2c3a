"""Consignments on screen, results by hand or by list, and tests of our own."""

import csv
from datetime import date
from io import StringIO
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from registry.items.models import Item
from registry.items.pure import Kind
from registry.people.pure import Role
from registry.people.queries import PersonRequest, for_roles, viewer_of
from registry.sites.clock import today_at
from servicing.due.actions.standing import may_condemn
from servicing.hydrostatic.actions.consignments import (
    ConsignmentRefused,
    add_cylinders,
    open_consignment,
    remove_cylinder,
    send,
    take_back,
)
from servicing.hydrostatic.actions.own import OwnTest, enter_own_test
from servicing.hydrostatic.actions.results import enter_results, opinion_of, settle
from servicing.hydrostatic.forms.consignments import (
    ConsignmentForm,
    DayForm,
    ResultForm,
    ResultsFileForm,
    SettleForm,
    TagsForm,
)
from servicing.hydrostatic.forms.own import OwnTestForm
from servicing.hydrostatic.models import Consigned, Consignment, Result
from servicing.hydrostatic.pure.amounts import HydroProblem
from servicing.hydrostatic.pure.house import asked_pressure
from servicing.hydrostatic.pure.limits import METHODS
from servicing.hydrostatic.pure.marks import CAUTION, composite_label, iso_mark, us_mark
from servicing.hydrostatic.pure.outcome import ledger_outcome, own_outcome
from servicing.hydrostatic.pure.own import Judged, judged
from servicing.hydrostatic.pure.results import FIGURES, GIVEN, read_results
from servicing.hydrostatic.pure.verdict import MEANS, Word, pre_check_pressure
from servicing.hydrostatic.queries import (
    calibrated_cylinder,
    condemnations_waiting,
    consignments_listed,
    cylinders_of,
    described,
    known_of,
    limits,
    listed,
    result_of,
    results_of,
    sent_of,
)
from servicing.ledger.queries import condemnation_of

EVERYONE = for_roles(*Role)
MAY_RECORD = for_roles(Role.TECHNICIAN, Role.MANAGER)
MAY_MANAGE = for_roles(Role.MANAGER)
MOST_BYTES = 8 * 2**20
FORMULA_SIGNS = tuple("=+-@\t\r")


@EVERYONE
def consignment_list(request: PersonRequest) -> HttpResponse:
    """Show what is away, what is being packed, and what came back."""
    rows = consignments_listed()
    away = sum(row.many for row in rows if row.consignment.state == "away")
    waiting = condemnations_waiting()
    context = {"rows": rows, "away": away, "condemn": waiting, "section": "retests"}
    return render(request, "servicing/hydrostatic/consignment_list.html", context)


@MAY_RECORD
def consignment_add(request: PersonRequest) -> HttpResponse:
    """Begin a consignment."""
    site = viewer_of(request.user).site
    form = ConsignmentForm(
        request.POST or None, initial={"from_site": site, "tags": request.GET.get("tag", "")}
    )
    if form.is_valid():
        data = form.cleaned_data
        try:
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
    return _form(request, "consignment_form", {"form": form})


@EVERYONE
def consignment_page(request: PersonRequest, pk: int) -> HttpResponse:
    """Show a consignment: what is in it, where it is, what came back."""
    consignment = _consignment(pk)
    return _page(request, consignment, TagsForm(), 200)


@MAY_RECORD
def consignment_change(request: PersonRequest, pk: int) -> HttpResponse:
    """Add cylinders to a consignment that is being packed, or take one out."""
    consignment = _consignment(pk)
    form = TagsForm(request.POST or None)
    try:
        if "remove" in request.POST:
            row = get_object_or_404(consignment.cylinders, pk=_whole(request.POST["remove"]))
            remove_cylinder(consigned=row)
            return redirect(consignment)
        if form.is_valid():
            add_cylinders(consignment=consignment, items=form.cleaned_data["tags"])
            return redirect(consignment)
    except ConsignmentRefused as problem:
        form.errors.setdefault("__all__", form.error_class()).append(str(problem))
    return _page(request, consignment, form, 422 if form.errors else 200)


@MAY_RECORD
def consignment_move(request: PersonRequest, pk: int) -> HttpResponse:
    """Let a consignment leave, or take it back."""
    consignment = _consignment(pk)
    leaving = consignment.sent_on is None
    form = DayForm(
        request.POST or None,
        label="Left on" if leaving else "Back on",
        today=today_at(consignment.from_site),
    )
    if form.is_valid():
        on: date = form.cleaned_data["on"]
        try:
            if leaving:
                send(consignment=consignment, sent_on=on)
            else:
                take_back(consignment=consignment, back_on=on)
            return redirect(consignment)
        except ConsignmentRefused as problem:
            form.add_error(None, str(problem))
    context = {"form": form, "consignment": consignment, "leaving": leaving}
    return _form(request, "consignment_move", context)


@EVERYONE
def consignment_csv(request: PersonRequest, pk: int) -> HttpResponse:
    """Send the list that goes with the cylinders, with empty columns for the house."""
    consignment = _consignment(pk)
    text = StringIO()
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow([*GIVEN, *FIGURES])
    for row in listed(consignment):
        given = (_plain(getattr(row, column)) for column in GIVEN)
        writer.writerow([*given, *("" for _ in FIGURES)])
    name = f"consignment-{consignment.number}.csv"
    return HttpResponse(
        "\ufeff" + text.getvalue(),
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )


@MAY_RECORD
def consignment_results(request: PersonRequest, pk: int) -> HttpResponse:
    """Take in the list of results. All or nothing, every bad row named."""
    consignment = _consignment(pk)
    form = ResultsFileForm(request.POST or None, request.FILES or None)
    problems: list[str] = []
    if form.is_valid():
        file = form.cleaned_data["file"]
        if file.size > MOST_BYTES:
            form.add_error(
                "file", f"List of results: more than {MOST_BYTES // 2**20} MB; split it."
            )
        else:
            results, found = read_results(file.name, file.read(), cylinders=sent_of(consignment))
            problems = [str(problem) for problem in found]
            try:
                if not problems:
                    fresh = enter_results(
                        consignment=consignment, results=results, user=request.user
                    )
                    messages.success(request, f"{len(fresh)} results entered.")
                    return redirect(consignment)
            except ConsignmentRefused as problem:
                form.add_error(None, str(problem))
            if problems:
                form.add_error("file", f"Nothing was entered: {len(problems)} to put right.")
    context = {
        "form": form,
        "consignment": consignment,
        "problems": problems,
        "columns": FIGURES,
        "methods": METHODS,
    }
    return _form(request, "results_file", context)


@MAY_RECORD
def result_add(request: PersonRequest, pk: int) -> HttpResponse:
    """Take one result by hand; first show what we make of it, then, confirmed, enter it."""
    row = get_object_or_404(
        Consigned.objects.select_related("consignment__from_site", "item__type", "item__site"),
        pk=pk,
    )
    if result_of(row) is not None:
        return redirect(row.consignment)
    form = ResultForm(
        request.POST or None,
        tag=row.item.tag,
        sent=sent_of(row.consignment)[row.item.tag],
        initial={"held_s": ""},
    )
    context: dict[str, Any] = {"form": form, "row": row, "item": row.item, **_asked(row.item)}
    if form.is_valid() and request.POST.get("step") != "change":
        result = form.result()
        try:
            if request.POST.get("step") == "enter":
                enter_results(consignment=row.consignment, results=[result], user=request.user)
                return redirect(row.consignment)
        except ConsignmentRefused as problem:
            form.add_error(None, str(problem))
        else:
            ours = opinion_of(row, result)
            context |= {
                "ours": ours,
                "result": result,
                "disagree": ours.word not in (None, result.word),
                "condemns": Word.CONDEMN in (result.word, ours.word),
                "outcome": ledger_outcome(
                    result.word, ours.word, may_condemn=may_condemn(request.user)
                ),
            }
            return render(request, "servicing/hydrostatic/result_check.html", _in(context))
    return _form(request, "result_form", context)


@MAY_MANAGE
def result_settle(request: PersonRequest, pk: int) -> HttpResponse:
    """Settle a disagreement between the house and us."""
    result = get_object_or_404(
        Result.objects.select_related("consigned__item", "consigned__consignment"), pk=pk
    )
    form = SettleForm(request.POST or None)
    if form.is_valid():
        data = form.cleaned_data
        try:
            settle(result=result, word=Word(data["word"]), why=data["why"], user=request.user)
            return redirect(result.consigned.consignment)
        except ConsignmentRefused as problem:
            form.add_error(None, str(problem))
    return _form(request, "settle", {"form": form, "result": result})


@MAY_RECORD
def own_test(request: PersonRequest, pk: int) -> HttpResponse:
    """Take a test of our own; first show the verdict, then, confirmed, enter it."""
    item = get_object_or_404(Item.objects.select_related("type", "site"), pk=pk)
    form = OwnTestForm(
        request.POST or None,
        today=today_at(item.site),
        initial={"by": viewer_of(request.user).name},
    )
    context: dict[str, Any] = {"form": form, "item": item, **_asked(item)}
    condemned = condemnation_of(item)
    context["closed"] = _closed(item, condemned is not None)
    if form.is_valid() and request.POST.get("step") != "change":
        try:
            found = judged(form.raw(), known_of([item])[item.pk], limits(), described(item))
            data = form.cleaned_data
            context["checked_with"] = calibrated_cylinder(data["cylinder"], data["tested_on"])
            if request.POST.get("step") == "enter":
                position = enter_own_test(
                    item=item,
                    test=_own(form, found),
                    user=request.user,
                    entry_key=form.cleaned_data["key"],
                )
                return redirect("record", pk=item.pk, position=position)
        except (HydroProblem, ConsignmentRefused) as problem:
            form.add_error(None, str(problem))
        else:
            context |= _verdict_shown(form, item, found)
            context["outcome"] = own_outcome(
                found.verdict.word, may_condemn=may_condemn(request.user)
            )
            return render(request, "servicing/hydrostatic/own_check.html", _in(context))
    return _form(request, "own_form", context)


def _own(form: OwnTestForm, found: Judged) -> OwnTest:
    data = form.cleaned_data
    word = found.verdict.word
    return OwnTest(
        data["tested_on"],
        data["by"],
        word,
        found.says,
        found.readings,
        cylinder=data["cylinder"],
    )


def _verdict_shown(form: OwnTestForm, item: Item, found: Judged) -> dict[str, Any]:
    word = found.verdict.word
    return {
        "found": found,
        "word": word,
        "means": MEANS[word],
        "marks": _marks(form, item) if word is Word.PASS else (),
        "marking_caution": CAUTION,
    }


def _marks(form: OwnTestForm, item: Item) -> tuple[str, ...]:
    """Return how the mark is laid out, with a placeholder for the body's number."""
    on, body = form.cleaned_data["tested_on"], "RIN0"
    us = item.specification.startswith(("DOT-", "CTC-", "TC-"))
    if item.construction not in ("", "type-1"):
        pressure = str(form.cleaned_data["reached"])
        return composite_label(on, body, serial=item.serial, test_pressure=pressure, us=us)
    return us_mark(on, body).lines if us else (str(iso_mark(on, body)),)


def _closed(item: Item, condemned: bool) -> str:
    """Return why an item can't be tested, or nothing."""
    if item.type.kind != Kind.CYLINDER:
        return "Only cylinders are tested hydrostatically."
    return "It is condemned and isn't tested again." if condemned else ""


def _asked(item: Item) -> dict[str, Any]:
    """Return what the form says before anything is typed: the pressures and the limit."""
    try:
        known = known_of([item])[item.pk]
        pressure = asked_pressure(known, limits())
        row = limits().acceptance(item.specification)
        return {"asked": pressure, "before_at_most": pre_check_pressure(pressure), "limit_row": row}
    except HydroProblem as problem:
        return {"asked_problem": str(problem)}


def _page(
    request: PersonRequest, consignment: Consignment, form: TagsForm, status: int
) -> HttpResponse:
    rows = cylinders_of(consignment)
    by_row = results_of(rows)
    results = list(by_row.values())
    context = {
        "consignment": consignment,
        "rows": [(row, by_row.get(row.pk)) for row in rows],
        "form": form,
        "to_settle": sum(result.open_question for result in results),
        "disputed": sum(result.open_question and result.disagrees for result in results),
        "to_confirm": sum(result.open_question and not result.disagrees for result in results),
        "failed": sum(result.counts_as != Word.PASS for result in results),
        "waiting": len(rows) - len(results),
    }
    page = "servicing/hydrostatic/consignment.html"
    return render(request, page, _in(context), status=status)


def _form(request: PersonRequest, name: str, context: dict[str, Any]) -> HttpResponse:
    form = context["form"]
    status = 422 if form.errors and request.POST.get("step") != "change" else 200
    page = f"servicing/hydrostatic/{name}.html"
    return render(request, page, _in(context), status=status)


def _in(context: dict[str, Any]) -> dict[str, Any]:
    return {**context, "section": "retests", "cautions": [limits().caution]}


def _consignment(pk: int) -> Consignment:
    return get_object_or_404(Consignment.objects.select_related("from_site"), pk=pk)


def _whole(text: str) -> int:
    return int(text) if text.isascii() and text.isdigit() and len(text) < 10 else 0


def _plain(text: str) -> str:
    """Return a cell that no spreadsheet takes for a formula; reading takes the mark off again."""
    return f"'{text}" if text.startswith(FORMULA_SIGNS) else text

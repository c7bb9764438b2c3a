"""Sets: which are ready, what is in one, and changing it by scanning."""

import uuid
from collections.abc import Sequence

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from registry.items.models import Item
from registry.items.pure import Kind
from registry.items.queries import Meant, named_by
from registry.people.queries import PersonRequest, kept_for
from registry.sets.actions import DoesNotFit, FittingRefused
from registry.sets.models import Fitting
from registry.sets.pure.parts import Word
from registry.sets.pure.places import CYLINDERS, NoPlace, Place
from registry.sets.pure.steps import AFTERWARDS, REMOVING, SOURCE
from registry.sets.queries import Plan, fittings_with, past_of
from registry.sites.clock import today_at
from registry.sites.queries import sites_meant
from servicing.desk.parts.tables import arranged
from servicing.desk.parts.views import pages
from servicing.desk.parts.views.checked import CheckedForm
from servicing.desk.sets import forms
from servicing.desk.sets.tables import SetTable
from servicing.due.actions import sets as fittings
from servicing.due.actions.preview import turnout_of
from servicing.due.pure.readiness import READY
from servicing.due.pure.turnout import Shortfall
from servicing.due.queries.sets import ready_sets, set_sheet, sets_today
from servicing.rules.queries import cautions_of


@pages.EVERYONE
@require_safe
def set_list(request: PersonRequest) -> HttpResponse:
    """Show every set with whether it is ready today, and why not."""
    form = forms.SetSearchForm(request.GET)
    rows, everything, within = [], [], None
    if form.is_valid():
        word = form.cleaned_data["state"]
        everything = sets_today(**form.place())
        within = sites_meant(**form.place())
        rows = [row for row in everything if _wanted(row.readiness.state, word)]
    table = arranged(SetTable(rows), request)
    context = {"form": form, "table": table, "by_site": ready_sets(everything, within)}
    context["section"] = "sets"
    status = 422 if form.errors else 200
    return render(request, "desk/sets/set_list.html", context, status=status)


def _wanted(state: str, word: str) -> bool:
    if word == "ready":
        return state in READY
    return state not in READY if word == "not-ready" else not word or state == word


@pages.MAY_RECORD
def set_parts(request: PersonRequest, pk: int) -> HttpResponse:
    """Take one part after the other by its tag; what was in its place comes out."""
    set_item = pages.set_or_404(pk)
    form = forms.ScanForm(request.POST or None)
    named = named_by(form.cleaned_data["tag"]) if form.is_valid() else None
    if named is None or named.item is None:
        if named is not None:
            form.add_error("tag", named.why_none)
        return _bench(request, set_item, form, named.meant if named else ())
    part = named.item
    try:
        plan, fit_form = _to_confirm(request, set_item, part, form.cleaned_data["key"])
        if plan is not None and fit_form is not None and not fit_form.is_valid():
            return _confirm(request, set_item, part, plan, fit_form)
        said = fit_form.cleaned_data if fit_form is not None else {}
        fitting = fittings.fit(
            set_item=set_item,
            part=part,
            on=said.get("on") or today_at(set_item.site),
            by=request.user,
            entry_key=form.cleaned_data["key"],
            note=said.get("note", ""),
            confirmed=said.get("confirmed", False),
        )
        brought = _brought(part, fitting)
    except DoesNotFit as problem:
        reasons = (finding.sentence for finding in problem.findings)
        form.add_error("tag", [f"{part.tag} does not go in.", *reasons])
        return _bench(request, set_item, form)
    except (FittingRefused, NoPlace) as problem:
        form.add_error("tag", f"{part.tag} does not go in. {problem}")
        return _bench(request, set_item, form)
    messages.success(request, _what_was_done(fitting) + brought)
    return redirect("set-parts", pk=pk)


def _brought(part: Item, fitting: Fitting) -> str:
    """Say of a part that came from another site that it is the set's now."""
    home = fitting.set.site
    if part.site_id == home.pk:
        return ""
    return f" It came from {part.site.name} and is at {home.name} from now on."


def _to_confirm(
    request: PersonRequest, set_item: Item, part: Item, key: str
) -> tuple[Plan | None, forms.FitForm | None]:
    """Return what fitting would do, and the form where something must be confirmed first.

    Nothing is planned for a form that did its work already: it is answered again.
    """
    if Fitting.objects.filter(entry_key=key).exists():
        return None, None
    today = today_at(set_item.site)
    plan = fittings.planned(set_item=set_item, part=part, on=today)
    unstated = bool(plan.of(Word.NOT_STATED))
    if not (plan.steps or unstated):
        return plan, None
    data = request.POST if request.POST.get("step") == "enter" else None
    initial = {"key": key, "tag": part.tag}
    return plan, forms.FitForm(
        data, ticks=plan.steps, unstated=unstated, today=today, initial=initial
    )


def _what_was_done(fitting: Fitting) -> str:
    out = Fitting.objects.filter(removal_key=f"{fitting.entry_key}-out"[:64]).first()
    came_out = f", {out.part.tag} came out" if out else ""
    after = f" {AFTERWARDS}" if fitting.place in CYLINDERS else ""
    return (
        f"{fitting.part.tag} is in {fitting.set.tag} as {_plain(fitting.place)}{came_out}.{after}"
    )


def _bench(
    request: PersonRequest, set_item: Item, form: forms.ScanForm, meant: Sequence[Meant] = ()
) -> HttpResponse:
    """Show the set with an empty field for the next scan, and above it what was refused.

    The field is emptied and keeps the focus: another scan must not be typed behind the
    refused one.
    """
    shown = set_sheet(set_item, today_at(set_item.site))
    context = {
        "item": set_item,
        "form": forms.ScanForm(),
        "meant": meant,
        "page_errors": form.errors.get("tag", []) if form.is_bound else [],
        "shown": shown,
        "cautions": cautions_of(shown.tables),
        "rows": [(place, shown.at(place)) for place in Place],
        "section": "items",
    }
    status = 422 if form.errors else 200
    return render(request, "desk/sets/set_parts.html", context, status=status)


def _confirm(
    request: PersonRequest, set_item: Item, part: Item, plan: Plan, form: forms.FitForm
) -> HttpResponse:
    context = {
        "item": set_item,
        "part": part,
        "plan": plan,
        "unstated": plan.of(Word.NOT_STATED),
        "form": form,
        "steps_source": SOURCE,
        "section": "items",
    }
    status = 422 if form.errors else 200
    return render(request, "desk/sets/set_fit.html", context, status=status)


@pages.MAY_RECORD
def part_out(request: PersonRequest, pk: int, fitting: int) -> HttpResponse:
    """Take a part out of a set; a cylinder by its steps."""
    set_item = pages.set_or_404(pk)
    row = get_object_or_404(set_item.fittings.select_related("part__type", "set__site"), pk=fitting)
    ticks = REMOVING if row.place in CYLINDERS else ()
    kept, today = kept_for(request), today_at(set_item.site)
    typed = kept.fields if kept else None
    form = forms.RemoveForm(request.POST or None, ticks=ticks, today=today, initial=typed)
    checked = CheckedForm(request, form, refused=(FittingRefused,), at_once=True, signed=False)

    def enter() -> str:
        said = form.cleaned_data
        fittings.take_out(
            fitting=row,
            on=said["on"],
            by=request.user,
            entry_key=said["key"],
            note=said["note"],
        )
        messages.success(request, f"{row.part.tag} is out of {set_item.tag}.")
        return reverse("set-parts", args=[pk])

    if (led := checked.entered(enter)) is not None:
        return led
    context = {
        "item": set_item,
        "fitting": row,
        "kept": kept,
        "steps_source": SOURCE,
        "turnout": _turnout_without(row),
        "section": "items",
    }
    return checked.page("desk/sets/set_remove.html", context)


def _turnout_without(row: Fitting) -> Shortfall:
    """Return what taking a part out of its set today takes from the stations."""
    today, key = today_at(row.set.site), uuid.uuid4().hex
    try:
        return turnout_of(
            lambda: fittings.take_out(fitting=row, on=today, by=None, entry_key=key), [row.set_id]
        )
    except FittingRefused:
        return Shortfall()


@pages.EVERYONE
@require_safe
def set_past(request: PersonRequest, pk: int) -> HttpResponse:
    """Show everything that was ever fitted to a set, or the sets a part was ever in."""
    item = pages.item_or_404(pk)
    is_set = item.type.kind == Kind.SET
    rows = past_of(item) if is_set else fittings_with(item)
    context = {"item": item, "is_set": is_set, "rows": rows, "section": "items"}
    return render(request, "desk/sets/set_past.html", context)


def _plain(word: str) -> str:
    return word.replace("-", " ")

"""A crate of items through one task: set once, then scan, read, scan, read; signed together."""

from collections.abc import Mapping, Sequence
from typing import Any

from django.contrib import messages
from django.contrib.auth.models import User
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.http import urlencode

from registry.items.queries import Meant, named_by
from registry.people.queries import PersonRequest, kept_form, viewer_of
from registry.sites.clock import now, today_anywhere, today_at
from servicing.bench.actions import batches
from servicing.bench.actions.drafts import begin_again
from servicing.bench.models import Batch, Draft, ProcedureVersion
from servicing.bench.pure.answers import Unusual
from servicing.bench.pure.applying import Facts
from servicing.bench.pure.needs import calibrated, has_other_units, plain
from servicing.bench.queries import batches as crates
from servicing.bench.queries.facts import tables_at
from servicing.bench.queries.procedures import current_procedures
from servicing.bench.queries.thrown import thrown_by
from servicing.desk.bench.forms import batches as forms
from servicing.desk.bench.pure import acts_of_batch
from servicing.desk.bench.views import hand
from servicing.desk.parts.views.pages import MAY_RECORD
from servicing.due.actions.services import ServiceRefused
from servicing.due.queries.instruments import instruments_near


@MAY_RECORD
def batch_start(request: PersonRequest) -> HttpResponse:
    """Choose what a batch is: first the procedure, then the day and the instruments."""
    site = viewer_of(request.user).site
    today = today_at(site) if site else today_anywhere()
    versions = current_procedures()
    asked = request.POST.get("procedure") or request.GET.get("procedure", "")
    at_hand = versions.get(asked)
    if at_hand is None:
        facts: Facts = {"tables": tables_at(site, today)} if site else {}
        in_force = [
            each
            for each in versions.values()
            if each.procedure.in_force(today) and each.procedure.applies.to(facts) is not False
        ]
        context: dict[str, Any] = {
            "found": sorted(in_force, key=lambda each: each.title),
            "batches": crates.batches_of(request.user),
            "thrown": thrown_by(request.user),
            "section": "bench",
        }
        return render(request, "desk/bench/batch_start.html", context)
    words = calibrated(at_hand.procedure)
    form = forms.BatchStartForm(
        request.POST or None,
        at_hand=at_hand,
        words=words,
        by=[at_hand.procedure],
        offered=instruments_near(site, today, words),
        chosen={w: pk for w, pk in hand.chosen_instruments(request).items() if w in words},
        psi=hand.reads_psi(request) if has_other_units(at_hand.procedure) else None,
        initial={"done_on": today},
    )
    if form.is_valid() and form.not_later_than(today) and form.holds(form.cleaned_data["done_on"]):
        return _begun(request, form, at_hand)
    context = {
        "form": form,
        "at_hand": at_hand,
        "plain": plain(at_hand.procedure),
        "section": "bench",
        "cautions": [at_hand.caution],
    }
    status = 422 if form.errors else 200
    return render(request, "desk/bench/batch_setting.html", context, status=status)


def _begun(
    request: PersonRequest, form: forms.BatchStartForm, at_hand: ProcedureVersion
) -> HttpResponse:
    """Begin the batch, or ask for the next instrument where one was scanned."""
    hand.keep_instruments(request, form.chosen())
    if units := form.cleaned_data.get("units"):
        hand.keep_units(request, psi=units == "psi")
    words = set(form.words)
    held = {w: pk for w, pk in hand.chosen_instruments(request).items() if w in words}
    if form.by_scan() and words - held.keys():
        again = urlencode({"procedure": at_hand.procedure_id})
        return redirect(f"{reverse('bench-batch-start')}?{again}")
    batch = batches.begin_batch(
        user=request.user,
        at_hand=at_hand,
        kind=at_hand.procedure.kinds[0],
        done_on=form.cleaned_data["done_on"],
        instruments=held,
        left=form.cleaned_data.get("left", []),
        at=now(),
    )
    return redirect("bench-batch", pk=batch.pk)


def own_batch(request: PersonRequest, pk: int) -> Batch:
    """Return a batch of the person who asks, else 404."""
    return get_object_or_404(Batch, pk=pk, user=request.user)


@MAY_RECORD
def batch_page(request: PersonRequest, pk: int) -> HttpResponse:
    """Take the next scan or an item's readings, and show the batch as it stands."""
    batch = own_batch(request, pk)
    if batch.signed_at is not None:
        return redirect("bench-batch-done", pk=pk)
    crate = crates.crate_of(batch)
    if crate is None:
        messages.error(request, f"The procedure {batch.procedure} is no longer loaded.")
        return redirect("bench-batch-start")
    if request.method == "POST" and "tag" in request.POST:
        return _scanned(request, crate)
    chosen = request.POST.get("item") or request.GET.get("item") or ""
    row = crate.row(int(chosen)) if chosen.isdecimal() and len(chosen) < 19 else None
    if request.method == "POST" and row is not None:
        return _answered(request, crate, row)
    return show(request, crate, row)


def _scanned(request: PersonRequest, crate: crates.Crate) -> HttpResponse:
    """Put the scanned item into the batch, or say why it can't be."""
    scan = forms.NextItemForm(request.POST, kinds=crate.procedure.kinds, first=True)
    meant: Sequence[Meant] = ()
    if scan.is_valid():
        named = named_by(scan.cleaned_data["tag"])
        try:
            if named.item is not None:
                batches.add_to_batch(
                    user=request.user, batch=crate.batch, item=named.item, at=now()
                )
                here = reverse("bench-batch", args=[crate.batch.pk])
                return redirect(f"{here}?item={named.item.pk}")
            scan.add_error("tag", named.why_none)
            meant = named.meant
        except batches.NotInThisBatch as refused:
            scan.add_error("tag", str(refused))
    return show(request, crate, None, scan=scan, meant=meant)


def _answered(request: PersonRequest, crate: crates.Crate, row: crates.Row) -> HttpResponse:
    """Keep an item's readings and exceptions; a fail stays on the page, a pass goes on."""
    draft, then = row.work.draft, request.POST.get("then", "")
    assert draft is not None  # noqa: S101 (a row is made from drafts)
    here = reverse("bench-batch", args=[crate.batch.pk])
    form = item_form(request, crate, row)
    asked: list[dict[str, str]] = []
    if form.is_valid() and _kept(request.user, form, draft, then, asked):
        fresh = crates.crate_of(crate.batch)
        after = fresh.row(row.item.pk) if fresh else None
        if after is not None and after.outcome == "pass" and then != "again":
            read = ", ".join(f"{p.name} {p.finding}" for p in after.readings)
            messages.success(request, f"{row.item.tag}: pass. {read}")
            return redirect(here)
        return redirect(f"{here}?item={row.item.pk}")
    return show(request, crate, row, form=form, asked=asked)


def _kept(
    user: User, form: forms.BatchItemForm, draft: Draft, then: str, asked: list[dict[str, str]]
) -> bool:
    """Keep what was typed; where it can't be, put the reasons into the form and `asked`."""
    try:
        batches.answer_in_batch(user=user, draft=draft, given=form.given(), at=now())
        if then == "again":
            begin_again(user=user, draft=draft, at=now())
        return True
    except batches.AnswersRefused as problem:
        for each in problem.refused:
            words = str(each.problem)
            if isinstance(each.problem, Unusual):
                typed = form.cleaned_data[f"typed_{each.step}"]
                asked.append({"step": each.step, "typed": typed, "words": words})
            else:
                form.add_error(form.field_of(each.step, each.problem.field), words)
    except ServiceRefused as problem:
        form.add_error(None, str(problem))
    return False


def item_form(
    request: PersonRequest,
    crate: crates.Crate,
    row: crates.Row,
    typed: Mapping[str, str] | None = None,
) -> forms.BatchItemForm:
    """Return the form of one item's readings; typed: what was sent after the session's end."""
    posted = request.method == "POST" and "item" in request.POST
    return forms.BatchItemForm(
        request.POST if posted else None,
        places=row.work.course.places,
        held=row.own,
        left=crate.batch.left,
        imperial=hand.reads_psi(request),
        initial=typed,
    )


def show(
    request: PersonRequest,
    crate: crates.Crate,
    row: crates.Row | None,
    *,
    form: forms.BatchItemForm | None = None,
    scan: forms.NextItemForm | None = None,
    meant: Sequence[Meant] = (),
    asked: list[dict[str, str]] | None = None,
) -> HttpResponse:
    """Show the batch, with the item in hand open."""
    kept = kept_form(request.user, request.get_full_path()) if row and form is None else None
    context = {
        "kept": kept,
        "crate": crate,
        "batch": crate.batch,
        "row": row,
        "acts": acts_of_batch(crate.batch.pk, items=len(crate.rows)),
        "at_rest": row is None,
        "form": form
        or (item_form(request, crate, row, kept.fields if kept else None) if row else None),
        "scan": scan or forms.NextItemForm(kinds=crate.procedure.kinds, first=row is None),
        "meant": meant,
        "asked": asked or [],
        "page_errors": scan is not None,
        "plain": plain(crate.procedure),
        "section": "bench",
        "cautions": [crate.at_hand.caution],
    }
    refused = scan is not None or asked or (form is not None and form.errors)
    return render(request, "desk/bench/batch.html", context, status=422 if refused else 200)

"""One check page and one signature for a whole batch, and what came of it."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from registry.people.queries import PersonRequest
from registry.sites.clock import now, today_at
from servicing.bench.actions import signing
from servicing.bench.actions.batches import complete_batch
from servicing.bench.pure.recorded import renewals_of
from servicing.bench.queries import batches
from servicing.desk.bench.forms.batches import BatchSignForm
from servicing.desk.bench.views.batch import own_batch
from servicing.desk.bench.views.signing import REFUSED, checker_of, kept_note
from servicing.desk.parts.views.checked import CheckedForm
from servicing.desk.parts.views.effects import change_rows
from servicing.desk.parts.views.pages import MAY_RECORD
from servicing.due.actions.services import ServiceRefused
from servicing.due.pure.obligations import Obligation
from servicing.due.queries.engine import owed
from servicing.ledger.pure.entry import FAIL, PASS
from servicing.ledger.queries.records import records_numbered

if TYPE_CHECKING:
    from servicing.ledger.models import Record


@MAY_RECORD
def batch_check(request: PersonRequest, pk: int) -> HttpResponse:
    """Show what would be signed for every item of a batch, and sign it."""
    batch = own_batch(request, pk)
    if batch.signed_at is not None:
        return redirect("bench-batch-done", pk=pk)
    crate = batches.crate_of(batch)
    if crate is None or not crate.rows:
        return redirect("bench-batch", pk=pk)
    form = _form(request, crate)
    checked = CheckedForm(request, form, refused=REFUSED, at_once=True)

    def enter() -> str:
        complete_batch(
            batch=batch,
            confirmed=form.confirmed(),
            user=request.user,
            seen=form.cleaned_data["seen"],
            note=form.cleaned_data["note"],
            checker=checker_of(request, form),
            at=now(),
        )
        return reverse("bench-batch-done", args=[pk])

    if (led := checked.entered(enter)) is not None:
        return led
    return checked.page("desk/bench/batch_check.html", _shown(request, crate, form))


def _form(request: PersonRequest, crate: batches.Crate) -> BatchSignForm:
    return BatchSignForm(
        request.POST if request.method == "POST" else None,
        steps=crate.said_once,
        checker=any(signing.needs_checker(work) for work in crate.works),
        initial=kept_note(request),
    )


def _shown(request: PersonRequest, crate: batches.Crate, form: BatchSignForm) -> dict[str, Any]:
    """Return what would be signed for every item, and what is said once for all."""
    rows = [_row(request, row) for row in reversed(crate.rows)]
    return {
        "crate": crate,
        "batch": crate.batch,
        "rows": rows,
        "seen": signing.seen_of(crate.works),
        "records": sum(len(signing.keys_of(work)) for work in crate.works if work.draft),
        "unfinished": [row for row in rows if row["refusals"]],
        "said": [
            {
                "field": form[f"said_{s.id}"],
                "except": _except(crate, s.id),
                "of": crate.asked_of(s.id),
            }
            for s in form.steps
        ],
        "section": "bench",
        "cautions": [crate.at_hand.caution],
    }


def _row(request: PersonRequest, row: batches.Row) -> dict[str, Any]:
    """Return an item's line: what was read, what comes of it, and the date it moves."""
    task, today = row.work.task, today_at(row.item.site)
    works = (*row.earlier, row.work)
    renewed = {each.task for work in works for each in renewals_of(work.course)}
    moved: list[dict[str, object]] = []
    refusals = signing.refusals_of(row.work, request.user)
    before = after = None
    if not refusals:
        try:
            effect = signing.effect_of_works(works, request.user)
            before, after = _of(effect.before, task), _of(effect.after, task)
            moved = [each for each in change_rows(effect, row.item) if each["task"] in renewed]
        except ServiceRefused as problem:
            refusals = [str(problem)]
    return {
        "row": row,
        "refusals": refusals,
        "moved": moved,
        "before": before and {"due_on": before.due_on, "state": before.state(today)},
        "after": after and {"due_on": after.due_on, "state": after.state(today)},
    }


def _of(found: tuple[Obligation, ...], task: str) -> Obligation | None:
    return next((each for each in found if each.task == task), None)


def _except(crate: batches.Crate, step: str) -> list[str]:
    """Return the items that are an exception to a step, with what was found."""
    return [
        f"{row.item.tag} ({place.finding})"
        for row in reversed(crate.rows)
        for place in row.exceptions
        if place.step.id == step
    ]


@MAY_RECORD
@require_safe
def batch_done(request: PersonRequest, pk: int) -> HttpResponse:
    """Show what came of a signed batch. The address can be opened at any time."""
    batch = own_batch(request, pk)
    if batch.signed_at is None:
        return redirect("bench-batch", pk=pk)
    records = records_numbered(batch.numbers)
    tested = [record for record in records if record.task == batch.task]
    last = {record.item_id: record.outcome for record in tested}  # of several attempts
    outcomes = list(last.values())
    newest = {(record.item_id, record.task): record.pk for record in records}
    failed_first = {r.item_id for r in tested if r.outcome == FAIL and last[r.item_id] == PASS}
    context = {
        "batch": batch,
        "rows": [_signed_row(record, newest) for record in records],
        "passed": outcomes.count(PASS),
        "failed": outcomes.count(FAIL),
        "items": len(last),
        "again": len(failed_first),
        "section": "bench",
    }
    return render(request, "desk/bench/batch_done.html", context)


def _signed_row(record: "Record", newest: Mapping[tuple[int, str], int]) -> dict[str, Any]:
    """Return a record with the date its task is due next; the earlier attempts have none."""
    if newest[record.item_id, record.task] != record.pk:
        return {"record": record, "superseded": True}
    today = today_at(record.item.site)
    due = next((o for o in owed(record.item, today) if o.task == record.task), None)
    state = due.state(today) if due else ""
    return {"record": record, "due_on": due.due_on if due else None, "state": state}

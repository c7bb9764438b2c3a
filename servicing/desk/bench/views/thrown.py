"""Throwing work away: asked first, apart from the buttons that end it, undone within a day."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse

from registry.people.queries import PersonRequest
from registry.sites.clock import now
from servicing.bench.actions.batches import discard_batch, why_batch_stays
from servicing.bench.actions.drafts import discard, why_draft_stays
from servicing.bench.actions.thrown import bring_back_batch, bring_back_draft, let_thrown_go
from servicing.bench.models import Batch, Draft
from servicing.bench.queries.thrown import THROWN_FOR, thrown_by
from servicing.bench.queries.work import draft_of
from servicing.desk.parts.views.pages import MAY_RECORD, item_or_404
from servicing.due.actions.services import ServiceRefused

COMES_BACK = "For a day it can be brought back."


@MAY_RECORD
def put_aside(request: PersonRequest, pk: int, task: str) -> HttpResponse:
    """Ask whether a draft is thrown away, or an item taken out of its batch; then do it."""
    item = item_or_404(pk)
    draft = draft_of(request.user, item, task)
    if draft is None:
        messages.info(request, f"Nothing of {item.tag} is in hand for that.")
        return redirect(item)
    batch = draft.batch_id
    back = reverse("bench-check", args=[pk, task])
    press = f"Throw away the {task.replace('-', ' ')} of {item.tag}"
    if batch is not None:
        back, press = reverse("bench-batch", args=[batch]), f"Take {item.tag} out of the batch"
    if request.method != "POST":
        held = f"In it: {_many(len(draft.answers), 'answer')}."
        mine = Draft.objects.filter(user=request.user, item=item, task=task)
        why = next(filter(None, map(why_draft_stays, mine)), "")
        return _ask(request, press, held, back, why)
    try:
        discard(user=request.user, item=item, task=task, at=now())
    except ServiceRefused as problem:
        messages.error(request, str(problem))
        return redirect(back)
    gone = "is out of the batch" if batch else "is out of your hand; nothing of it was recorded"
    messages.success(request, f"{item.tag} {gone}. {COMES_BACK}")
    return redirect(back if batch else "bench-thrown")


@MAY_RECORD
def batch_away(request: PersonRequest, pk: int) -> HttpResponse:
    """Ask whether a batch is thrown away, saying how much is in it; then do it."""
    batch = get_object_or_404(Batch, pk=pk, user=request.user)
    back = reverse("bench-batch", args=[pk])
    if request.method != "POST":
        drafts = list(batch.drafts.all())
        read = sum("typed" in kept for draft in drafts for kept in draft.answers.values())
        items = _many(len({draft.item_id for draft in drafts}), "item")
        held = f"In it: {items}, {_many(read, 'reading')}."
        return _ask(request, "Throw this batch away", held, back, why_batch_stays(batch))
    try:
        discard_batch(user=request.user, batch=batch, at=now())
    except ServiceRefused as problem:
        messages.error(request, str(problem))
        return redirect(back)
    messages.success(request, f"The batch is gone; nothing of it was recorded. {COMES_BACK}")
    return redirect("bench-thrown")


@MAY_RECORD
def thrown(request: PersonRequest) -> HttpResponse:
    """Show what this person threw away within a day, or bring one piece of it back."""
    if request.method == "POST":
        return _brought_back(request)
    context = {"thrown": thrown_by(request.user), "section": "bench"}
    return render(request, "desk/bench/thrown_list.html", context)


def _brought_back(request: PersonRequest) -> HttpResponse:
    at = now()
    let_thrown_go(user=request.user, at=at)
    mine = {"user": request.user, "thrown_at__gt": at - THROWN_FOR}
    try:
        if "batch" in request.POST:
            pk = _number(request.POST["batch"])
            batch = get_object_or_404(Batch.with_thrown, pk=pk, **mine)
            bring_back_batch(user=request.user, batch=batch)
            return redirect("bench-batch", pk=batch.pk)
        drafts = Draft.with_thrown.select_related("item", "user")
        draft = get_object_or_404(drafts, pk=_number(request.POST.get("draft", "")), **mine)
        bring_back_draft(user=request.user, draft=draft)
        return redirect("bench", pk=draft.item_id, task=draft.task)
    except ServiceRefused as problem:
        messages.error(request, str(problem))
        return redirect("bench-thrown")


def _number(text: str) -> int:
    return int(text) if text.isascii() and text.isdigit() and len(text) < 19 else 0


def _many(number: int, word: str) -> str:
    return f"{number} {word}{'' if number == 1 else 's'}"


def _ask(request: PersonRequest, press: str, held: str, back: str, stays: str) -> HttpResponse:
    """Ask before something is thrown away. stays: why it can't be, so nothing is asked."""
    context = {"press": press, "held": held, "back": back, "stays": stays, "section": "bench"}
    return render(request, "desk/bench/throw.html", context)

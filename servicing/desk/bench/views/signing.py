"""The check page before signing, and the signature."""

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.contrib.auth.models import User
from django.http import HttpResponse
from django.shortcuts import redirect, render

from registry.items.models import Item
from registry.people.actions.presence import (
    NotTheSecondPerson,
    WrongPassword,
    needs_password,
    prove_presence,
    second_person,
)
from registry.people.actions.tries import TooManyTries
from registry.people.queries import PersonRequest, kept_form
from registry.sites.clock import now
from servicing.bench.actions.drafts import begin_again
from servicing.bench.actions.signing import (
    comes_back,
    complete_service,
    effect_of_works,
    needs_checker,
    refusals_of,
    seen_of,
)
from servicing.bench.models import Draft
from servicing.bench.queries.work import Work, attempts_of, work_of
from servicing.desk.bench.forms.steps import SignForm
from servicing.desk.parts.views.effects import change_rows
from servicing.desk.parts.views.pages import MAY_RECORD, item_or_404
from servicing.due.actions.services import Effect, ServiceRefused
from servicing.ledger.actions import EntryKeyUsedTwice, SignatureRefused
from servicing.ledger.queries.records import entered_since, record_with_key

if TYPE_CHECKING:
    from servicing.ledger.models import Record


@MAY_RECORD
def check(request: PersonRequest, pk: int, task: str) -> HttpResponse:
    """Show everything that would be signed; sign it; or begin another attempt."""
    item = item_or_404(pk)
    drafts = attempts_of(request.user, item, task)
    if not drafts:
        sent = record_with_key(request.POST.get("key", ""))
        if sent is not None and sent.item_id == item.pk:
            return redirect("record", pk=pk, position=sent.position)
        return redirect("bench", pk=pk, task=task)
    if request.method == "POST" and request.POST.get("act") == "again":
        return _again(request, item, task, drafts)
    works = [work for work in (work_of(draft, item) for draft in drafts) if work is not None]
    if len(works) < len(drafts):
        return redirect("bench", pk=pk, task=task)
    form = sign_form(request, works)
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data

        def enter(checker: User | None) -> "list[Record]":
            return complete_service(
                drafts=drafts,
                user=request.user,
                seen=data["seen"],
                release=data["act"] == "release",
                note=data["note"],
                checker=checker,
            )

        if records := signed(request, form, enter):
            return redirect("record", pk=pk, position=records[-1].position)
    return _show(request, item, works, form)


def sign_form(request: PersonRequest, works: Sequence[Work]) -> SignForm:
    """Return the form for a signature under some works, asking only for what is needed."""
    return SignForm(
        request.POST if request.method == "POST" else None,
        password=needs_password(request, now()),
        checker=any(needs_checker(work) for work in works),
        initial=kept_note(request),
    )


def kept_note(request: PersonRequest) -> dict[str, str]:
    """Return the note that was typed on a check page after the session's end, as its field.

    Nothing else of a signature is ever kept.
    """
    kept = kept_form(request.user, request.get_full_path())
    return {"note": kept.fields["note"]} if kept else {}


def signed(
    request: PersonRequest, form: SignForm, enter: "Callable[[User | None], list[Record]]"
) -> "list[Record]":
    """Prove who is there, sign, and return the records; empty where the form says why not.

    enter: writes them, given the second person where there is one.
    """
    data = form.cleaned_data
    checker: User | None = None
    try:
        if "password" in form.fields:
            prove_presence(request, data["password"])
        if "checker" in form.fields:
            name, word = data["checker"], data["checker_password"]
            checker = second_person(request, username=name, password=word)
        return enter(checker)
    except WrongPassword as problem:
        form.add_error("password", str(problem))
    except NotTheSecondPerson as problem:
        form.add_error("checker", str(problem))
    except (TooManyTries, ServiceRefused, SignatureRefused, EntryKeyUsedTwice) as problem:
        form.add_error(None, str(problem))
    return []


def _again(request: PersonRequest, item: Item, task: str, drafts: Sequence[Draft]) -> HttpResponse:
    try:
        begin_again(user=request.user, draft=drafts[-1], at=now())
    except ServiceRefused as problem:
        messages.error(request, str(problem))
        return redirect("bench-check", pk=item.pk, task=task)
    return redirect("bench", pk=item.pk, task=task)


def _show(
    request: PersonRequest, item: Item, works: Sequence[Work], form: SignForm
) -> HttpResponse:
    last = works[-1]
    refusals = [*refusals_of(last, request.user)]
    effect: Effect | None = None
    if last.course.outcome.outcome:
        try:
            effect = effect_of_works(works, request.user)
        except ServiceRefused as problem:
            refusals.append(str(problem))
    draft = last.draft
    context: dict[str, Any] = {
        "item": item,
        "task": last.task,
        "works": works,
        "work": last,
        "form": form,
        # What stands now, also after a refusal, so that it can be read and then signed.
        "seen": seen_of(works),
        "refusals": refusals,
        "rows": change_rows(effect, item) if effect else [],
        "effect": effect,
        "returns": effect is not None and comes_back(effect.standing_before, effect.standing_after),
        "meanwhile": list(entered_since(item, draft.position)) if draft else [],
        "checker": needs_checker(last),
        "section": "bench",
        "cautions": [last.at_hand.caution],
    }
    status = 422 if form.errors else 200
    return render(request, "desk/bench/check.html", context, status=status)

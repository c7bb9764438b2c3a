"""The check page before signing, and the signature."""

from collections.abc import Sequence
from typing import Any

from django.contrib import messages
from django.contrib.auth.models import User
from django.http import HttpResponse
from django.shortcuts import redirect

from registry.items.models import Item
from registry.people.actions.presence import NotTheSecondPerson, second_person
from registry.people.actions.tries import TooManyTries
from registry.people.queries import PersonRequest, kept_form
from registry.sites.clock import now
from servicing.bench.actions import signing
from servicing.bench.actions.drafts import begin_again
from servicing.bench.models import Draft
from servicing.bench.queries.work import Work, attempts_of, work_of
from servicing.desk.bench.forms.steps import SignForm
from servicing.desk.parts.views import pages
from servicing.desk.parts.views.checked import CheckedForm
from servicing.desk.parts.views.effects import change_rows
from servicing.due.actions.services import Effect, ServiceRefused
from servicing.ledger.actions import EntryKeyUsedTwice, SignatureRefused
from servicing.ledger.queries.records import entered_since, record_with_key

REFUSED = (
    ServiceRefused,
    SignatureRefused,
    EntryKeyUsedTwice,
    NotTheSecondPerson,
    TooManyTries,
)


@pages.MAY_RECORD
def check(request: PersonRequest, pk: int, task: str) -> HttpResponse:
    """Show everything that would be signed; sign it; or begin another attempt."""
    item = pages.item_or_404(pk)
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
    checked = CheckedForm(request, form, refused=REFUSED, at_once=True)

    def enter() -> str:
        data = form.cleaned_data
        records = signing.complete_service(
            drafts=drafts,
            user=request.user,
            seen=data["seen"],
            release=data["act"] == "release",
            note=data["note"],
            checker=checker_of(request, form),
        )
        return pages.record_address(item, records[-1].position)

    if (led := checked.entered(enter)) is not None:
        return led
    return checked.page("desk/bench/check.html", _shown(request, item, works))


def sign_form(request: PersonRequest, works: Sequence[Work]) -> SignForm:
    """Return the form for a signature under some works, asking only for what is needed."""
    return SignForm(
        request.POST if request.method == "POST" else None,
        checker=any(signing.needs_checker(work) for work in works),
        initial=kept_note(request),
    )


def kept_note(request: PersonRequest) -> dict[str, str]:
    """Return the note that was typed on a check page after the session's end, as its field.

    Nothing else of a signature is ever kept.
    """
    kept = kept_form(request.user, request.get_full_path())
    return {"note": kept.fields["note"]} if kept else {}


def checker_of(request: PersonRequest, form: SignForm) -> User | None:
    """Return the second person, where one signs, once they have proved to be there."""
    if "checker" not in form.fields:
        return None
    name, word = form.cleaned_data["checker"], form.cleaned_data["checker_password"]
    return second_person(request, username=name, password=word)


def _again(request: PersonRequest, item: Item, task: str, drafts: Sequence[Draft]) -> HttpResponse:
    try:
        begin_again(user=request.user, draft=drafts[-1], at=now())
    except ServiceRefused as problem:
        messages.error(request, str(problem))
        return redirect("bench-check", pk=item.pk, task=task)
    return redirect("bench", pk=item.pk, task=task)


def _shown(request: PersonRequest, item: Item, works: Sequence[Work]) -> dict[str, Any]:
    """Return everything that would be signed, what stands against it, and what it moves."""
    last = works[-1]
    refusals = [*signing.refusals_of(last, request.user)]
    effect: Effect | None = None
    if last.course.outcome.outcome:
        try:
            effect = signing.effect_of_works(works, request.user)
        except ServiceRefused as problem:
            refusals.append(str(problem))
    draft = last.draft
    return {
        "item": item,
        "task": last.task,
        "works": works,
        "work": last,
        # What stands now, also after a refusal, so that it can be read and then signed.
        "seen": signing.seen_of(works),
        "refusals": refusals,
        "rows": change_rows(effect, item) if effect else [],
        "effect": effect,
        "returns": effect is not None
        and signing.comes_back(effect.standing_before, effect.standing_after),
        "meanwhile": list(entered_since(item, draft.position)) if draft else [],
        "checker": signing.needs_checker(last),
        "section": "bench",
        "cautions": [last.at_hand.caution],
    }

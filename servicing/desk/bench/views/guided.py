"""One item through one task, step by step: a plain form each, kept on the server after each."""

from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.http import urlencode

from registry.items.models import Item
from registry.people.queries import PersonRequest, kept_form
from registry.sites.clock import now, today_at
from servicing.away.pure import RECEIVE_FIRST
from servicing.away.queries import away_now
from servicing.bench.actions import drafts
from servicing.bench.models import Draft
from servicing.bench.pure.answers import AnswerProblem, Unusual, display_unit
from servicing.bench.pure.course import OutOfOrder, Place, as_typed, limit_about
from servicing.bench.pure.needs import plain, word_for
from servicing.bench.pure.procedure import Form
from servicing.bench.pure.units import UNITS, Unit
from servicing.bench.pure.verdict import WORDS, Word
from servicing.bench.queries.procedures import procedures_for
from servicing.bench.queries.work import Work, draft_of, work_of
from servicing.desk.bench.forms.steps import StepForm
from servicing.desk.bench.views.hand import chosen_instruments, reads_psi
from servicing.desk.bench.views.setting import (
    SETTING,
    bench_context,
    onward,
    set_work,
    setting_first,
    show_setting,
)
from servicing.desk.parts.views.pages import MAY_RECORD, item_or_404
from servicing.due.actions.services import ServiceRefused
from servicing.ledger.queries.records import condemnation_of

BUTTONS = {
    Word.GOOD: "Good",
    Word.NOT_GOOD: "Not good",
    Word.NOT_APPLICABLE: "Not applicable",
    Word.DONE: "Done",
    Word.LEVEL_1: "Level 1: accept",
    Word.LEVEL_2: "Level 2: repair or assess",
    Word.LEVEL_3: "Level 3: condemn",
}
RENEWED = {Word.DONE: "Renewed", Word.NOT_APPLICABLE: "Not renewed"}
GRAVE = (Word.NOT_GOOD, Word.LEVEL_2, Word.LEVEL_3)


@MAY_RECORD
def guided(request: PersonRequest, pk: int, task: str) -> HttpResponse:
    """Show the step that comes next, or take the answer to one."""
    item = item_or_404(pk)
    if condemnation_of(item) is not None:
        messages.error(request, f"{item.tag} is condemned; no service is done to it.")
        return redirect(item)
    draft = draft_in_hand(request, item, task)
    if draft is None:
        return redirect(f"{reverse('log-service', args=[pk])}?{urlencode({'task': task})}")
    away = away_now([pk]).get(pk)
    if away is not None and draft.done_on > away.since:
        messages.error(request, f"{item.tag} is {away.words}. {RECEIVE_FIRST}")
        return redirect(item)
    if draft.batch_id is not None:
        return redirect(f"{reverse('bench-batch', args=[draft.batch_id])}?item={pk}")
    if request.method == "POST":
        take = set_work if request.POST.get("step") == SETTING else _answer
        return take(request, item, draft)
    return _shown(request, item, draft)


def _shown(request: PersonRequest, item: Item, draft: Draft) -> HttpResponse:
    """Show the step that is asked for, else the one that comes next."""
    work = work_of(draft, item)
    asked = request.GET.get("step", "")
    if work is None or asked == SETTING or setting_first(work):
        return show_setting(request, item, draft)
    place = work.course.place(asked) or work.course.next_open
    if place is None:
        return redirect("bench-check", pk=item.pk, task=draft.task)
    return _show_step(request, work, place)


def draft_in_hand(request: PersonRequest, item: Item, task: str) -> Draft | None:
    """Return the draft of a task, one not saved yet where none is; None without a procedure."""
    if (held := draft_of(request.user, item, task)) is not None:
        return held
    today = today_at(item.site)
    found = procedures_for(item, task, today)
    if not found:
        return None
    return drafts.unsaved(
        user=request.user,
        item=item,
        task=task,
        at_hand=found[0] if len(found) == 1 else None,
        on=today,
        instruments=chosen_instruments(request),
    )


def _answer(request: PersonRequest, item: Item, draft: Draft) -> HttpResponse:
    """Take the answer to one step; a refusal comes back with everything that was typed."""
    work, step = work_of(draft, item), request.POST.get("step", "")
    if work is None:
        return show_setting(request, item, draft)
    first = work.course.next_open or work.course.places[0]
    place = work.course.place(step) or first
    view = StepView.of(request, work, place)
    form = StepForm(request.POST, place=place, unit=view.unit, help_text=view.limit)
    if not form.is_valid():
        return _show_step(request, work, place, form)
    try:
        after = drafts.answer_step(
            user=request.user, draft=draft, step=step, given=form.given(), at=now()
        )
    except Unusual as asked:
        context = {"question": str(asked), "sure": form.cleaned_data["typed"]}
        return _show_step(request, work, place, form, **context)
    except AnswerProblem as problem:
        form.add_error(problem.field if problem.field != "word" else None, str(problem))
    except (OutOfOrder, ServiceRefused) as problem:
        form.add_error(None, str(problem))
        # What was posted out of order belongs to another step than the one to do.
        place = first if isinstance(problem, OutOfOrder) else place
    else:
        found = after.course.place(step)
        assert found is not None  # noqa: S101 (it was answered)
        return _next(request, after, found)
    return _show_step(request, work, place, form)


def _next(request: PersonRequest, work: Work, place: Place) -> HttpResponse:
    """Say the verdict and go on: to the same step when it failed, else to the next."""
    then = request.POST.get("then", "")
    if then == "again" and work.draft is not None:
        try:
            drafts.begin_again(user=request.user, draft=work.draft, at=now())
        except ServiceRefused as problem:
            messages.error(request, str(problem))
        return onward(request, work.item, work.task, None)
    if then:
        following = work.course.after(place.step.id)
        if then == "check" or following is None:
            return redirect("bench-check", pk=work.item.pk, task=work.task)
        return onward(request, work.item, work.task, following)
    if place.judged == "fail":
        return onward(request, work.item, work.task, place, back=request.POST.get("back", ""))
    if place.judged:
        words = place.limit.words if place.limit else ""
        said = as_typed(place.answer) if place.answer else ""
        messages.success(request, f"{place.name.capitalize()} {said}: {place.judged}, {words}.")
    if request.POST.get("back"):
        return redirect("bench-check", pk=work.item.pk, task=work.task)
    return onward(request, work.item, work.task, work.course.after(place.step.id))


@dataclass(frozen=True, slots=True)
class StepView:
    """What a step's page shows besides the step: the field's unit and the limit below it."""

    unit: Unit | None
    limit: str
    unset: str

    @classmethod
    def of(cls, request: PersonRequest, work: Work, place: Place, unit: str = "") -> "StepView":
        """Return how a step is shown to this person; unit: the one it was typed in, if any."""
        measure = place.step.measure
        if measure is None:
            return cls(None, "", "")
        kept = work.draft.answer_kept(place.step.id) if work.draft else {}
        shown = UNITS.get(unit or kept.get("unit", ""))
        shown = shown or display_unit(measure.unit, reads_psi(request))
        limit = place.limit
        about = limit_about(limit, shown) if limit else ""
        said = (
            f"Limit: {limit.words}{f' ({about})' if about else ''}. {limit.source}" if limit else ""
        )
        return cls(shown, said, work.course.unset.get(place.step.id, ""))


def _show_step(
    request: PersonRequest,
    work: Work,
    place: Place,
    form: StepForm | None = None,
    **more: Any,
) -> HttpResponse:
    path = reverse("bench", args=[work.item.pk, work.task])
    kept = kept_form(request.user, f"{path}?step={place.step.id}") if form is None else None
    typed = kept.fields if kept else {}
    view = StepView.of(request, work, place, typed.get("unit", ""))
    held = work.draft.answer_kept(place.step.id) if work.draft else {}
    refused = form is not None and bool(form.errors)
    form = form or StepForm(
        place=place,
        unit=view.unit,
        help_text=view.limit,
        initial=StepForm.initial_of(held) | typed,
    )
    words = [
        word
        for word in WORDS[place.step.form]
        if word is not Word.NOT_APPLICABLE or place.step.may_be_left
    ]
    word = word_for(work.procedure, place.step)
    labels = BUTTONS | (RENEWED if place.step.form is Form.RENEW else {})
    if place.step.not_known:
        labels = labels | {Word.NOT_APPLICABLE: "Does not apply to this item"}
    context = {
        "item": work.item,
        "task": work.task,
        "work": work,
        "places": work.course.places,
        "place": place,
        "form": form,
        "view": view,
        "buttons": [(each.value, labels[each], each in GRAVE) for each in words],
        "instrument": work.instruments.get(word) if word else None,
        "instrument_word": word,
        "instrument_refusal": work.refusal_for(word),
        "kept": kept,
        "back": request.POST.get("back") or request.GET.get("back") or typed.get("back", ""),
        "plain": plain(work.procedure),
        **bench_context(request, work),
        **more,
    }
    status = 422 if refused or more else 200
    return render(request, "desk/bench/step.html", context, status=status)

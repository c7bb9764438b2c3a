"""The setting of a piece of work: the day, the procedure, the instruments, the units."""

from collections.abc import Mapping

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.http import urlencode

from registry.items.models import Item
from registry.people.queries import PersonRequest, kept_form, viewer_of
from registry.sites.clock import now, today_at
from servicing.bench.actions.drafts import keep_setting
from servicing.bench.models import Draft
from servicing.bench.pure.course import Place
from servicing.bench.pure.needs import calibrated, has_other_units, plain
from servicing.bench.queries.procedures import applied_to, procedures_for
from servicing.bench.queries.work import Work, work_of
from servicing.desk.bench.forms.steps import SettingForm
from servicing.desk.bench.views import hand
from servicing.due.actions.services import ServiceRefused
from servicing.due.queries.instruments import instruments_near

SETTING = "setting"


def setting_first(work: Work) -> bool:
    """Say whether the setting comes before the first step: something in it is open."""
    if work.draft is not None:
        return False
    return bool(work.not_chosen) or any(map(work.refusal_for, work.needed))


def set_work(request: PersonRequest, item: Item, draft: Draft) -> HttpResponse:
    """Keep the setting that was sent and go on to the steps, or say what is wrong with it."""
    form = setting_form(request, item, draft)
    if form.is_valid() and form.holds(form.cleaned_data["done_on"]):
        chosen = form.chosen()
        try:
            draft = keep_setting(
                user=request.user,
                draft=draft,
                done_on=form.cleaned_data["done_on"],
                instruments=chosen,
                today=today_at(item.site),
                at=now(),
                procedure=form.cleaned_data.get("procedure", ""),
            )
            hand.keep_instruments(request, chosen)
            if units := form.cleaned_data.get("units"):
                hand.keep_units(request, psi=units == "psi")
            if form.by_scan() and set(form.words) - draft.instruments.keys():
                return redirect(f"{reverse('bench', args=[item.pk, draft.task])}?step={SETTING}")
            return onward(request, item, draft.task, None)
        except ServiceRefused as problem:
            form.add_error(None, str(problem))
    return show_setting(request, item, draft, form)


def setting_form(
    request: PersonRequest, item: Item, draft: Draft, typed: Mapping[str, str] | None = None
) -> SettingForm:
    """Return the form of the day, the procedure and the instruments; typed: what was kept."""
    found = procedures_for(item, draft.task, draft.done_on)
    chosen = [v for v in found if not draft.procedure or v.procedure_id == draft.procedure]
    by = [applied_to(item, version.procedure, draft.done_on) for version in chosen]
    words = tuple(dict.fromkeys(word for procedure in by for word in calibrated(procedure)))
    site = viewer_of(request.user).site
    return SettingForm(
        request.POST if request.POST.get("step") == SETTING else None,
        words=words,
        by=by,
        offered=instruments_near(site, draft.done_on, words),
        chosen=draft.instruments,
        today=draft.done_on,
        procedures=[(each.procedure_id, each.title) for each in found],
        psi=hand.reads_psi(request) if any(has_other_units(v.procedure) for v in found) else None,
        initial={"procedure": draft.procedure, **(typed or {})},
    )


def show_setting(
    request: PersonRequest, item: Item, draft: Draft, form: SettingForm | None = None
) -> HttpResponse:
    """Show the setting of a piece of work."""
    work, path = work_of(draft, item), reverse("bench", args=[item.pk, draft.task])
    kept = kept_form(request.user, f"{path}?step={SETTING}") if form is None else None
    context = {
        "item": item,
        "task": draft.task,
        "form": form or setting_form(request, item, draft, kept.fields if kept else None),
        "kept": kept,
        "work": work,
        "places": work.course.places if work else (),
        "plain": plain(work.procedure) if work else (),
        "setting": True,
        "setting_state": "good" if draft.pk and work and not work.not_chosen else "to-do",
        "problem_words": [why for w in work.needed if (why := work.refusal_for(w))] if work else [],
        **bench_context(request, work),
    }
    status = 422 if form is not None and form.errors else 200
    return render(request, "desk/bench/setting.html", context, status=status)


def onward(
    request: PersonRequest, item: Item, task: str, place: Place | None, back: str = ""
) -> HttpResponse:
    """Go on to a step; without one to whichever comes next."""
    asked = {"step": place.step.id} if place else {}
    asked |= {"back": back} if back else {}
    path = reverse("bench", args=[item.pk, task])
    return redirect(f"{path}?{urlencode(asked)}" if asked else path)


def bench_context(request: PersonRequest, work: Work | None) -> dict[str, object]:
    """Return what every page of the bench needs."""
    cautions = [work.at_hand.caution] if work else []
    return {"section": "bench", "cautions": cautions}

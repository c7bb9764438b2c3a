"""Logging a service: type it, check what it moves, enter it, see what comes next."""

from typing import Any

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from registry.items.models import Item
from registry.items.pure import OXYGEN
from registry.people.queries import PersonRequest, kept_for, viewer_of
from registry.sites.clock import today_at
from servicing.desk.parts.queries import item_on_day
from servicing.desk.parts.views import pages
from servicing.desk.parts.views.checked import CheckedForm
from servicing.desk.parts.views.effects import change_rows, part_rows, stamped_words
from servicing.desk.work.forms.services import ServiceForm
from servicing.desk.work.pure import acts_of_record
from servicing.due.actions import services
from servicing.due.pure.charge import FILL
from servicing.due.pure.explain import arithmetic
from servicing.due.pure.obligations import StandingWord
from servicing.due.pure.owed import worst_first
from servicing.due.queries.doubts import doubt_about, put_in_doubt_by
from servicing.due.queries.engine import explained
from servicing.due.queries.together import recorded_along, set_record_of
from servicing.ledger.actions import EntryKeyUsedTwice, SignatureRefused
from servicing.ledger.pure.entry import FAIL
from servicing.ledger.queries import records
from servicing.papers.queries import paper_lines, papers_resting_on
from servicing.rules.pure.rule import SERVICE_LIFE
from servicing.rules.pure.tasks import STANDING_TASKS
from servicing.rules.queries import known_tasks


@pages.MAY_RECORD
def log_service_view(request: PersonRequest, pk: int) -> HttpResponse:
    """Take a service; first show what it moves, then, confirmed and signed, enter it."""
    item, kept = pages.item_or_404(pk), kept_for(request)
    form = ServiceForm(
        request.POST or None,
        tasks=_tasks(item),
        today=today_at(item.site),
        initial={
            "performed_by": viewer_of(request.user).name,
            "task": request.GET.get("task", ""),
            "seen": records.last_position(item),
            **(kept.fields if kept else {}),
        },
    )
    checked = CheckedForm(
        request, form, refused=(services.ServiceRefused, EntryKeyUsedTwice, SignatureRefused)
    )
    return checked.answer(
        enter=lambda: _enter(request, item, form),
        preview=lambda: _preview(request, item, form),
        pages=("desk/work/service_form.html", "desk/work/service_check.html"),
        # The names are looked up by the one page that offers them.
        context={
            "item": item,
            "kept": kept,
            "section": "items",
            "reading_names": records.reading_names,
        },
    )


def _enter(request: PersonRequest, item: Item, form: ServiceForm) -> str:
    try:
        record = services.log_service(
            item=item,
            service=form.service(),
            user=request.user,
            entry_key=form.cleaned_data["key"],
            seen=form.cleaned_data["seen"],
            signed=True,
        )
    except services.ItemChangedMeanwhile as problem:
        form.show_seen(problem.seen)
        raise
    return pages.record_address(item, record.position)


def _preview(request: PersonRequest, item: Item, form: ServiceForm) -> dict[str, Any]:
    service = services.told_by(request.user, form.service())
    effect = services.effect_of(item, service)
    return {
        "rows": change_rows(effect, item),
        "parts": part_rows(effect),
        "stamped": stamped_words(effect.after) if service.shoulder.said else [],
        "service": service,
    }


@pages.EVERYONE
@require_safe
def record_page(request: PersonRequest, pk: int, position: int) -> HttpResponse:
    """Show one record, and what is due next. The address can be opened at any time."""
    item = pages.item_or_404(pk)
    record = get_object_or_404(records.history_of(item), position=position)
    today = today_at(item.site)
    stands = item_on_day(item, today, read_on=today)
    standing, owing, away = stands.by_rules.standing, stands.by_rules.owed, stands.away
    # The worst first and largest, whatever was done; then the task just done, for its new date.
    order = worst_first(owing, today)
    found = [*order[:1], *sorted(order[1:], key=lambda o: o.task != record.task)]
    wanted = (o for o in found if o.due_on is None or o.due_on <= today)
    at_once = next((o.task for o in wanted if o.task != SERVICE_LIFE), "")
    line = records.record_lines(item, [record])[0]
    viewer = viewer_of(request.user)
    may_record = viewer.may_record
    workable = may_record and not away and standing.word is not StandingWord.CONDEMNED
    failed = record.outcome == FAIL and line.in_force
    acts = acts_of_record(
        item=pk,
        tag=item.tag,
        position=position,
        again=record.task if workable and failed else "",
        do_next=at_once if workable else "",
        correctable=may_record and line.corrected_by is None,
    )
    in_doubt = doubt_about(record)
    context = {
        "item": item,
        "answer": stands.answer,
        "acts": acts,
        "why": [
            (o.task, f"{arithmetic(o.governing)}. {o.rule.source}")
            for o in found
            if o is found[0] or o.task == record.task
        ],
        "told": line,
        "record": record,
        "in_doubt": in_doubt,
        "doubt_acts": pages.doubt_acts(viewer, in_doubt[1]) if in_doubt else None,
        "puts_in_doubt": put_in_doubt_by(record),
        "along": recorded_along(record),
        "of_set": set_record_of(record),
        "judged": any(read.limit or read.instrument for read in record.readings_as_read),
        "next": [(o.due_on, o.state(today), o.task) for o in found[:4]],
        "papers": paper_lines(
            papers_resting_on(item, position, record.done_on)[: pages.MOST_PAPERS]
        ),
        "section": "items",
    }
    return render(request, "desk/work/record.html", context)


def _tasks(item: Item) -> list[str]:
    """Return the tasks to choose from: those the item owes first, then all others."""
    _, tasks = explained(item, today_at(item.site))
    first = [task.obligation.task for task in tasks]
    here = set() if OXYGEN in item.marks else {FILL}  # at the filling point, and not by this form
    return [*first, *sorted(known_tasks() - here - {*first} - STANDING_TASKS)]

"""One item: its page, and registering or changing it."""

from datetime import date, datetime

from django.core.exceptions import ValidationError
from django.db.models import Count, Q
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_safe

from registry.items.models import Item, ItemType
from registry.items.pure import Kind
from registry.items.queries import serving_known
from registry.people.queries import PersonRequest, viewer_of
from registry.sets.pure.places import Place
from registry.sets.queries import set_of
from registry.sites.clock import today_anywhere, today_at
from servicing.away.queries import away_on, holding
from servicing.bench.queries.procedures import guided_tasks
from servicing.bench.queries.work import drafts_of
from servicing.desk.item.forms.items import ItemForm
from servicing.desk.item.forms.types import TypeFactsForm
from servicing.desk.parts.forms.questions import AsOfForm
from servicing.desk.parts.forms.turnout import TurnoutForm
from servicing.desk.parts.queries import answer_of, doubted, placed
from servicing.desk.parts.views.pages import (
    EVERYONE,
    MAY_RECORD,
    MOST_PAPERS,
    item_or_404,
    unreadable,
)
from servicing.due.actions.preview import reach_of
from servicing.due.actions.register import ReasonMissing, save_item, save_type
from servicing.due.pure.answer import answer
from servicing.due.pure.explain import Explained, arithmetic, how_often
from servicing.due.pure.obligations import StandingWord
from servicing.due.pure.owed import BADNESS, over_by, worst_first
from servicing.due.queries.charge import charge_of
from servicing.due.queries.doubts import doubts_of, in_doubt
from servicing.due.queries.engine import (
    NotKnownThen,
    as_then,
    attribute_rows,
    explained_with_life,
    taken_out,
)
from servicing.due.queries.sets import set_sheet
from servicing.ledger.queries.records import history_of, record_lines
from servicing.ledger.queries.whole import chain_head
from servicing.papers.queries import paper_lines as shown_papers
from servicing.papers.queries import papers_with
from servicing.rules.queries import cautions_of


@EVERYONE
@require_safe
def item_page(request: PersonRequest, pk: int) -> HttpResponse:
    """Show what an item needs on a day, by which rule, and its history."""
    item = item_or_404(pk)
    today = today_at(item.site)
    as_of = AsOfForm(request.GET)
    if not as_of.is_valid():
        return unreadable(request, as_of)
    on = as_of.cleaned_data["on"] or today
    known_by = as_of.cleaned_data["known_by"]
    try:
        standing, tasks, life = explained_with_life(item, on, known_by)
        shown = as_then(item, known_by)
    except NotKnownThen as problem:
        as_of.add_error(None, str(problem))
        return unreadable(request, as_of)
    kept = [task.obligation for task in tasks if not task.dropped]
    away = away_on([item.pk], on, known_by).get(item.pk)
    doubts = in_doubt(Q(item=item.pk), on, known_by).get(item.pk, [])
    found = doubted(answer(shown.tag, standing, kept, on, today), shown, doubts)
    tables = {c.rule.table for task in tasks for c in task.obligation.candidates}
    context = {
        "item": shown,
        "on": on,
        "today": today,
        "known_by": known_by,
        "as_of": AsOfForm(initial={"on": on, "known_by": known_by}),
        "standing": standing,
        "answer": placed(found, shown, away),
        "away": away,
        "doubts": doubts,
        "charge": charge_of(item, kept, on, known_by),
        "stamps": [(owed.due_on, owed.state(on), owed.task) for owed in worst_first(kept, on)[:4]],
        "tasks": [_shown(task, on) for task in tasks],
        "asked": {owed.task for owed in kept},
        "records": record_lines(item, history_of(item).until(on).known_by(known_by), known_by),
        "taken_out": taken_out(item, today) is not None,
        "chain_head": chain_head(item),
        "papers": [] if known_by else shown_papers(papers_with([item])[:MOST_PAPERS]),
        "life": life,
        "attributes": attribute_rows(shown),
        "cautions": cautions_of(tables),
        **_in_sets(item, on, known_by),
        **_of_its_kind(item, known_by),
    }
    if viewer_of(request.user).may_record:
        context["drafts"] = list(drafts_of(request.user).filter(item=item))
        workable = standing.word is not StandingWord.CONDEMNED and away is None
        context["guided"] = guided_tasks(item, today) if workable else []
    return render(request, "desk/item/item.html", context)


def _of_its_kind(item: Item, known_by: datetime | None) -> dict[str, object]:
    """Return where a cylinder is held, or what an instrument shows and put in doubt."""
    if item.type.kind == Kind.CYLINDER:
        return {"consigned": holding(item)}
    if item.type.kind == Kind.INSTRUMENT:
        return {
            "serving": serving_known(item, known_by),
            "open_doubts": [doubt for doubt in doubts_of(item) if doubt.open_rows],
        }
    return {}


def _in_sets(item: Item, on: date, known_by: datetime | None) -> dict[str, object]:
    """Return what a set holds and what that makes of it, or the set that a part is in."""
    if item.type.kind != Kind.SET:
        fittable = item.type.kind in Place.__members__.values()
        return {"fittable": fittable, "in_set": set_of(item, on, known_by)}
    shown = set_sheet(item, on, known_by)
    firsts = [(item.tag, shown.own.first(on)), *((p.item.tag, p.first) for p in shown.parts)]
    clocks = [(due.due_on, due.state(on), tag, due.task) for tag, due in firsts if due]
    # What the first line speaks of stands first: notice can run for a later date already.
    clocks.sort(key=lambda clock: (BADNESS.index(clock[1]), clock[0] or date.min))
    return {
        "fittable": True,
        "shown": shown,
        "cautions": cautions_of(shown.tables),
        "answer": answer_of(shown),
        "clocks": clocks,
    }


def _shown(task: Explained, on: date) -> dict[str, object]:
    owed = task.obligation
    return {
        "task": owed.task,
        "due_on": owed.due_on,
        "state": owed.state(on),
        "late": over_by(owed.due_on, owed.counted_from or "", on),
        "dropped": task.dropped,
        "rule": owed.rule,
        "asks": how_often(owed.rule),
        "candidates": [
            {"rule": c.rule, "due_on": c.due_on, "sum": arithmetic(c), "asks": how_often(c.rule)}
            for c in owed.candidates
        ],
    }


@MAY_RECORD
def item_add(request: PersonRequest) -> HttpResponse:
    """Register an item."""
    initial = {"tag": request.GET.get("tag", "")[:64], "site": viewer_of(request.user).site}
    item = Item()
    form = ItemForm(request.POST or None, today=today_anywhere(), item=item, initial=initial)
    return _save(request, form, item)


@MAY_RECORD
def item_edit(request: PersonRequest, pk: int) -> HttpResponse:
    """Change what is known of an item."""
    item = item_or_404(pk)
    initial = ItemForm.initial_for(item)
    today = today_at(item.site)
    form = ItemForm(request.POST or None, today=today, item=item, initial=initial)
    return _save(request, form, item)


def _save(request: PersonRequest, form: ItemForm, item: Item) -> HttpResponse:
    step = request.POST.get("step", "")
    context = {"form": form, "item": item, "section": "items" if item.pk else "register"}
    if form.is_valid() and step != "change":
        try:
            if item.pk:
                # Another instance: what is done to see how far it reaches must not stay in ours.
                held = item_or_404(item.pk)
                reach = reach_of(lambda: _saved(request, form, held), item)
                entered = request.POST if step == "enter" else None
                tick = TurnoutForm(entered, shown=reach.turnout)
                if not tick.known or (entered is None and reach.anything):
                    page = "desk/item/item_check.html"
                    context |= {"reach": reach, "tick": tick}
                    return render(request, page, context, status=422 if tick.errors else 200)
            return redirect(_saved(request, form, item))
        except ReasonMissing as problem:
            form.add_error("why", str(problem))
        except ValidationError as problem:
            for message in problem.messages:
                form.add_error(None, message)
    status = 422 if form.errors and step != "change" else 200
    return render(request, "desk/item/item_form.html", context, status=status)


def _saved(request: PersonRequest, form: ItemForm, item: Item) -> Item:
    data = form.cleaned_data
    return save_item(
        item,
        tag=data["tag"],
        kind=data["kind"],
        maker=data["maker"],
        model=data["model"],
        site=data["site"],
        attributes=form.attributes(),
        user=request.user,
        why=data.get("why", ""),
    )


@EVERYONE
@require_safe
def type_list(request: PersonRequest) -> HttpResponse:
    """Show the types with how many items each has."""
    types = ItemType.objects.annotate(number=Count("items"))
    return render(request, "desk/item/type_list.html", {"types": types, "section": "items"})


@MAY_RECORD
def type_edit(request: PersonRequest, pk: int) -> HttpResponse:
    """Correct the name of a type on all its items, and state what they fit and weigh."""
    named = get_object_or_404(ItemType, pk=pk)
    initial = TypeFactsForm.initial_for(named)
    form = TypeFactsForm(request.POST or None, named=named, initial=initial)
    if form.is_valid():
        try:
            save_type(
                named,
                maker=form.cleaned_data["maker"],
                model=form.cleaned_data["model"],
                facts=form.facts(),
                approved=form.cleaned_data.get("approved", ()),
                user=request.user,
                why=form.cleaned_data["why"],
            )
            return redirect("type-list")
        except ReasonMissing as problem:
            form.add_error("why", str(problem))
        except ValidationError as problem:
            for message in problem.messages:
                form.add_error(None, message)
    status = 422 if form.errors else 200
    context = {"form": form, "named": named, "section": "items"}
    return render(request, "desk/item/type_form.html", context, status=status)

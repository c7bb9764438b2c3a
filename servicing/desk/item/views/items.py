"""Registering an item or changing it, and its type; `sheet.py` has its page."""

from typing import Any

from django.core.exceptions import ValidationError
from django.db.models import Count
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from registry.items.models import Item, ItemType
from registry.people.queries import PersonRequest, viewer_of
from servicing.desk.item.forms.items import ItemForm
from servicing.desk.item.forms.types import TypeFactsForm
from servicing.desk.parts.forms.turnout import TurnoutForm
from servicing.desk.parts.views.checked import CheckedForm
from servicing.desk.parts.views.pages import (
    EVERYONE,
    MAY_RECORD,
    item_or_404,
)
from servicing.due.actions.preview import Reach, reach_of
from servicing.due.actions.register import ReasonMissing, save_item, save_type
from servicing.rules.queries import words_of_rules

REFUSED = (ReasonMissing, ValidationError)


@MAY_RECORD
def item_add(request: PersonRequest) -> HttpResponse:
    """Register an item."""
    initial = {"tag": request.GET.get("tag", "")[:64], "site": viewer_of(request.user).site}
    item = Item()
    form = ItemForm(request.POST or None, item=item, words=words_of_rules(), initial=initial)
    return _save(request, form, item)


@MAY_RECORD
def item_edit(request: PersonRequest, pk: int) -> HttpResponse:
    """Change what is known of an item."""
    item = item_or_404(pk)
    form = ItemForm(request.POST or None, item=item, words=words_of_rules())
    return _save(request, form, item)


def _save(request: PersonRequest, form: ItemForm, item: Item) -> HttpResponse:
    """Save an item; what a change of it reaches is shown first, where it reaches anything."""
    checked = CheckedForm(request, form, refused=REFUSED, at_once=True, signed=False)
    context: dict[str, Any] = {"item": item, "section": "items" if item.pk else "register"}
    reach = checked.checked(lambda: _reach(request, form, item)) if item.pk else None
    if reach is not None:
        confirmed = request.POST.get("step") == "enter"
        checked.tick = TurnoutForm(request.POST if confirmed else None, shortfall=reach.turnout)
        if not checked.tick.known or (reach.anything and not confirmed):
            context |= {"reach": reach, "tick": checked.tick}
            return checked.page("desk/item/item_check.html", context)
    if (led := checked.entered(lambda: _saved(request, form, item).get_absolute_url())) is not None:
        return led
    return checked.page("desk/item/item_form.html", context)


def _reach(request: PersonRequest, form: ItemForm, item: Item) -> Reach:
    # Another instance: what is done to see how far it reaches must not stay in ours.
    held = item_or_404(item.pk)
    return reach_of(lambda: _saved(request, form, held), item)


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
    words = words_of_rules()["connection"]
    form = TypeFactsForm(request.POST or None, named=named, words=words, initial=initial)
    checked = CheckedForm(request, form, refused=REFUSED, at_once=True, signed=False)

    def enter() -> str:
        save_type(
            named,
            maker=form.cleaned_data["maker"],
            model=form.cleaned_data["model"],
            facts=form.facts(),
            approved=form.cleaned_data.get("approved", ()),
            user=request.user,
            why=form.cleaned_data["why"],
        )
        return reverse("type-list")

    if (led := checked.entered(enter)) is not None:
        return led
    return checked.page("desk/item/type_form.html", {"named": named, "section": "items"})

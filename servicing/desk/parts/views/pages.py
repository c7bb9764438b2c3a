"""Who may open a page, what it is about, and what is said where a question can't be read."""

from django.forms import Form
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse

from registry.items.models import Item
from registry.items.pure import Kind
from registry.people.pure import Right
from registry.people.queries import PersonRequest, Viewer
from registry.people.views import open_to
from servicing.desk.parts.pure import DoubtActs, acts_of_doubt
from servicing.due.queries.doubts import Doubtful

EVERYONE = open_to(Right.READ)
MAY_RECORD = open_to(Right.RECORD)
MAY_MANAGE = open_to(Right.MANAGE)
MAY_LOOK = open_to(Right.OVERSEE)
MAY_REVIEW = open_to(Right.REVIEW)
MOST_PAPERS = 12
"""How many papers a page names before it leads to the list of them."""


def item_or_404(pk: int) -> Item:
    """Return an item with its type and site, else 404."""
    return get_object_or_404(Item.objects.select_related("type", "site"), pk=pk)


def set_or_404(pk: int) -> Item:
    """Return a set with its type and site, else 404."""
    sets = Item.objects.filter(type__kind=Kind.SET).select_related("type", "site")
    return get_object_or_404(sets, pk=pk)


def record_address(item: Item, position: int) -> str:
    """Return where the page of a record is, by its place in the item's chain."""
    return reverse("record", args=[item.pk, position])


def doubt_acts(viewer: Viewer, row: Doubtful) -> DoubtActs:
    """Return what somebody may do about a record in doubt."""
    record = row.record
    return acts_of_doubt(
        record.item_id,
        record.position,
        record.task,
        tag=record.item.tag,
        open_=row.is_open,
        may_record=viewer.may_record,
        may_manage=viewer.may_manage,
    )


def unreadable(request: PersonRequest, form: Form) -> HttpResponse:
    """Say what in a question can't be read; it is not answered as another question."""
    return render(request, "parts/question.html", {"form": form}, status=422)

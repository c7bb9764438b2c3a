"""Who may open a page, what it is about, and what is said where a question can't be read."""

from django.forms import Form
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render

from registry.items.models import Item
from registry.items.pure import Kind
from registry.people.pure import Role
from registry.people.queries import PersonRequest, for_roles

EVERYONE = for_roles(*Role)
MAY_RECORD = for_roles(Role.TECHNICIAN, Role.MANAGER)
MAY_MANAGE = for_roles(Role.MANAGER)
MAY_LOOK = for_roles(Role.MANAGER, Role.AUDITOR)
MOST_PAPERS = 12
"""How many papers a page names before it leads to the list of them."""


def item_or_404(pk: int) -> Item:
    """Return an item with its type and site, else 404."""
    return get_object_or_404(Item.objects.select_related("type", "site"), pk=pk)


def set_or_404(pk: int) -> Item:
    """Return a set with its type and site, else 404."""
    sets = Item.objects.filter(type__kind=Kind.SET).select_related("type", "site")
    return get_object_or_404(sets, pk=pk)


def unreadable(request: PersonRequest, form: Form) -> HttpResponse:
    """Say what in a question can't be read; it is not answered as another question."""
    return render(request, "parts/question.html", {"form": form}, status=422)

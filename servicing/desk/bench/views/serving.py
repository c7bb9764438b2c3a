"""What the type of an instrument serves as: said by a manager, kept for every record."""

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse

from registry.items.actions import state_serving
from registry.items.models import ItemType
from registry.items.pure import Kind
from registry.people.queries import PersonRequest
from registry.sites.clock import now
from servicing.bench.queries.serving import instrument_words
from servicing.desk.bench.forms.serving import ServingForm
from servicing.desk.parts.views.checked import CheckedForm
from servicing.desk.parts.views.pages import MAY_MANAGE


@MAY_MANAGE
def type_serving(request: PersonRequest, pk: int) -> HttpResponse:
    """Say what the instruments of a type serve as, and how far they show."""
    named = get_object_or_404(ItemType, pk=pk)
    if named.kind != Kind.INSTRUMENT:
        raise Http404
    form = ServingForm(request.POST or None, named=named, words=instrument_words())
    checked = CheckedForm(request, form, refused=(), at_once=True, signed=False)

    def enter() -> str:
        state_serving(
            named,
            serving=form.serving(),
            by=request.user,
            at=now(),
            why=form.cleaned_data["why"],
        )
        messages.success(request, f"{named} serves as {form.serving()}.")
        return reverse("type-list")

    if (led := checked.entered(enter)) is not None:
        return led
    return checked.page("desk/bench/type_serving.html", {"named": named, "section": "items"})

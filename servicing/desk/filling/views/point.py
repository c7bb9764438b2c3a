"""One cylinder: scan, and the answer fills the screen."""

from collections.abc import Sequence
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST

from registry.items.models import Item
from registry.items.pure import Kind
from registry.people.actions.rights import refuse_unless
from registry.people.models import KeptForm
from registry.people.pure import Right
from registry.people.queries import NotAuthorised, PersonRequest, kept_for, viewer_of
from servicing.desk.filling.forms import AskedForm, ReadingForm
from servicing.desk.parts.views.pages import EVERYONE
from servicing.filling import queries as filling
from servicing.filling.actions import FillRefused, log_fill
from servicing.filling.pure.settling import SETTLED_C, settled_bar, stop_at_table
from servicing.ledger.actions import EntryKeyUsedTwice

REMEMBERED = "filling_compressor"
SEE_OTHER = 303


@EVERYONE
def filling_point(request: PersonRequest) -> HttpResponse:
    """Answer whether the cylinder with a code may be filled; take the filling's reading."""
    if request.method == "POST":
        return _log(request)
    asked = AskedForm(request.GET)
    if not asked.is_valid():
        return render(request, "desk/filling/asked.html", {"form": asked}, status=422)
    code = request.GET.get("q", "").strip()
    kept = kept_for(request)
    chosen = chosen_compressor(request, kept)
    if not code:
        return _page(request, None, chosen, asked)
    found = filling.answer(code, chosen, asked.cleaned_data["bar"])
    if found.item is not None and found.item.kind == Kind.COMPRESSOR:
        return choose(request, found.item, asking(request.GET.get("next", "")))
    return _page(request, found, chosen, asked, kept=kept)


@EVERYONE
@require_POST
def filling_compressor(request: PersonRequest) -> HttpResponse:
    """Remember, until the person signs out, which compressor fills here."""
    compressor = compressor_named(request.POST.get("compressor", ""))
    back = asking(request.POST.get("next", ""))
    if request.POST.get("to") == "rack":
        back = rack_address(request.POST.getlist("c"))
    if compressor is None:
        messages.error(request, "Choose a compressor from the list, or scan its tag.")
        return redirect(back)
    answered = choose(request, compressor, back)
    answered.status_code = SEE_OTHER
    return answered


def choose(request: PersonRequest, compressor: Item, back: str) -> HttpResponse:
    """Remember a compressor for this session, and go back to where it was asked for."""
    request.session[REMEMBERED] = compressor.pk
    messages.success(request, f"Filling from compressor {compressor.tag} from now on.")
    return redirect(back)


def chosen_compressor(request: PersonRequest, kept: KeptForm | None = None) -> Item | None:
    """Return the compressor chosen in this session, or None.

    kept: a filling sent after the session's end; it is of the compressor that it names.
    """
    named = compressor_named(kept.fields.get("compressor", "")) if kept else None
    return named or filling.compressor_with(request.session.get(REMEMBERED))


def compressor_named(text: str) -> Item | None:
    """Return the compressor with an id as it came in a form; None where that is none."""
    return filling.compressor_with(int(text)) if text.isascii() and text.isdigit() else None


def asking(code: str) -> str:
    """Return the address of the filling point that asks about a code."""
    return f"{reverse('filling')}?{urlencode({'q': code})}" if code else reverse("filling")


def rack_address(tags: Sequence[str]) -> str:
    """Return the address of a rack with what has been scanned into it."""
    query = urlencode([("c", tag) for tag in tags])
    return reverse("filling-rack") + (f"?{query}" if query else "")


def refusal_sentence(refused: FillRefused) -> str:
    """Return a refusal as a sentence with its clause."""
    worst = refused.verdict.worst
    return f"{refused} ({worst.source})" if worst else str(refused)


def may_log_or_403(request: PersonRequest) -> None:
    """Raise NotAllowed for those who may only look."""
    words = "Your role may not log fillings; ask the fleet manager."
    refuse_unless(request.user, Right.RECORD, words, path=request.path)


def air_of(request: PersonRequest, compressor: Item | None, to: str) -> dict[str, Any]:
    """Return what every page here shows of the compressor; `to` is the page to come back to."""
    choice = [] if compressor else filling.sources(viewer_of(request.user).site)
    return {
        "compressor": filling.source_of(compressor) if compressor else None,
        "sources": choice,
        "to": to,
        "section": "filling",
    }


def _log(request: PersonRequest) -> HttpResponse:
    may_log_or_403(request)
    text = request.POST.get("item", "")
    pk = int(text) if text.isascii() and text.isdigit() and len(text) < 19 else 0
    item = get_object_or_404(Item.objects.select_related("type", "site"), pk=pk)
    form = ReadingForm(request.POST)
    compressor = None
    if form.is_valid():
        compressor = filling.compressor_with(form.cleaned_data["compressor"])
        try:
            log_fill(
                item=item,
                compressor=compressor,
                reading=form.reading(),
                user=request.user,
                entry_key=form.cleaned_data["key"],
            )
        except FillRefused as refused:
            form.add_error(None, refusal_sentence(refused))
        except (EntryKeyUsedTwice, NotAuthorised) as problem:
            form.add_error(None, str(problem))
        else:
            messages.success(request, _logged(item, form))
            return redirect("filling")
    chosen = compressor or chosen_compressor(request)
    found = filling.answers([item], chosen)[0]
    return _page(request, found, chosen, AskedForm({}), form)


def _logged(item: Item, form: ReadingForm) -> str:
    reading = form.reading()
    settled = settled_bar(float(reading.pressure_bar), float(reading.at_c))
    return (
        f"Logged: {item.tag}, {reading.pressure_bar:f} bar at {reading.at_c:f} °C, which settles "
        f"to {settled:.0f} bar at {SETTLED_C:.0f} °C. Scan the next."
    )


def _page(
    request: PersonRequest,
    found: filling.Answer | None,
    compressor: Item | None,
    asked: AskedForm,
    form: ReadingForm | None = None,
    *,
    kept: KeptForm | None = None,
) -> HttpResponse:
    to_bar = found.verdict.fill_to_bar if found else None
    if found and found.verdict.fill and form is None:
        form = ReadingForm(compressor=compressor, initial=kept.fields if kept else None)
        form.fields["pressure_bar"].widget.attrs["autofocus"] = True  # what is typed next
    context = {
        **air_of(request, compressor, "filling"),
        "answer": found,
        "kept": kept,
        "asked": asked,
        "asked_bar": asked.cleaned_data["bar"] if asked.is_valid() else None,
        "form": form,
        "stops": stop_at_table(float(to_bar)) if to_bar else (),
    }
    status = 422 if form and form.errors else 200
    return render(request, "desk/filling/point.html", context, status=status)

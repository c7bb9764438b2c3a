"""A rack: scan several cylinders, then one reading for all that may be filled.

What has been scanned stands in the address and nowhere else: nothing is kept that nobody
asked to keep, Back works, and no script is needed.
"""

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render

from registry.items.models import Item
from registry.items.pure import Kind
from registry.items.queries import items_tagged
from registry.people.models import KeptForm
from registry.people.queries import NotAuthorised, PersonRequest, kept_for
from servicing.desk.filling.forms import ReadingForm
from servicing.desk.filling.views import point
from servicing.desk.parts.views.pages import EVERYONE
from servicing.filling import queries as filling
from servicing.filling.actions import Rack, log_rack
from servicing.filling.pure.settling import stop_at_table
from servicing.ledger.actions import EntryKeyUsedTwice

MOST = 24
"""Cylinders in one rack; more would no longer be read at a glance."""


@EVERYONE
def filling_rack(request: PersonRequest) -> HttpResponse:
    """Gather a rack by scanning; log one reading for all of it that may be filled."""
    if request.method == "POST":
        return _log(request)
    items = _scanned(request.GET.getlist("c"))
    kept = kept_for(request)
    chosen = point.chosen_compressor(request, kept)
    code = request.GET.get("q", "").strip()
    newest = filling.answer(code, chosen) if code else None
    note = ""
    if newest and newest.item:
        if newest.item.kind == Kind.COMPRESSOR:
            return point.choose(
                request, newest.item, point.rack_address([item.tag for item in items])
            )
        if newest.item in items:
            note = f"{newest.item.tag} is in the rack already."
        elif len(items) >= MOST:
            note = f"The rack is full with {MOST} cylinders; {newest.item.tag} was not added."
        else:
            items.append(newest.item)
    return _page(request, items, chosen, newest=newest, note=note, kept=kept)


def _log(request: PersonRequest) -> HttpResponse:
    point.may_log_or_403(request)
    items = _scanned(request.POST.getlist("c"))
    form = ReadingForm(request.POST)
    compressor = None
    if form.is_valid():
        compressor = filling.compressor_with(form.cleaned_data["compressor"])
        try:
            rack = log_rack(
                items=items,
                compressor=compressor,
                reading=form.reading(),
                user=request.user,
                entry_key=form.cleaned_data["key"],
            )
        except (EntryKeyUsedTwice, NotAuthorised) as problem:
            form.add_error(None, str(problem))
        else:
            if rack.logged:
                return _done(request, rack, form)
            for refused in rack.refused:
                form.add_error(None, point.refusal_sentence(refused))
            if not items:
                form.add_error(None, "The rack is empty; scan a cylinder first.")
    return _page(request, items, compressor or point.chosen_compressor(request), form)


def _done(request: PersonRequest, rack: Rack, form: ReadingForm) -> HttpResponse:
    reading, tags = form.reading(), ", ".join(item.tag for item in rack.logged)
    many = "1 filling" if len(rack.logged) == 1 else f"{len(rack.logged)} fillings"
    messages.success(
        request, f"Logged {many}, {reading.pressure_bar:f} bar at {reading.at_c:f} °C: {tags}."
    )
    for refused in rack.refused:
        messages.warning(request, f"Not logged. {point.refusal_sentence(refused)}")
    return redirect("filling-rack")


def _scanned(tags: Sequence[str]) -> list[Item]:
    """Return the items scanned so far, in order and each once."""
    wanted = list(dict.fromkeys(tags))[:MOST]
    found = items_tagged(wanted)
    return [found[tag] for tag in wanted if tag in found]


def _page(
    request: PersonRequest,
    items: Sequence[Item],
    compressor: Item | None,
    form: ReadingForm | None = None,
    *,
    newest: filling.Answer | None = None,
    note: str = "",
    kept: KeptForm | None = None,
) -> HttpResponse:
    found, tags = filling.answers(items, compressor), [item.tag for item in items]
    good = [a.verdict.fill_to_bar for a in found if a.verdict.fill_to_bar is not None]
    lowest: Decimal | None = min(good, default=None)
    if form is None and good:
        form = ReadingForm(compressor=compressor, initial=kept.fields if kept else None)
    context: dict[str, Any] = {
        **point.air_of(request, compressor, "rack"),
        "rows": [(a, _without(items, a)) for a in reversed(found)],
        "tags": tags,
        "here": point.rack_address(tags),
        "kept": kept,
        "newest": newest,
        "take": f"{point.rack_address(tags)}{'&' if items else '?'}q=",
        "note": note,
        "good": len(good),
        "lowest": lowest,
        "mixed": len(set(good)) > 1,
        "stops": stop_at_table(float(lowest)) if lowest else (),
        "most": MOST,
        "form": form,
    }
    status = 422 if form and form.errors else 200
    return render(request, "desk/filling/rack.html", context, status=status)


def _without(items: Sequence[Item], one: filling.Answer) -> str:
    """Return the address of the rack without one of its cylinders."""
    return point.rack_address([item.tag for item in items if item != one.item])

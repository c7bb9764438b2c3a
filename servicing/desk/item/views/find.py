"""Finding an item by what was scanned, typed or photographed."""

from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from registry.items.queries import Named, items_with_part, named_by
from registry.scanning.pure.code import read_code
from registry.scanning.queries import NotAPhoto, texts_in_photo
from servicing.desk.item.forms.photos import PhotoForm
from servicing.desk.parts.forms.questions import AsOfForm
from servicing.desk.parts.views.pages import EVERYONE

SHOWN = 200
"""How many characters of an unknown code are shown."""


@EVERYONE
@require_safe
def find(request: HttpRequest) -> HttpResponse:
    """Go to the item that a scan or typed text names, or say what was read and what is near.

    Leading zeros and case are part of a tag: 00123 and 123 are two tags, and the one that was
    not read is offered. So is what carried the tag before, and then none is to be registered.
    """
    named = named_by(request.GET.get("q", ""))
    as_of = AsOfForm(request.GET)
    if not as_of.is_valid():
        return render(request, "parts/question.html", {"form": as_of}, status=422)
    asked = {name: request.GET[name] for name in ("on", "known_by") if request.GET.get(name)}
    query = f"?{urlencode(asked)}" if asked else ""
    if named.item is not None:
        return redirect(reverse("item", args=[named.item.pk]) + query)
    context = {"scan": named.scan, "found": named.items, "query": query, "photo": PhotoForm()}
    if not named.items:
        context |= _unknown(named)
    status = 200 if named.items else 404
    return render(request, "desk/item/find.html", context, status=status)


@EVERYONE
def find_by_photo(request: HttpRequest) -> HttpResponse:
    """Read the codes in a photo of a label; one code is followed, of several one is chosen."""
    sent = request.method == "POST"
    form = PhotoForm(request.POST, request.FILES) if sent else PhotoForm()
    read = _codes_in(form) if sent else ()
    if len(read) == 1:
        return redirect(f"{reverse('find')}?{urlencode({'q': read[0]})}")
    if read:
        return redirect(f"{reverse('find-photo')}?{urlencode([('code', code) for code in read])}")
    codes = request.GET.getlist("code")
    context = {"form": form, "codes": [(code, read_code(code)) for code in codes]}
    status = 422 if form.errors else 200
    return render(request, "desk/item/find_photo.html", context, status=status)


def _codes_in(form: PhotoForm) -> tuple[str, ...]:
    """Return the codes in the form's photo, or put into the form why there are none."""
    if not form.is_valid():
        return ()
    try:
        codes = texts_in_photo(form.cleaned_data["photo"])
    except NotAPhoto as problem:
        form.add_error("photo", str(problem))
        return ()
    if not codes:
        said = "No code was found in the photo. Go nearer, hold still, or type what is printed."
        form.add_error("photo", said)
    return codes


def _unknown(named: Named) -> dict[str, Any]:
    """Return what is shown of a code that names nothing: as it was read, and what may be meant."""
    scan, text = named.scan, named.scan.text[:SHOWN]
    offered = {each.item for each in named.meant}
    parts = items_with_part(text) if text and scan.is_printable else []
    return {
        "text": text if scan.is_printable else "".join(scan.signs[:SHOWN]),
        "tag": text if scan.is_printable and not offered else "",
        "length": len(scan.text),
        "meant": [each for each in named.meant if not each.by_layout],
        "layouts": [each for each in named.meant if each.by_layout],
        "near": [item for item in parts if item not in offered],
    }

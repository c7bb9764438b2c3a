"""Finding an item by what was scanned, typed or photographed."""

from collections.abc import Iterable
from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from registry.items.models import Item
from registry.items.queries import items_marked, items_tagged, near_marks
from registry.people.pure import Role
from registry.people.queries import for_roles
from registry.scanning.pure.code import Scan, read_code
from registry.scanning.pure.layouts import layout_guesses
from registry.scanning.queries import NotAPhoto, texts_in_photo
from servicing.due.forms.photos import PhotoForm
from servicing.due.forms.questions import AsOfForm

EVERYONE = for_roles(*Role)
SHOWN = 200
"""How many characters of an unknown code are shown."""


@EVERYONE
def find(request: HttpRequest) -> HttpResponse:
    """Go to the item that a scan or typed text names, or say what was read and what is near.

    Leading zeros and case are part of a tag: 00123 and 123 are two tags. Only a mark that
    the code itself gives is followed; what comes near it is offered.
    """
    scan = read_code(request.GET.get("q", ""))
    as_of = AsOfForm(request.GET)
    if not as_of.is_valid():
        return render(request, "servicing/due/question.html", {"form": as_of}, status=422)
    on = as_of.cleaned_data["on"]
    found = _marked(scan.marks)
    if len(found) == 1:
        asked = {name: request.GET[name] for name in ("on", "known_by") if request.GET.get(name)}
        query = f"?{urlencode(asked)}" if asked else ""
        return redirect(reverse("item", args=[found[0].pk]) + query)
    context = {"scan": scan, "found": found, "on": on, "photo": PhotoForm()}
    if not found:
        context |= _near(scan)
    return render(request, "servicing/due/find.html", context, status=200 if found else 404)


@EVERYONE
def find_by_photo(request: HttpRequest) -> HttpResponse:
    """Read the codes in a photo of a label; one code is followed, of several one is chosen."""
    sent = request.method == "POST"
    form = PhotoForm(request.POST, request.FILES) if sent else PhotoForm()
    codes = _codes_in(form) if sent else ()
    if len(codes) == 1:
        return redirect(f"{reverse('find')}?{urlencode({'q': codes[0]})}")
    context = {"form": form, "codes": [(code, read_code(code)) for code in codes]}
    status = 422 if form.errors else 200
    return render(request, "servicing/due/find_photo.html", context, status=status)


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


def _marked(marks: Iterable[str]) -> list[Item]:
    """Return the items that the first mark names that anything carries."""
    return next((found for mark in marks if (found := items_marked(mark))), [])


def _near(scan: Scan) -> dict[str, Any]:
    """Return what comes near an unknown code: by its parts, by another layout, by likeness."""
    text = scan.text[:SHOWN]
    guesses = layout_guesses(text) if scan.is_printable else ()
    tagged = items_tagged(guess.text for guess in guesses)
    offered = [item for offer in scan.offers for item in _marked([offer])]
    near = near_marks(text) if text and scan.is_printable else []
    return {
        "text": text if scan.is_printable else "".join(scan.signs[:SHOWN]),
        "tag": text if scan.is_printable else "",
        "length": len(scan.text),
        "layouts": [(tagged[one.text], one.because) for one in guesses if one.text in tagged],
        "near": list(dict.fromkeys([*offered, *near])),
    }

"""How anybody can check the ledger without this program."""

from pathlib import Path

from django.conf import settings
from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from registry.people.queries import PersonRequest
from registry.trail.queries import trail_head
from servicing.desk.parts.views.pages import EVERYONE

VERIFIER = Path(settings.BASE_DIR) / "fixtures" / "audit" / "verify_export.py"


@EVERYONE
@require_safe
def check_yourself(request: PersonRequest) -> HttpResponse:
    """Show how a chain is recomputed from an export, and the program that does it."""
    number, head = trail_head()
    context = {
        "number": number,
        "head": head,
        "verifier": VERIFIER.read_text("utf-8"),
        "section": "rules",
    }
    return render(request, "desk/people/check_yourself.html", context)

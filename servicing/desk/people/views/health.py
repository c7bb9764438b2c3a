"""Whether the process lives, and whether it can serve; for whatever watches over it."""

import logging

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.views.decorators.http import require_safe

from servicing.oversight.queries import why_not_ready


@login_not_required
@require_safe
def live(_: HttpRequest) -> HttpResponse:
    """Answer, which is all that is asked."""
    return HttpResponse("live\n", content_type="text/plain", headers={"Cache-Control": "no-store"})


@login_not_required
@require_safe
def ready(_: HttpRequest) -> HttpResponse:
    """Say whether requests can be served; why not only in the log, for anybody may ask."""
    reason = why_not_ready()
    if reason:
        logging.getLogger("neckring.health").warning("Not ready: %s.", reason)
    return HttpResponse(
        "not ready\n" if reason else "ready\n",
        content_type="text/plain",
        status=503 if reason else 200,
        headers={"Cache-Control": "no-store"},
    )

"""Whether the process lives, and whether it can serve; for whatever watches over it."""

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.views.decorators.http import require_safe

from servicing.oversight.queries import is_ready


@login_not_required
@require_safe
def live(_: HttpRequest) -> HttpResponse:
    """Answer, which is all that is asked."""
    return HttpResponse("live\n", content_type="text/plain", headers={"Cache-Control": "no-store"})


@login_not_required
@require_safe
def ready(_: HttpRequest) -> HttpResponse:
    """Say whether requests can be served; never why not, for anybody may ask."""
    good = is_ready()
    return HttpResponse(
        "ready\n" if good else "not ready\n",
        content_type="text/plain",
        status=200 if good else 503,
        headers={"Cache-Control": "no-store"},
    )

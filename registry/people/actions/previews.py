"""A page that a form was answered with has an address of its own. D24.

What is shown before it is signed (what moves, what is in the record) comes from a form and
enters nothing. Its fields are kept for whoever sent them, and the answer leads to an address
that shows them again: it can be reloaded, bookmarked and gone back to, and the browser never
asks whether to send something twice. What was refused (422) stays where it was sent.
"""

from collections.abc import Callable
from typing import Any, cast
from urllib.parse import urlencode

from django.contrib.auth.models import User
from django.db import transaction
from django.http import HttpRequest, QueryDict
from django.http.response import HttpResponseBase
from django.shortcuts import redirect

from registry.people.actions.kept import keep
from registry.people.models import KeptForm
from registry.people.pure import LONGEST_ADDRESS, LONGEST_KEPT, PROMISE
from registry.people.queries import SHOWN_BEFORE, previewed_form

SHOWN = "shown"
"""What is asked of an address that shows a form again."""
_NEVER_KEPT = ("csrfmiddlewaretoken", PROMISE)
_SECRET = ("password", "current", "again")
"""Parts of the names of fields that hold a password."""


class AnswerByRedirect:
    """Gives each page that a form is answered with an address of its own. Middleware, the last."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        sent = request.method == "POST"
        answer = self.get_response(request)
        if not (sent and isinstance(request.user, User)):
            return answer
        if answer.status_code in (302, 303):
            KeptForm.objects.filter(user=request.user, address=_address(request)).delete()
        elif answer.status_code == 200 and "HX-Request" not in request.headers and _keep(request):
            return redirect(_with_shown(request))
        return answer

    def process_view(
        self,
        request: HttpRequest,
        view_func: Callable[..., HttpResponseBase],
        view_args: tuple[Any, ...],
        view_kwargs: dict[str, Any],
    ) -> HttpResponseBase | None:
        if request.method != "GET" or SHOWN not in request.GET:
            return None
        if not isinstance(request.user, User):
            return None  # nothing is kept for a stranger: the page shows as it is
        kept = previewed_form(request.user, _address(request))
        if kept is None:
            return redirect(_plain(request))
        sent = QueryDict(mutable=True)
        for name, values in kept.fields.items():
            sent.setlist(name, values)
        sent._mutable = False
        request.method, request.POST = "POST", cast(Any, sent)
        # Looking enters nothing, whatever became of the register since: it is all undone.
        with transaction.atomic():
            answer = view_func(request, *view_args, **view_kwargs)
            transaction.set_rollback(True)
        request.method = "GET"
        return answer if answer.status_code in (200, 422) else redirect(_plain(request))


def _keep(request: HttpRequest) -> bool:
    """Keep what was sent, without passwords; False where it can't be shown again."""
    names = (name for name in request.POST if name not in _NEVER_KEPT)
    fields = {n: request.POST.getlist(n) for n in names if not any(s in n for s in _SECRET)}
    address = _address(request)
    long = sum(len(value) for values in fields.values() for value in values) > LONGEST_KEPT
    if request.FILES or long or len(address) > LONGEST_ADDRESS:
        return False
    keep(cast(User, request.user), address, fields)
    return True


def _asked(request: HttpRequest) -> str:
    """Return what is asked of an address, besides to show a form again."""
    rest = [(name, value) for name, value in _pairs(request.GET) if name != SHOWN]
    return urlencode(rest)


def _pairs(asked: QueryDict) -> list[tuple[str, str]]:
    return [(name, str(value)) for name in asked for value in asked.getlist(name)]


def _plain(request: HttpRequest) -> str:
    asked = _asked(request)
    return f"{request.path}?{asked}" if asked else request.path


def _with_shown(request: HttpRequest) -> str:
    asked = _asked(request)
    return f"{request.path}?{asked}&{SHOWN}=1" if asked else f"{request.path}?{SHOWN}=1"


def _address(request: HttpRequest) -> str:
    """Return under what a form is kept that is shown; no form sent too late has such a one."""
    return SHOWN_BEFORE + _plain(request)

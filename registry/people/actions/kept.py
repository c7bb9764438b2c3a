"""Keeping what somebody typed when their session ended before they sent it. D26.

A form that promises so carries a text, signed here, that says whose page it is on, at which
address, and which of its fields may be kept. Nothing lies in the browser but the page itself,
and nobody else is ever shown what was typed.
"""

from collections.abc import Callable, Iterable
from functools import partial
from typing import Any

from django.contrib import messages
from django.contrib.auth.middleware import LoginRequiredMiddleware
from django.contrib.auth.models import User
from django.core import signing
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase

from registry.people.models import KeptForm
from registry.people.pure import KEPT_FOR, LONGEST_ADDRESS, LONGEST_KEPT, PROMISE
from registry.sites.clock import now

_BEYOND = ("check/", "put-aside/")
"""The pages below a form's own on which what it was a part of is signed or thrown away."""
_SALT = "neckring.kept-form"


def promise(request: HttpRequest, names: Iterable[str]) -> str:
    """Return the promise to keep these fields of a form on the page that is being made."""
    return signing.dumps([request.user.pk, request.path, sorted(names)], salt=_SALT)


def promises(request: HttpRequest) -> dict[str, Callable[[Iterable[str]], str]]:
    """Give every template what promises to keep fields of its forms."""
    return {"promise": partial(promise, request)}


def keep_sent(request: HttpRequest) -> KeptForm | None:
    """Keep what was sent with a promise by somebody who is not signed in any more.

    None where nothing was promised for this address, or nothing was typed.
    """
    try:
        said = signing.loads(request.POST.get(PROMISE, ""), salt=_SALT, max_age=KEPT_FOR)
    except signing.BadSignature:
        return None
    whose, path, names = said
    typed = {name: request.POST[name] for name in names if request.POST.get(name)}
    address = request.get_full_path()
    fits = len(address) <= LONGEST_ADDRESS and sum(map(len, typed.values())) <= LONGEST_KEPT
    user = User.objects.filter(pk=whose, is_active=True).first()
    if path != request.path or not typed or not fits or user is None:
        return None
    return keep(user, address, typed)


def keep(user: User, address: str, fields: dict[str, Any]) -> KeptForm:
    """Keep the fields of a form for a person and an address; what is too old for anybody goes."""
    at = now()
    KeptForm.objects.filter(kept_at__lte=at - KEPT_FOR).delete()
    kept, _ = KeptForm.objects.update_or_create(
        user=user, address=address, defaults={"fields": fields, "kept_at": at}
    )
    return kept


def let_go(request: HttpRequest, user: User) -> None:
    """Forget what was kept for a form that its owner is sending now, or has gone beyond."""
    for kept in KeptForm.objects.filter(user=user):
        path = kept.address.partition("?")[0]
        beyond = request.path in [f"{path}{page}" for page in _BEYOND]
        if beyond or request.get_full_path() == kept.address:
            kept.delete()


class SignInFirst(LoginRequiredMiddleware):
    """Sends whoever is not signed in to the sign-in page, and keeps what they typed. Middleware."""

    def process_view(
        self,
        request: HttpRequest,
        view_func: Callable[..., HttpResponseBase],
        view_args: tuple[Any, ...],
        view_kwargs: dict[str, Any],
    ) -> HttpResponseBase | None:
        if request.method == "POST" and isinstance(request.user, User):
            let_go(request, request.user)
        answer = super().process_view(request, view_func, view_args, view_kwargs)
        if answer is None:
            return None
        if request.method == "POST" and keep_sent(request) is not None:
            messages.info(
                request,
                "What you typed is not lost: it is kept on the server, for you alone. Sign in "
                "with your own name, and it is there again to be sent.",
            )
        if "HX-Request" in request.headers:  # else the sign-in page is put into the sheet
            return HttpResponse(headers={"HX-Redirect": answer["Location"]})
        return answer

"""Proving who sits at the screen, and ending sessions that nobody sits at."""

from collections.abc import Callable
from datetime import datetime, timedelta
from functools import partial
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.contrib.auth import authenticate, logout
from django.contrib.auth.models import User
from django.db import transaction
from django.http import HttpRequest, HttpResponse

from registry.people.actions import tries
from registry.people.actions.security import security
from registry.people.pure import LONGEST_AWAY, LONGEST_SESSION, PRESENCE, typed
from registry.people.queries import DEMO_IS_LOCAL, why_not_second, works_here
from registry.sites.clock import now
from registry.trail.actions import note

PROVED_AT = "password_proved_at"
"""Where a session keeps the moment of its last password."""
BEGAN_AT = "began_at"
"""Where a session keeps when it began."""
SEEN_AT = "seen_at"
SEEN_STEP = timedelta(minutes=1)
"""How exactly a session keeps when it was last used, so that not every look is a write."""


class WrongPassword(ValueError):
    """The password was not the signed-in person's own."""

    def __init__(self) -> None:
        super().__init__("Password: this is not your password. Nothing was signed.")


class NotLocal(WrongPassword):
    """The account is one of the demo, whose passwords are public, and the program is open."""

    def __init__(self) -> None:
        ValueError.__init__(self, f"Password: {DEMO_IS_LOCAL} Nothing was signed.")


class NotTheSecondPerson(ValueError):
    """Whoever was named did not prove to be there, or may not sign; the text says which."""


def needs_password(request: HttpRequest, at: datetime) -> bool:
    """Say whether a signature needs the password again: the last one is PRESENCE old."""
    proved = request.session.get(PROVED_AT)
    return not proved or at - datetime.fromisoformat(str(proved)) >= PRESENCE


def prove_presence(request: HttpRequest, password: str, *, to: str = "signing") -> datetime:
    """Take the password of the person signed in as proof that they are there; return when.

    A wrong one counts as a try to sign in and is in the trail, as refused in what they were
    about to do (`to`). Raises WrongPassword, of which NotLocal is one, or
    TooManyTries. Call it before the transaction of what is signed, which a refusal ends.
    """
    user, address, at = request.user, address_of(request), now()
    assert isinstance(user, User)  # noqa: S101 (no view is open to others)
    try:
        tries.begin_try(username=user.username, address=address)
    except tries.TooManyTries:
        _refused(user, address, at, "too many wrong tries", to=to)
        raise
    if not user.check_password(typed(password)):
        _refused(user, address, at, "wrong password", to=to)
        raise WrongPassword
    tries.right_password(username=user.username, address=address)
    if not works_here(user):
        _refused(user, address, at, "an account of the demo", to=to)
        raise NotLocal
    request.session[PROVED_AT] = at.isoformat()
    return at


def second_person(request: HttpRequest, *, username: str, password: str) -> User:
    """Return who signs beside the person signed in, by their own name and password.

    The one door for whoever signs second; every refusal counts, and stands in the trail, as
    one of `prove_presence` does, and it is called where that is. It signs nobody in. Raises
    NotTheSecondPerson or TooManyTries.
    """
    by, address, at = request.user, address_of(request), now()
    assert isinstance(by, User)  # noqa: S101 (no view is open to others)
    # People type passwords into the field of the name; only known names are written.
    named = User.objects.filter(username=username).first()
    refused = partial(_refused, by, address, at, of=named.username if named else "of nobody")
    try:
        tries.begin_try(username=username, address=address)
    except tries.TooManyTries:
        refused("second person: too many wrong tries")
        raise
    found = authenticate(request, username=username, password=typed(password))
    if not isinstance(found, User):
        refused("second person: wrong name or password")
        raise NotTheSecondPerson(
            "Second person: the name or the password is not right. Nothing was signed."
        )
    tries.right_password(username=username, address=address)
    if (bar := why_not_second(found, beside=by)) is not None:
        refused(f"second person: {bar.why}")
        raise NotTheSecondPerson(bar.sentence)
    return found


def _refused(
    user: User, address: str, at: datetime, why: str, *, of: str = "", to: str = "signing"
) -> None:
    account, what = of or user.username, f"{to}-refused"
    security(what, account=account, address=address, why=why)
    with transaction.atomic():
        note(what=what, subject=account, why=why, by=user, at=at)


def address_of(request: HttpRequest) -> str:
    """Return the address a request comes from; behind a proxy the one that the proxy saw."""
    if settings.BEHIND_PROXY:
        seen = request.META.get("HTTP_X_FORWARDED_FOR", "").split(",")[-1].strip()
        return str(seen or request.META.get("REMOTE_ADDR", ""))
    return str(request.META.get("REMOTE_ADDR", ""))


def begin_session(*, request: HttpRequest, user: User, **_: Any) -> None:
    """Keep when a session began; signing in is the first proof of presence in it."""
    at = now().isoformat()
    request.session.update({BEGAN_AT: at, SEEN_AT: at, PROVED_AT: at})
    security("signed-in", account=user.username, address=address_of(request))


def end_session(*, request: HttpRequest, user: User | None, **_: Any) -> None:
    """Write to the security log that somebody signed out, or was signed out."""
    if user is not None:
        security("signed-out", account=user.username, address=address_of(request))


class SessionLimits:
    """Signs out whoever was away for LONGEST_AWAY or came LONGEST_SESSION ago. Middleware."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_view(self, request: HttpRequest, view: Any, *_: Any) -> None:
        if not getattr(view, "login_required", True) or not request.user.is_authenticated:
            return
        at = now()
        began, seen = (_moment(request, name) for name in (BEGAN_AT, SEEN_AT))
        if began is None or seen is None:
            request.session.update({BEGAN_AT: at.isoformat(), SEEN_AT: at.isoformat()})
        elif at - began >= LONGEST_SESSION or at - seen >= LONGEST_AWAY:
            logout(request)
            messages.info(
                request, "You were signed out: away too long, or a shift is over. Sign in again."
            )
        elif at - seen >= SEEN_STEP:
            request.session[SEEN_AT] = at.isoformat()


def _moment(request: HttpRequest, name: str) -> datetime | None:
    text = request.session.get(name)
    return datetime.fromisoformat(text) if text else None

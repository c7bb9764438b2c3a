"""Who may open a page, signing in, and a form that was made for another session."""

from collections.abc import Callable
from datetime import datetime
from functools import wraps
from typing import Any, TypeVar, cast

from django.contrib.auth.models import User
from django.contrib.auth.views import LoginView, redirect_to_login
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render, resolve_url
from django.utils import timezone

from registry.people.actions.kept import keep_sent
from registry.people.actions.presence import BEGAN_AT
from registry.people.actions.rights import refuse_unless
from registry.people.forms import SignInForm
from registry.people.pure import LONGEST_AWAY, LONGEST_SESSION, Right
from registry.people.queries import PersonRequest, latest_kept, role_to_show, viewer_of, zone_of
from registry.sites.clock import now

View = TypeVar("View", bound=Callable[..., HttpResponseBase])


def open_to(right: Right) -> Callable[[View], View]:
    """Let only people with a right open a page; others get 403."""

    def guard(view: View) -> View:
        @wraps(view)
        def guarded(request: PersonRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
            refuse_unless(request.user, right, path=request.path)
            with timezone.override(zone_of(request.user)):
                response = view(request, *args, **kwargs)
            # A bench PC is shared: after signing out, Back must show nothing.
            response.setdefault("Cache-Control", "no-store")
            return response

        return cast(View, guarded)

    return guard


def viewer(request: HttpRequest) -> dict[str, object]:
    """Give every template the person signed in, where they have a role, and their limits."""
    user = getattr(request, "user", None)
    if not isinstance(user, User) or role_to_show(user) is None:
        return {}
    began = request.session.get(BEGAN_AT)
    left = LONGEST_SESSION - (now() - datetime.fromisoformat(began)) if began else LONGEST_SESSION
    return {
        "viewer": viewer_of(user),
        "away_seconds": round(LONGEST_AWAY.total_seconds()),
        "session_seconds": round(left.total_seconds()),
    }


class SignIn(LoginView):
    """Sign in, and go on where one was; to what is kept where no page was asked for."""

    authentication_form = SignInForm

    def get_success_url(self) -> str:
        asked, home = super().get_success_url(), resolve_url("home")
        kept = latest_kept(cast(User, self.request.user)) if asked == home else None
        return kept.address if kept else asked


def form_not_matched(request: HttpRequest, reason: str = "") -> HttpResponse:
    """Refuse a form of another session; what its owner typed into it is kept where promised."""
    kept = keep_sent(request)
    if kept is not None and not request.user.is_authenticated:
        return redirect_to_login(kept.address)
    if kept is not None and kept.user == request.user:
        return redirect(kept.address)
    return render(request, "403_csrf.html", {"kept": kept}, status=403)

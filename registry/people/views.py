"""Signing in, and a form that was made for another session."""

from typing import cast

from django.contrib.auth.models import User
from django.contrib.auth.views import LoginView, redirect_to_login
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render, resolve_url

from registry.people.actions.kept import keep_sent
from registry.people.forms import SignInForm
from registry.people.queries import latest_kept


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

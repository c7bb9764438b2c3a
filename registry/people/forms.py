"""Signing in, and proving presence."""

from typing import Any

from django import forms
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.models import User
from django.core.exceptions import ValidationError

from registry.people.actions import presence, tries
from registry.people.actions.security import security
from registry.people.pure import typed
from registry.people.queries import DEMO_IS_LOCAL, PersonRequest, works_here
from registry.sites.clock import now


class SignInForm(AuthenticationForm):
    """Name and password. The accounts of the demo work on this machine only.

    Who has no account, whose account is closed and who mistypes get one answer, after the
    same work. Wrong tries are counted for the name and for the address.
    """

    error_messages = {
        "invalid_login": "The name or the password is not right; both mind capital letters.",
        "inactive": "This account is closed; ask the fleet manager.",
    }

    def clean_password(self) -> str:
        return typed(self.cleaned_data["password"])

    def clean(self) -> dict[str, Any]:
        name, address = self.cleaned_data.get("username", ""), self._address()
        try:
            tries.begin_try(username=name, address=address)
            found = super().clean()
        except (tries.TooManyTries, ValidationError) as problem:
            known = User.objects.filter(username=name).exists()
            # People type passwords into the field of the name; only known names are written.
            security(
                "sign-in-refused",
                account=name if known else "of nobody",
                address=address,
                why="too many tries" if isinstance(problem, tries.TooManyTries) else "not right",
            )
            raise ValidationError(
                str(problem) if isinstance(problem, tries.TooManyTries) else problem.messages
            ) from problem
        tries.right_password(username=name, address=address)
        return found

    def _address(self) -> str:
        return presence.address_of(self.request) if self.request is not None else ""

    def confirm_login_allowed(self, user: Any) -> None:
        super().confirm_login_allowed(user)
        if not works_here(user):
            raise ValidationError(DEMO_IS_LOCAL)


class PasswordField(forms.CharField):
    """The password of who is signed in, as proof that they are there."""

    def __init__(self, label: str = "Your password", **options: Any) -> None:
        super().__init__(
            label=label,
            strip=False,
            widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
            error_messages={"required": f"{label}: write it; signing needs it."},
            **options,
        )


class PresenceForm(forms.Form):
    """The password of who signs, where it is too long since they gave it last.

    sent: whether the signature itself was sent, and not something before it.
    """

    password = PasswordField()

    def __init__(self, request: PersonRequest, *, sent: bool) -> None:
        super().__init__(request.POST if sent else None)
        self.request = request
        if not presence.needs_password(request, now()):
            del self.fields["password"]

    def proves(self) -> bool:
        """Say whether the signer has proved to be there; where not, the form says why."""
        if not self.is_valid():
            return False
        try:
            if "password" in self.fields:
                presence.prove_presence(self.request, self.cleaned_data["password"])
            return True
        except (presence.WrongPassword, tries.TooManyTries) as problem:
            self.add_error("password", str(problem))
            return False

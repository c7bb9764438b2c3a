"""Signing in."""

from django.conf import settings
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.models import User
from django.core.exceptions import ValidationError

from registry.people.pure import DEMO_PREFIX


class SignInForm(AuthenticationForm):
    """Name and password. The accounts of the demo work on this machine only."""

    error_messages = {
        "invalid_login": "The name or the password is not right; both mind capital letters.",
        "inactive": "This account is closed; ask the fleet manager.",
    }

    def confirm_login_allowed(self, user: User) -> None:
        super().confirm_login_allowed(user)
        if user.get_username().startswith(DEMO_PREFIX) and not settings.ON_LOOPBACK_ONLY:
            raise ValidationError("The demo's accounts work only where the program is local.")

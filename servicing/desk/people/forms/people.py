"""Accounts, roles, and who may do which task."""

from collections.abc import Iterable
from typing import Any

from django import forms
from django.contrib.auth.models import User
from django.contrib.auth.password_validation import validate_password

from registry.lettering.forms import WrittenField
from registry.people.actions.presence import WrongPassword, prove_presence
from registry.people.actions.tries import TooManyTries
from registry.people.models import EVERY_TASK
from registry.people.pure import DEMO_PREFIX, Role, typed
from registry.people.queries import PersonRequest, role_of
from registry.sites.models import Site
from servicing.desk.parts.forms import fields


class NewPasswordField(forms.CharField):
    """A password that is being given."""

    def __init__(self, label: str = "Password") -> None:
        super().__init__(
            label=label,
            strip=False,
            max_length=4096,
            widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
            help_text="15 characters or more; a few unrelated words make a good one.",
            error_messages={"required": f"{label}: write one."},
        )


class PersonForm(forms.Form):
    """What somebody is called, may do, and where they work."""

    full_name = WrittenField(
        label="Name",
        max_length=150,
        help_text="As printed on records.",
        error_messages={"required": "Name: write it as it is printed on records."},
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    role = fields.WordField(
        label="Role",
        choices=fields.word_choices(Role, "choose a role"),
        error_messages={"required": "Role: choose one."},
    )
    site = forms.ModelChoiceField(
        Site.objects.all(),
        label="Site",
        empty_label="choose a site",
        error_messages={"required": "Site: choose where they work."},
    )
    why = fields.WhyField("The reason, kept in the trail.")

    @staticmethod
    def initial_for(person: User) -> dict[str, Any]:
        """Return what the form shows of somebody."""
        posting = getattr(person, "posting", None)
        return {
            "full_name": person.get_full_name(),
            "role": role_of(person),
            "site": posting and posting.site_id,
        }


class NewPersonForm(PersonForm):
    """A new account."""

    username = WrittenField(
        label="Account",
        max_length=150,
        help_text="What they sign in with. It stays theirs for ever.",
        error_messages={"required": "Account: write what they sign in with."},
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "off"}),
    )
    password = NewPasswordField()

    field_order = ("username", "full_name", "role", "site", "password")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        del self.fields["why"]

    def clean_username(self) -> str:
        name: str = self.cleaned_data["username"]
        if name.startswith(DEMO_PREFIX):
            raise forms.ValidationError(
                f"Account: names with {DEMO_PREFIX} are the demo's; choose another."
            )
        return name

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        first, _, last = str(data.get("full_name", "")).partition(" ")
        _check_password(
            self, User(username=data.get("username", ""), first_name=first, last_name=last)
        )
        return data


def _check_password(form: forms.Form, person: User) -> None:
    """Say at the field what is wrong with a password."""
    try:
        if password := form.cleaned_data.get("password"):
            validate_password(typed(password), person)
    except forms.ValidationError as problem:
        form.add_error("password", [f"Password: {words}" for words in problem.messages])


class ClosingForm(forms.Form):
    """Closing an account, or taking an authorisation back: why."""

    why = WrittenField(
        label="Why",
        max_length=500,
        widget=forms.Textarea(attrs={"rows": 2}),
        error_messages={"required": "Why: write the reason."},
    )


class NewPasswordForm(forms.Form):
    """Another password for somebody who has forgotten theirs."""

    password = NewPasswordField()

    def __init__(self, *args: Any, person: User, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.person = person

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        _check_password(self, self.person)
        return data


class OwnPasswordForm(forms.Form):
    """One's own password: the one that holds, and twice the one that shall."""

    current = forms.CharField(
        label="Current password",
        strip=False,
        max_length=4096,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
        error_messages={"required": "Current password: write the one you signed in with."},
    )
    password = NewPasswordField("New password")
    again = forms.CharField(
        label="New password, once more",
        strip=False,
        max_length=4096,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        error_messages={"required": "New password, once more: write it a second time."},
    )

    def __init__(self, request: PersonRequest) -> None:
        super().__init__(request.POST or None)
        self.request = request

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        _check_password(self, self.request.user)
        if data.get("again") and data.get("password") and data["again"] != data["password"]:
            self.add_error("again", "New password, once more: it differs from the one above.")
        return data

    def proves(self) -> bool:
        """Say whether the current password is right; where not, the form says so."""
        try:
            prove_presence(self.request, self.cleaned_data["current"], to="password-change")
            return True
        except WrongPassword:
            words = "Current password: this is not your password. Nothing was changed."
            self.add_error("current", words)
        except TooManyTries as problem:
            self.add_error("current", str(problem))
        return False


class AuthorisationForm(forms.Form):
    """Which task somebody may do, and on which days."""

    task = fields.WordField(label="Task", error_messages={"required": "Task: choose one, or all."})
    valid_from = fields.DayField("Valid from")
    valid_until = fields.DayField(
        "Valid until", required=False, help_text="The last good day; empty where it has no end."
    )
    note_text = WrittenField(
        label="Note",
        required=False,
        max_length=500,
        help_text="On what it rests: a course, a certificate and its number.",
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )

    def __init__(self, *args: Any, tasks: Iterable[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["task"]
        assert isinstance(field, forms.ChoiceField)  # noqa: S101 (declared above)
        field.choices = [*fields.word_choices(tasks, "choose a task"), (EVERY_TASK, "all tasks")]


class OnDayForm(forms.Form):
    """The day a list of people is asked about; empty is today."""

    on = fields.DayField("As of", required=False)

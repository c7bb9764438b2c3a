"""A field for whatever may come onto paper."""

from django import forms
from django.core.exceptions import ValidationError

from registry.lettering.pure import signs_named, unprintable


def can_be_printed(text: str) -> None:
    """Refuse, by name, the signs that no paper could show."""
    if lacking := unprintable(text):
        raise ValidationError(f"Paper can't show {signs_named(lacking)}: write it without, please.")


class WrittenField(forms.CharField):
    """A text that somebody writes and that may stand on paper one day."""

    default_validators = [*forms.CharField.default_validators, can_be_printed]

"""Asking the trail, and signing its review."""

from collections import Counter
from collections.abc import Sequence
from typing import Any

from django import forms
from django.utils.timezone import get_current_timezone

from registry.lettering.forms import WrittenField
from registry.trail.pure import name_of
from servicing.desk.parts.forms import fields
from servicing.oversight.queries import TrailQuestion


class TrailForm(forms.Form):
    """The sentence above the trail."""

    what = fields.WordField(label="Kind of change", required=False)
    of = forms.CharField(
        label="Of",
        required=False,
        max_length=250,
        widget=forms.TextInput(attrs={"placeholder": "anything", "autocomplete": "off"}),
    )
    by = forms.ChoiceField(label="By", required=False)
    since = fields.DayField("From", required=False)
    until = fields.DayField("Up to", required=False)

    def __init__(
        self, *args: Any, kinds: Sequence[str], people: Sequence[str], **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        for name, choices in (
            ("what", fields.word_choices(kinds, "every change")),
            ("by", [("", "anybody"), *_by_name(people)]),
        ):
            field = self.fields[name]
            assert isinstance(field, forms.ChoiceField)  # noqa: S101 (declared above)
            field.choices = choices

    def question(self, only: tuple[str, ...]) -> TrailQuestion:
        """Return what the trail is asked for."""
        return TrailQuestion(**self.cleaned_data, only=only, zone=get_current_timezone())

    def sentence(self) -> str:
        """Return the question in words, as prints say it."""
        asked = self.cleaned_data
        parts = [f"Every change of kind {asked['what']}" if asked["what"] else "Every change"]
        parts += [f"of {asked['of']!r}"] if asked["of"] else []
        parts.append(f"by {name_of(asked['by']) if asked['by'] else 'anybody'}")
        parts += [f"from {asked['since']}"] if asked["since"] else []
        parts += [f"up to {asked['until']}"] if asked["until"] else []
        return " ".join(parts)


def _by_name(people: Sequence[str]) -> list[tuple[str, str]]:
    """Return choices by name; of two with one name the account is said too."""
    many = Counter(map(name_of, people))
    return [(kept, name if many[name := name_of(kept)] == 1 else kept) for kept in people]


class ReviewForm(forms.Form):
    """What is signed of a review: up to where, and a remark."""

    number = forms.IntegerField(widget=forms.HiddenInput, min_value=0)
    moment = forms.DateTimeField(widget=forms.HiddenInput)
    remark = WrittenField(
        label="Remark",
        required=False,
        max_length=500,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="What you found, and what is to be done about it.",
    )

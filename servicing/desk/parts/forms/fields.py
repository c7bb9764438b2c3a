"""The fields that forms are made of."""

from collections.abc import Iterable
from datetime import date
from decimal import Decimal
from typing import Any

from django import forms

from registry.cells.pure.values import ValueProblem, decimal
from registry.lettering.forms import WrittenField
from servicing.ledger.pure.corrections import is_a_reason

DAY_INPUT = {"size": "11", "placeholder": "YYYY-MM-DD", "autocomplete": "off", "class": "day"}
EARLIEST, LATEST = date(1950, 1, 1), date(2150, 12, 31)
_NO_REASON = "write why, in words that somebody understands years later."


class NumberField(forms.DecimalField):
    """A number with a unit; a comma is as good as a point."""

    def __init__(self, label: str, unit: str, low: str, high: str, places: int = 3) -> None:
        super().__init__(
            label=label,
            required=False,
            min_value=Decimal(low),
            max_value=Decimal(high),
            decimal_places=places,
            widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
            error_messages={
                "invalid": f"{label}: write a number in {unit}, such as 6.8.",
                "min_value": f"{label}: it must be at least {low} {unit}.",
                "max_value": f"{label}: it must be at most {high} {unit}.",
                "max_decimal_places": f"{label}: write at most {places} decimals.",
            },
        )
        self.unit = unit

    def to_python(self, value: Any) -> Any:
        text = value.strip() if isinstance(value, str) else value
        if not text:
            return None
        try:
            # Read as a list's cell is read: 1,200 is refused there, and so here.
            return super().to_python(decimal(str(text), self.unit))
        except ValueProblem as problem:
            remedy = problem.remedy.replace("the cell", "the field")
            raise forms.ValidationError(f"{self.label}: {text} {remedy}.") from problem


def text_field(
    label: str, length: int, *, required: bool = False, **options: Any
) -> forms.CharField:
    """Return a field for what stands on an item, of at most so many letters."""
    return WrittenField(
        label=label,
        max_length=length,
        required=required,
        error_messages={"required": f"{label}: write it as it stands on the item."},
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
        **options,
    )


class WhyField(WrittenField):
    """The reason for a change, kept in the trail."""

    def __init__(self, help_text: str) -> None:
        super().__init__(
            label="Why",
            required=False,
            max_length=500,
            help_text=help_text,
            widget=forms.Textarea(attrs={"rows": 2}),
        )


def word_choices(values: Iterable[str], empty: str) -> list[tuple[str, str]]:
    """Return choices of bare words behind one that means all."""
    return [("", empty), *((value, value.replace("-", " ")) for value in values)]


class WordField(forms.ChoiceField):
    """A choice from a list of words."""

    default_error_messages = {"invalid_choice": "%(value)s is not on the list; choose one that is."}


class DayField(forms.DateField):
    """A day as ISO text or with the month's name, within a span that makes sense.

    A text field and not the browser's own: that one shows 3/4/2026 to some and 4/3/2026
    to others.
    """

    def __init__(self, label: str, **options: Any) -> None:
        super().__init__(
            label=label,
            input_formats=["%Y-%m-%d", "%d %b %Y", "%d %B %Y"],
            widget=forms.DateInput(format="%Y-%m-%d", attrs=DAY_INPUT),
            error_messages={
                "invalid": f"{label}: write a day that exists, such as 2026-03-25.",
                "required": f"{label}: write a day, such as 2026-03-25.",
            },
            **options,
        )

    def clean(self, value: Any) -> date | None:
        day: date | None = super().clean(value)
        if day is not None and not EARLIEST <= day <= LATEST:
            raise forms.ValidationError(f"{self.label}: the year {day.year} can't be meant.")
        return day


class MomentField(forms.DateTimeField):
    """The moment up to which entries count, by the clock of the page; empty is now."""

    def __init__(self) -> None:
        super().__init__(
            label="As known by",
            required=False,
            input_formats=["%Y-%m-%d %H:%M", "%Y-%m-%dT%H:%M", "%Y-%m-%d %H:%M:%S"],
            widget=forms.DateTimeInput(
                format="%Y-%m-%d %H:%M",
                attrs={
                    **DAY_INPUT,
                    "size": "17",
                    "class": "day moment",
                    "placeholder": "YYYY-MM-DD HH:MM",
                },
            ),
            error_messages={"invalid": "As known by: write a moment such as 2026-03-25 14:30."},
        )


class ReasonField(WrittenField):
    """Why something was decided; "x" or "." is no reason."""

    def __init__(self, label: str, **options: Any) -> None:
        super().__init__(
            label=label,
            max_length=1000,
            widget=forms.Textarea(attrs={"rows": 2}),
            error_messages={"required": f"{label}: {_NO_REASON}"},
            **options,
        )

    def clean(self, value: Any) -> str:
        text: str = super().clean(value)
        if not is_a_reason(text):
            raise forms.ValidationError(f"{self.label}: {_NO_REASON}")
        return text

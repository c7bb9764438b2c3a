"""The fields that the forms of rules are made of."""

from typing import Any

from django import forms

from registry.lettering.forms import WrittenField

UNITS = [("D", "days"), ("W", "weeks"), ("M", "months"), ("Y", "years")]


def written(label: str, help_text: str = "", *, rows: int = 0, **options: Any) -> forms.CharField:
    """Return a field for words that paper can show; of several lines where `rows` says so."""
    widget = forms.Textarea(attrs={"rows": rows}) if rows else forms.TextInput()
    widget.attrs["autocomplete"] = "off"
    return WrittenField(label=label, help_text=help_text, widget=widget, **options)


def how_many(label: str, help_text: str, most: int = 999) -> forms.IntegerField:
    """Return a field for a whole number of days, weeks, months or years; it may stay empty."""
    return forms.IntegerField(
        label=label,
        required=False,
        min_value=1,
        max_value=most,
        help_text=help_text,
        error_messages={
            "invalid": f"{label}: write a whole number, such as 6.",
            "min_value": f"{label}: it must be at least 1.",
            "max_value": f"{label}: more than {most} can't be meant.",
        },
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )

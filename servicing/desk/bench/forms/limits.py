"""A type's own limit, as its maker gives it."""

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from django import forms

from registry.lettering.forms import WrittenField
from servicing.bench.pure.limits import Limit
from servicing.bench.pure.typed import TypedProblem, read_typed
from servicing.bench.pure.units import UNITS
from servicing.desk.parts.forms.fields import WordField, word_choices

_PLAIN = {"autocomplete": "off", "inputmode": "decimal", "class": "edge"}


class TypeLimitForm(forms.Form):
    """The limit of one reading for a type: its edges, its unit, its source, and why."""

    reading = WordField(
        label="Reading", error_messages={"required": "Reading: choose what is measured."}
    )
    low = WrittenField(
        label="Lowest", required=False, max_length=30, widget=forms.TextInput(attrs=_PLAIN)
    )
    low_strict = forms.BooleanField(label="the lowest value itself is already bad", required=False)
    high = WrittenField(
        label="Highest", required=False, max_length=30, widget=forms.TextInput(attrs=_PLAIN)
    )
    high_strict = forms.BooleanField(
        label="the highest value itself is already bad", required=False
    )
    unit = WordField(
        label="Unit",
        choices=[(name, name) for name in UNITS],
        error_messages={"required": "Unit: choose one."},
    )
    source = WrittenField(
        label="Source",
        max_length=300,
        help_text="the maker's document, its edition and the page",
        error_messages={"required": "Source: name the maker's document and the page."},
    )
    why = WrittenField(
        label="Why it is set or changed",
        max_length=300,
        error_messages={"required": "Why: write why it is set or changed."},
    )

    def __init__(self, *args: Any, readings: Sequence[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["reading"]
        assert isinstance(field, forms.ChoiceField)  # noqa: S101 (declared above)
        field.choices = word_choices(readings, "choose a reading")

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        for name in ("low", "high"):
            text = data.get(name, "").strip()
            try:
                data[f"{name}_value"] = self._number(text, data.get("unit", ""))
            except TypedProblem as problem:
                self.add_error(name, f"{self.fields[name].label}: {problem}")
        if not data.get("low") and not data.get("high"):
            self.add_error("high", "Write the lowest or the highest good value, or both.")
        return data

    @staticmethod
    def _number(text: str, unit: str) -> Decimal | None:
        if not text or unit not in UNITS:
            return None
        typed = read_typed(text, UNITS[unit])
        return typed.into(UNITS[unit])

    def limit(self) -> Limit:
        """Return the limit as typed. Raises LimitProblem where it can't stand."""
        data = self.cleaned_data
        return Limit(
            low=data["low_value"],
            high=data["high_value"],
            unit=UNITS[data["unit"]],
            source=data["source"],
            seen="maker",
            low_strict=data["low_strict"],
            high_strict=data["high_strict"],
        )


class EndLimitForm(forms.Form):
    """Taking a type's own limit away."""

    reading = forms.CharField(max_length=60, widget=forms.HiddenInput)
    why = WrittenField(
        label="Why it no longer holds",
        max_length=300,
        error_messages={"required": "Why: write why the limit no longer holds."},
    )

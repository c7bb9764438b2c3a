"""Fields of retests: figures with their unit, pressures, and the words to choose from."""

from decimal import Decimal
from typing import Any

from django import forms

from registry.cells.pure.values import Measure, ValueProblem
from registry.lettering.forms import WrittenField
from servicing.hydrostatic.pure.amounts import HydroProblem, Pressure
from servicing.hydrostatic.pure.results import VISUAL
from servicing.hydrostatic.pure.verdict import Word

METHOD_WORDS = {
    "jacket": "water jacket",
    "direct": "direct expansion",
    "proof": "proof pressure",
    VISUAL: "turned away before any pressure",
}
OUTCOME_WORDS = {
    Word.PASS: "pass",
    Word.REJECT: "reject: may be repaired or tested anew",
    Word.CONDEMN: "condemn: never to be used again",
}


class MeasureField(forms.CharField):
    """A figure with its unit, read as lists read theirs: 1,200 is asked about, not guessed."""

    def __init__(self, label: str, measure: Measure, **options: Any) -> None:
        super().__init__(
            label=label,
            max_length=20,
            required=False,
            widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
            **options,
        )
        self.measure = measure
        self.unit = measure.unit

    def clean(self, value: Any) -> Decimal | None:
        text = super().clean(value).strip()
        if not text:
            return None
        try:
            return self.measure.read(text)
        except ValueProblem as problem:
            remedy = problem.remedy.replace("the cell", "the field")
            raise forms.ValidationError(f"{self.label}: {text} {remedy}.") from problem


class PressureField(forms.CharField):
    """A gauge pressure with its unit in the text, such as 450 bar or 7500 psi."""

    def __init__(self, label: str, **options: Any) -> None:
        super().__init__(
            label=label,
            max_length=20,
            error_messages={"required": f"{label}: write it with its unit, such as 450 bar."},
            widget=forms.TextInput(attrs={"autocomplete": "off"}),
            **options,
        )

    def clean(self, value: Any) -> Pressure | None:
        text = super().clean(value).strip()
        if not text:
            return None
        try:
            return Pressure.read(text)
        except HydroProblem as problem:
            raise forms.ValidationError(f"{self.label}: {problem}") from problem


def line(label: str, longest: int, *, required: bool = False, **options: Any) -> forms.CharField:
    return WrittenField(
        label=label,
        max_length=longest,
        required=required,
        error_messages={"required": f"{label}: write it, please."},
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
        **options,
    )


class SecondsField(forms.IntegerField):
    """How long test pressure was held."""

    unit = "s"

    def __init__(self, *, required: bool) -> None:
        super().__init__(
            label="Held",
            required=required,
            min_value=0,
            max_value=86_400,
            help_text="at test pressure; 30 s is the least",
            error_messages={
                "required": "Held: write for how many seconds.",
                "invalid": "Held: write whole seconds.",
            },
            widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
        )

"""What the type of an instrument serves as, and how far it shows."""

from collections.abc import Sequence
from typing import Any

from django import forms

from registry.items.models import ItemType
from registry.items.pure import MeasuringRange, Serving
from registry.lettering.forms import WrittenField
from servicing.bench.pure.ranges import RangeProblem, read_ranges


class ServingForm(forms.Form):
    """The things an instrument can be used as, by the procedures' words, and its ranges."""

    words = forms.MultipleChoiceField(
        label="It serves as",
        widget=forms.CheckboxSelectMultiple,
        error_messages={
            "required": "It serves as: tick what it can be used as, at least one thing."
        },
    )
    ranges = WrittenField(
        label="It shows",
        required=False,
        max_length=500,
        help_text="As on its plate, one range in a line: 0 to 400 bar, or -30 to 30 mbar in "
        "steps of 0.1. Left empty, no reading is held against it.",
        widget=forms.Textarea(attrs={"rows": 3, "autocomplete": "off", "spellcheck": "false"}),
    )
    why = WrittenField(
        label="Why it is said or changed",
        max_length=300,
        help_text="the maker's document, the plate, the certificate",
        error_messages={"required": "Why: write how you know, such as its plate or certificate."},
    )

    def __init__(self, *args: Any, named: ItemType, words: Sequence[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        held = named.serving
        self.initial = {"words": held.serves_as, "ranges": "\n".join(map(str, held.ranges))}
        field = self.fields["words"]
        assert isinstance(field, forms.MultipleChoiceField)  # noqa: S101 (declared above)
        offered = dict.fromkeys((*words, *held.serves_as))
        field.choices = [(word, word.replace("-", " ")) for word in offered]

    def clean_ranges(self) -> tuple[MeasuringRange, ...]:
        try:
            return read_ranges(self.cleaned_data["ranges"])
        except RangeProblem as problem:
            raise forms.ValidationError(f"It shows: {problem}") from problem

    def serving(self) -> Serving:
        """Return what was typed."""
        return Serving(tuple(self.cleaned_data["words"]), self.cleaned_data["ranges"])

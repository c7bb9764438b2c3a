"""Forms about sets: what is fitted, what comes out, and what types state."""

import uuid
from collections.abc import Sequence
from datetime import date
from typing import Any

from django import forms

from registry.lettering.forms import WrittenField
from registry.scanning.forms import ScanInput
from servicing.desk.parts.forms.fields import DayField, WordField, word_choices
from servicing.desk.parts.forms.questions import PlaceForm
from servicing.due.pure.obligations import StandingWord, State
from servicing.due.pure.readiness import IN_DOUBT, INCOMPLETE


class ScanForm(forms.Form):
    """The field that takes the next part; sending it looks the part up."""

    key = forms.CharField(max_length=64, widget=forms.HiddenInput)
    tag = forms.CharField(
        label="Scan the part that goes in",
        max_length=200,
        widget=ScanInput(waits=True),
        error_messages={"required": "Scan the part: scan or type its tag."},
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["key"].initial = uuid.uuid4().hex


class FitForm(forms.Form):
    """What is confirmed before a part goes in, where something must be.

    ticks: the steps, each of which must be confirmed. unstated: whether something about
    the combination is not stated; then it takes a tick and a note.
    """

    key = forms.CharField(max_length=64, widget=forms.HiddenInput)
    tag = forms.CharField(max_length=200, widget=forms.HiddenInput)
    on = DayField("Done on")

    def __init__(
        self, *args: Any, ticks: Sequence[str], unstated: bool, today: date, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.unstated = unstated
        self.fields["on"].initial = today
        for number, step in enumerate(ticks, 1):
            self.fields[f"step_{number}"] = forms.BooleanField(
                label=step, error_messages={"required": f"Confirm the step: {step}"}
            )
        if unstated:
            self.fields["confirmed"] = forms.BooleanField(
                label="I have checked what is not stated, and it fits.",
                error_messages={"required": "Check what is not stated and confirm it."},
            )
        self.fields["note"] = WrittenField(
            label="How you know that it fits" if unstated else "Note",
            required=unstated,
            max_length=500,
            widget=forms.Textarea(attrs={"rows": 2}),
            error_messages={"required": "Write how you know that it fits: a list, a letter."},
        )

    def step_fields(self) -> list[forms.BoundField]:
        """Return the ticks of the steps."""
        return [field for field in self if field.name.startswith("step_")]


class RemoveForm(forms.Form):
    """When and why a part comes out; a cylinder's steps are confirmed."""

    key = forms.CharField(max_length=64, widget=forms.HiddenInput)
    on = DayField(
        "Taken out on", help_text="The day it was fitted, where it was fitted by mistake."
    )

    def __init__(self, *args: Any, ticks: Sequence[str], today: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["key"].initial = uuid.uuid4().hex
        self.fields["on"].initial = today
        for number, step in enumerate(ticks, 1):
            self.fields[f"step_{number}"] = forms.BooleanField(
                label=step, error_messages={"required": f"Confirm the step: {step}"}
            )
        self.fields["note"] = WrittenField(
            label="Why", required=False, max_length=500, widget=forms.Textarea(attrs={"rows": 2})
        )

    def step_fields(self) -> list[forms.BoundField]:
        """Return the ticks of the steps."""
        return [field for field in self if field.name.startswith("step_")]


class SetSearchForm(PlaceForm):
    """The sentence above the list of sets."""

    state = WordField(
        label="State",
        required=False,
        choices=[
            ("", "in any state"),
            ("ready", "that are ready"),
            ("not-ready", "that are not ready"),
            *word_choices((*State, INCOMPLETE, IN_DOUBT, StandingWord.OUT_OF_SERVICE), "")[1:],
        ],
    )

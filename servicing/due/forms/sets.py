"""Forms about sets: what is fitted, what comes out, and what types state."""

import uuid
from collections.abc import Sequence
from datetime import date
from typing import Any

from django import forms

from registry.items.models import TYPE_FACTS, ItemType
from registry.items.pure import Breathing, Kind
from registry.lettering.forms import WrittenField
from registry.scanning.forms import ScanInput
from servicing.due.forms.entries import NumberField, TypeForm
from servicing.due.forms.questions import DayField, PlaceForm, WordField, words
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
            *words((*State, INCOMPLETE, IN_DOUBT, StandingWord.OUT_OF_SERVICE), "")[1:],
        ],
    )


class TypeFactsForm(TypeForm):
    """The name of a type, and what is stated of it; only what its kind can have is asked."""

    inlet = WrittenField(
        label="Connection that takes the air in",
        required=False,
        max_length=40,
        help_text="Such as G5/8-300 or EN-148-3; used where the item itself names none.",
    )
    outlet = WrittenField(
        label="Connection that gives the air on",
        required=False,
        max_length=40,
        help_text="Such as G5/8-300 or EN-148-3; used where the item itself names none.",
    )
    highest_bar = NumberField("Highest cylinder pressure it is made for", "bar", "1", "1000", 2)
    mass_kg = NumberField("Mass, without air", "kg", "0.001", "200")
    breathing = WordField(
        label="Works with", required=False, choices=words(Breathing, "not stated")
    )
    joins = forms.TypedChoiceField(
        label="Joins",
        required=False,
        coerce=int,
        empty_value=None,
        choices=[("", "not stated"), ("1", "one cylinder: an adapter"), ("2", "two: a tee")],
    )
    approved = forms.ModelMultipleChoiceField(
        ItemType.objects.none(),
        label="Types of part that the set's maker approves",
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="With none ticked nothing is stated, and each fitting asks for a confirmation.",
    )

    field_order = ("maker", "model", *TYPE_FACTS, "approved", "why")
    ASKED = {
        Kind.CYLINDER: ("outlet", "highest_bar", "mass_kg"),
        Kind.REDUCER: ("inlet", "highest_bar", "mass_kg"),
        Kind.CONNECTOR: ("inlet", "outlet", "highest_bar", "mass_kg", "joins"),
        Kind.DEMAND_VALVE: ("outlet", "mass_kg", "breathing"),
        Kind.MASK: ("inlet", "mass_kg", "breathing"),
        Kind.FRAME: ("mass_kg",),
        Kind.SET: ("approved",),
    }

    def __init__(self, *args: Any, named: ItemType, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.named = named
        asked = self.ASKED.get(Kind(named.kind), ())
        for name in (*TYPE_FACTS, "approved"):
            if name not in asked:
                del self.fields[name]
        if "approved" in self.fields:
            field = self.fields["approved"]
            assert isinstance(field, forms.ModelMultipleChoiceField)  # noqa: S101 (declared above)
            kinds = [kind for kind in self.ASKED if kind is not Kind.SET]
            field.queryset = ItemType.objects.filter(kind__in=kinds)
            field.label_from_instance = lambda each: f"{each.kind.replace('-', ' ')}: {each}"  # type: ignore[method-assign, assignment]

    def facts(self) -> dict[str, Any]:
        """Return the values for `registry.items.models.TYPE_FACTS`; unasked ones stay."""
        data = self.cleaned_data
        return {name: data.get(name, getattr(self.named, name)) for name in TYPE_FACTS}

    @staticmethod
    def initial_for(named: ItemType) -> dict[str, Any]:
        """Return what the form shows of a type."""
        shown = {name: getattr(named, name) for name in ("maker", "model", *TYPE_FACTS)}
        numbers = {
            name: f"{shown[name].normalize():f}"
            for name in ("highest_bar", "mass_kg")
            if shown[name] is not None
        }
        return {**shown, **numbers, "approved": list(named.approved.all())}

"""What people type for a batch: what it is, an item's readings and exceptions, the signature."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import Any

from django import forms

from registry.lettering.forms import WrittenField
from registry.scanning.forms import PLAIN, ScanInput
from registry.wording.pure.dates import in_the_future
from servicing.bench.models import ProcedureVersion
from servicing.bench.pure.answers import Given, display_unit
from servicing.bench.pure.course import Place, limit_about
from servicing.bench.pure.procedure import Form, Step
from servicing.bench.pure.units import UNITS, Unit
from servicing.bench.pure.verdict import WORDS, Word
from servicing.desk.bench.forms.steps import InstrumentsForm, SignForm
from servicing.desk.parts.forms.fields import DayField, WordField

_WORDS = {
    Word.NOT_GOOD: "not good",
    Word.NOT_APPLICABLE: "not applicable",
    Word.LEVEL_2: "level 2: repair or assess",
    Word.LEVEL_3: "level 3: condemn",
}


class BatchStartForm(InstrumentsForm):
    """The day, the instruments, and which optional measures apply to none of the items."""

    done_on = DayField("Done on")
    left = forms.MultipleChoiceField(
        label="Measures that apply to none of them",
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )

    def __init__(self, *args: Any, at_hand: ProcedureVersion, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        optional = at_hand.procedure.may_be_left_out
        field = self.fields["left"]
        assert isinstance(field, forms.MultipleChoiceField)  # noqa: S101 (declared above)
        field.choices = [(step.id, step.text) for step in optional]
        if not optional:
            del self.fields["left"]

    def not_later_than(self, today: date) -> bool:
        """Say whether the day is not in the future, else say so at its field."""
        on = self.cleaned_data["done_on"]
        if on > today:
            self.add_error("done_on", f"Done on: {in_the_future(on, today)}")
        return not self.errors


class NextItemForm(forms.Form):
    """The field that takes the next item of a batch. `first`: no item is open above it."""

    tag = forms.CharField(
        max_length=200,
        widget=ScanInput(waits=True),
        error_messages={"required": "Scan or type the tag of the next item."},
    )

    def __init__(self, *args: Any, kinds: Sequence[str], first: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        named = " or ".join(kind.replace("-", " ") for kind in kinds)
        self.fields["tag"].label = f"Scan the next {named}"
        self.fields["tag"].widget.attrs["autofocus"] = first


class BatchItemForm(forms.Form):
    """One item of a batch: its readings, parts renewed, and what it is an exception to."""

    note = WrittenField(
        label="What was wrong, and what you did",
        required=False,
        max_length=1000,
        widget=forms.Textarea(attrs={"rows": 2}),
    )

    def __init__(
        self,
        *args: Any,
        places: Sequence[Place],
        held: Mapping[str, Mapping[str, str]],
        left: Iterable[str],
        imperial: bool,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.measured: list[Place] = []
        self.others: list[Place] = []
        self.left = set(left)
        for place in places:
            kept = held.get(place.step.id, {})
            if place.step.measure is None:
                self.others.append(place)
                self._add_exception(place.step, kept)
            elif place.step.id not in self.left or not place.step.may_be_left:
                self.measured.append(place)
                unit = UNITS.get(kept.get("unit", "")) or display_unit(
                    place.step.measure.unit, imperial
                )
                self._add_measure(place, kept, unit)
        notes = (held.get(place.step.id, {}).get("note", "") for place in self.measured)
        self.fields["note"].initial = next((text for text in notes if text), "")
        first = next((p for p in self.measured if not held.get(p.step.id)), None)
        if first is not None and not self.is_bound:
            self.fields[f"typed_{first.step.id}"].widget.attrs["autofocus"] = True

    def _add_measure(self, place: Place, kept: Mapping[str, str], unit: Unit) -> None:
        step, limit = place.step, place.limit
        about = limit_about(limit, unit) if limit else ""
        said = f"Limit: {limit.words}{f' ({about})' if about else ''}." if limit else place.why
        self.fields[f"typed_{step.id}"] = WrittenField(
            label=place.name.capitalize(),
            required=False,
            max_length=60,
            strip=False,
            initial=kept.get("typed", ""),
            help_text=f"{said} {limit.source if limit else ''}",
            widget=forms.TextInput(
                attrs={**PLAIN, "inputmode": "decimal", "class": "reading"},
            ),
        )
        self.fields[f"unit_{step.id}"] = forms.CharField(
            required=False, max_length=12, initial=unit.name, widget=forms.HiddenInput
        )
        if step.may_be_left:
            self.fields[f"left_{step.id}"] = forms.BooleanField(
                label=f"{place.name.capitalize()} does not apply",
                required=False,
                initial=kept.get("word") == Word.NOT_APPLICABLE,
            )

    def _add_exception(self, step: Step, kept: Mapping[str, str]) -> None:
        name = step.id.replace("-", " ").capitalize()
        if step.form is Form.RENEW:
            self.fields[f"batch_{step.id}"] = WrittenField(
                label=f"{(step.part or name).capitalize()} renewed: batch number",
                required=False,
                max_length=60,
                initial=kept.get("batch", ""),
                widget=ScanInput(),
            )
            task = step.renews.replace("-", " ")
            self.fields[f"made_{step.id}"] = DayField(
                "Made on",
                required=False,
                initial=kept.get("made_on", ""),
                help_text=f"the next {task} counts from it" if task else "",
            )
            return
        words = [w for w in WORDS[step.form] if w in _WORDS]
        words = [w for w in words if w is not Word.NOT_APPLICABLE or step.may_be_left]
        if not words:
            return
        self.fields[f"except_{step.id}"] = WordField(
            label=name,
            required=False,
            choices=[("", "as all the others: good"), *((w.value, _WORDS[w]) for w in words)],
            initial=kept.get("word", ""),
            help_text=step.text,
        )
        self.fields[f"why_{step.id}"] = WrittenField(
            label=f"{name}: what is not good",
            required=False,
            max_length=500,
            initial=kept.get("note", ""),
            widget=forms.TextInput(attrs=PLAIN),
        )

    def given(self) -> dict[str, Given | None]:
        """Return the answers as they came, by step; None where an exception was taken back."""
        data, found = self.cleaned_data, dict[str, Given | None]()
        for place in self.measured:
            step = place.step.id
            if data.get(f"left_{step}"):
                found[step] = Given(word=Word.NOT_APPLICABLE)
            elif data[f"typed_{step}"].strip():
                found[step] = Given(
                    typed=data[f"typed_{step}"],
                    unit=data[f"unit_{step}"],
                    sure=self.data.get(f"sure_{step}", ""),
                    note=data["note"] if place is self.measured[0] else "",
                )
            elif place.answer is not None and place.answer.typed is None:
                found[step] = None
        for place in self.others:
            found |= self._exception(place.step)
        return found

    def _exception(self, step: Step) -> dict[str, Given | None]:
        data = self.cleaned_data
        if step.form is Form.RENEW:
            batch = data.get(f"batch_{step.id}", "")
            made_on = data.get(f"made_{step.id}")
            done = Given(word=Word.DONE, batch=batch, made_on=made_on)
            return {step.id: done if batch or made_on else None}
        if f"except_{step.id}" not in self.fields:
            return {}
        word = data.get(f"except_{step.id}", "")
        return {step.id: Given(word=word, note=data.get(f"why_{step.id}", "")) if word else None}

    def field_of(self, step: str, field: str) -> str:
        """Return the name of the field that a problem of a step belongs to."""
        prefix = {"typed": "typed", "batch": "batch", "note": "why", "word": "except"}.get(field)
        name = f"{prefix}_{step}"
        return name if name in self.fields else f"typed_{step}"

    def measure_rows(self) -> list[dict[str, Any]]:
        """Return the fields of the readings, for the page."""
        return [
            {
                "place": place,
                "typed": self[f"typed_{place.step.id}"],
                "unit": self[f"unit_{place.step.id}"],
                "left": self[f"left_{place.step.id}"] if place.step.may_be_left else None,
            }
            for place in self.measured
        ]

    def exception_rows(self) -> list[list[forms.BoundField]]:
        """Return the fields of parts and exceptions, two by two, parts renewed first."""
        pairs = [("batch_", "made_"), ("except_", "why_")]
        return [
            [self[f"{name}{place.step.id}"] for name in pair]
            for pair in pairs
            for place in self.others
            if f"{pair[0]}{place.step.id}" in self.fields
        ]


class BatchSignForm(SignForm):
    """One signature for a whole batch, and one word for each step done by eye or by hand."""

    def __init__(self, *args: Any, steps: Sequence[Step], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.steps = steps
        for step in steps:
            self.fields[f"said_{step.id}"] = forms.BooleanField(label=step.text, required=False)

    def confirmed(self) -> list[str]:
        """Return the steps that were said to be good for all."""
        return [step.id for step in self.steps if self.cleaned_data.get(f"said_{step.id}")]

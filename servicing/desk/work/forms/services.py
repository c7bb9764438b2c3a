"""The form of a service that was done."""

import uuid
from collections.abc import Iterable
from datetime import date
from typing import Any

from django import forms

from registry.lettering.forms import WrittenField
from registry.wording.pure.dates import in_the_future
from servicing.desk.parts.forms import fields
from servicing.desk.parts.forms.shoulder import ShoulderForm
from servicing.due.actions.services import Service
from servicing.ledger.pure.entry import PASS
from servicing.ledger.pure.shoulder import COLUMNS, NOT_PASSED
from servicing.rules.pure.tasks import EVENTS, RETEST

READING_ROWS = 4
OUTCOMES = [
    ("pass", "pass: done, and found good"),
    ("fail", "fail: out of service until it passes"),
]
"""What a service can come to; an item is condemned on a page of its own."""


class ServiceForm(ShoulderForm):
    """A task that was done to an item. `key` makes one record of a form sent twice.

    `seen` is the position of the item's latest record when the form was opened.
    """

    key = forms.CharField(widget=forms.HiddenInput, max_length=64)
    seen = forms.IntegerField(widget=forms.HiddenInput, required=False, min_value=0)
    task = fields.WordField(
        label="Task", error_messages={"required": "Task: choose what was done."}
    )
    done_on = fields.DayField("Done on")
    outcome = fields.WordField(
        label="Outcome",
        required=False,
        choices=OUTCOMES,
        widget=forms.RadioSelect,
        help_text="What happened to an item, such as a use or an impact, needs none.",
        error_messages={
            "invalid_choice": "Outcome: choose one of those shown; condemning is done on the "
            "item's own page.",
        },
    )
    performed_by = WrittenField(
        label="Done by",
        max_length=120,
        error_messages={"required": "Done by: write the name of who did the work."},
    )
    part_made_on = fields.DayField(
        "Renewed part made on",
        required=False,
        help_text="Where a part was renewed: the made date on it, for shelf time counts.",
    )
    note = WrittenField(
        label="Note",
        required=False,
        max_length=2000,
        widget=forms.Textarea(attrs={"rows": 3}),
    )

    def __init__(
        self,
        *args: Any,
        tasks: Iterable[str],
        today: date,
        rows: int = READING_ROWS,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["task"]
        assert isinstance(field, forms.ChoiceField)  # noqa: S101 (declared above)
        field.choices = fields.word_choices(tasks, "choose a task")
        self.today, self.rows = today, range(1, rows + 1)
        self.fields["key"].initial = uuid.uuid4().hex
        self.fields["done_on"].initial = today
        for number in self.rows:
            self.fields[f"reading_{number}"] = WrittenField(
                label=f"Measured {number}",
                required=False,
                max_length=60,
                widget=forms.TextInput(attrs={"list": "reading-names"}),
            )
            self.fields[f"value_{number}"] = WrittenField(
                label=f"Value {number}, with unit",
                required=False,
                max_length=40,
                widget=forms.TextInput(attrs={"autocomplete": "off"}),
            )

    def clean_done_on(self) -> date:
        done_on: date = self.cleaned_data["done_on"]
        if done_on > self.today:
            raise forms.ValidationError(f"Done on: {in_the_future(done_on, self.today)}")
        return done_on

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        self._give_outcome(data)
        for number in self.rows:
            name, value = data.get(f"reading_{number}"), data.get(f"value_{number}")
            if bool(name) != bool(value):
                empty = f"value_{number}" if name else f"reading_{number}"
                self.add_error(
                    empty, f"Reading {number}: write both what was measured and its value."
                )
        self._check_marks(data)
        return data

    def _check_marks(self, data: dict[str, Any]) -> None:
        """Take marks of a retest that was passed, and of nothing else."""
        for name in self.shoulder().said:
            if data.get("task") not in (None, RETEST):
                self.refuse_mark(COLUMNS[name], "is marked at a retest only; leave it empty")
            elif data.get("outcome") not in (None, PASS):
                self.refuse_mark(COLUMNS[name], NOT_PASSED)
        if data.get("done_on") and not any(name in self.errors for name in self.SHOULDER):
            self.refuse_marks(data["done_on"])

    def _give_outcome(self, data: dict[str, Any]) -> None:
        """Ask how it ended; what happened to an item did not end, and is kept as a pass."""
        if data.get("outcome") or "outcome" in self.errors:
            return
        if data.get("task") in EVENTS:
            data["outcome"] = PASS
        else:
            self.add_error("outcome", "Outcome: choose pass or fail.")

    def readings_rows(self) -> list[tuple[forms.BoundField, forms.BoundField]]:
        """Return the reading fields in pairs."""
        return [(self[f"reading_{number}"], self[f"value_{number}"]) for number in self.rows]

    def show_seen(self, position: int) -> None:
        """Take it that the person has seen the records up to a position, when sent again."""
        self.data = {**{name: self.data.get(name, "") for name in self.data}, "seen": str(position)}

    def service(self) -> Service:
        """Return the service as typed; the values of readings keep their text."""
        data = self.cleaned_data
        pairs = ((data[f"reading_{n}"], data[f"value_{n}"]) for n in self.rows)
        measured = tuple((name, value) for name, value in pairs if name)
        marked = tuple((each.name, each.typed) for each in self.shoulder().readings)
        return Service(
            task=data["task"],
            done_on=data["done_on"],
            outcome=data["outcome"],
            performed_by=data["performed_by"],
            note=data["note"],
            readings=(*measured, *marked),
            part_made_on=data["part_made_on"],
        )

"""Forms about what stands already: correcting a record, and taking an item out or back."""

import uuid
from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING, Any

from django import forms

from servicing.desk.parts.forms.fields import ReasonField
from servicing.desk.work.forms.services import OUTCOMES, READING_ROWS, ServiceForm
from servicing.due.actions.services import Service
from servicing.ledger.pure.entry import PartUsed, Reading
from servicing.ledger.pure.shoulder import COLUMNS, NAMES, shoulder_of

if TYPE_CHECKING:
    from servicing.ledger.models import Record

CONDEMNED = ("condemned", "condemned: never to be used again")


class CorrectionForm(ServiceForm):
    """What is right instead of what a record says, or that it never happened.

    judged: a procedure judged the readings, so they are not typed here; who finds one of
    them wrong says that the record never happened and does the service again. typed: what
    was sent after the session's end, by field.
    """

    never = forms.BooleanField(
        label="It never happened: wrong item, or wrong button",
        required=False,
        help_text="Then what is written below does not count either.",
    )
    reason = ReasonField("Why it is corrected", help_text="It stays beside the record for ever.")
    second_name = forms.CharField(label="Name of the second person", required=False, max_length=150)
    second_password = forms.CharField(
        label="Password of the second person",
        required=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "off"}),
    )
    SECOND = ("second_name", "second_password")

    def __init__(
        self,
        *args: Any,
        record: "Record",
        may_condemn: bool,
        typed: Mapping[str, str] | None = None,
        **kwargs: Any,
    ) -> None:
        rows = max(READING_ROWS, len(record.readings) + 1)
        initial = {**_said_by(record), **(typed or {})}
        super().__init__(*args, rows=rows, initial=initial, **kwargs)
        self.record, self.judged = record, bool(record.procedure)
        if may_condemn or record.outcome == "condemned":
            field = self.fields["outcome"]
            assert isinstance(field, forms.ChoiceField)  # noqa: S101 (declared in ServiceForm)
            field.choices = [*OUTCOMES, CONDEMNED]

    def hidden(self) -> list[forms.BoundField]:
        """Return the fields that the check page carries on; never a password."""
        return [field for field in self if field.name not in self.SECOND]

    def names(self) -> list[str]:
        """Return the names of those fields, which may be kept as well."""
        return [field.name for field in self.hidden()]

    def correction(self) -> Service | None:
        """Return what is right, or None where the record never happened."""
        if self.cleaned_data["never"]:
            return None
        typed, entry = self.service(), self.record.entry
        return Service(
            task=typed.task,
            done_on=typed.done_on,
            outcome=typed.outcome,
            performed_by=typed.performed_by,
            note=typed.note,
            readings=self._judged_and_marked() if self.judged else typed.readings,
            part_made_on=typed.part_made_on,
            attempt=entry.attempt,
            procedure=entry.procedure,
            rule=entry.rule,
            authorised=entry.authorised,
            checks=entry.checks,
            instruments=entry.instruments,
            parts=self._parts(typed.part_made_on),
            performed_by_user=self._same_performer(typed),
        )

    def _judged_and_marked(self) -> tuple[Reading, ...]:
        """Return the readings as they were judged, and what is right of the marks."""
        judged = (r for r in self.record.entry.readings if r.name not in NAMES.values())
        return (*judged, *self.shoulder().readings)

    def _parts(self, made_on: date | None) -> tuple[PartUsed, ...]:
        """Return the parts put in; the one whose made date is corrected says the right one."""
        entry = self.record.entry
        moved = made_on != entry.part_made_on
        return tuple(
            replace(part, made_on=made_on) if moved and part.made_on == entry.part_made_on else part
            for part in entry.parts
        )

    def _same_performer(self, typed: Service) -> Any:
        same = typed.performed_by == self.record.performed_by
        return self.record.performed_by_user if same else None


def _said_by(record: "Record") -> dict[str, Any]:
    names = ("task", "done_on", "outcome", "performed_by", "part_made_on", "note")
    said = {name: getattr(record, name) for name in names}
    readings = record.readings_as_read
    shoulder = shoulder_of(readings)
    said |= {COLUMNS[name]: text for name, text in shoulder.said.items()}
    measured = [reading for reading in readings if reading.name not in NAMES.values()]
    for number, reading in enumerate(measured, start=1):
        said |= {f"reading_{number}": reading.name, f"value_{number}": reading.typed}
    return said


class DecisionForm(forms.Form):
    """Why an item is taken out of service, brought back or condemned."""

    key = forms.CharField(widget=forms.HiddenInput, max_length=64)
    reason = ReasonField("Why", help_text="It stays in the item's history for ever.")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["key"].initial = uuid.uuid4().hex

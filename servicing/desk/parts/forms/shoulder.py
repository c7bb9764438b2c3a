"""The fields for what a body marked on a cylinder's shoulder at a retest."""

from datetime import date
from typing import Any

from django import forms

from registry.lettering.forms import WrittenField
from servicing.ledger.pure.shoulder import COLUMNS, LONGEST, Shoulder, shoulder_faults


def _marked(label: str, help_text: str) -> forms.CharField:
    return WrittenField(
        label=label,
        required=False,
        max_length=LONGEST,
        help_text=help_text,
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )


class ShoulderForm(forms.Form):
    """A form of a retest, which asks last what was marked on the cylinder then; all optional."""

    stamped_next = _marked(
        "Stamped: next test", "as marked on it, such as 06/2029; a day as YYYY-MM-DD"
    )
    stamped_end = _marked("Stamped: end of life", "the final date, such as 01/2035")
    stamped_permit = _marked("Stamped: permit", "")
    stamped_body = _marked("Stamped: number of the body", "")
    SHOULDER = tuple(COLUMNS.values())

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.order_fields([name for name in self.fields if name not in self.SHOULDER])

    def shoulder_pairs(self) -> list[tuple[forms.BoundField, forms.BoundField]]:
        """Return these fields two by two: the dates, then by which permit and by whom."""
        dates, names = self.SHOULDER[:2], self.SHOULDER[2:]
        return [(self[one], self[other]) for one, other in (dates, names)]

    def shoulder(self) -> Shoulder:
        """Return what was marked, as typed."""
        data = self.cleaned_data
        return Shoulder(**{name: data.get(field, "") for name, field in COLUMNS.items()})

    def refuse_marks(self, tested_on: date) -> None:
        """Refuse what nobody can have marked at a retest of that day."""
        for name, remedy in shoulder_faults(self.shoulder(), tested_on):
            self.refuse_mark(COLUMNS[name], remedy)

    def refuse_mark(self, field: str, remedy: str) -> None:
        """Refuse one of the marks, with what to do."""
        self.add_error(field, f"{self.fields[field].label} {remedy}.")

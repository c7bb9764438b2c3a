"""The sentence above the register of papers."""

from django import forms
from django.utils.timezone import get_current_timezone

from reports.documents.actions import PAPERS
from servicing.desk.parts.forms import fields
from servicing.papers.queries import STANDS, SUPERSEDED, PapersQuestion


class PapersForm(forms.Form):
    """Which papers are listed."""

    kind = fields.WordField(
        label="Kind of paper",
        required=False,
        choices=fields.word_choices([paper.kind for paper in PAPERS], "every paper"),
    )
    of = forms.CharField(
        label="Of",
        required=False,
        max_length=64,
        widget=forms.TextInput(attrs={"placeholder": "anything", "autocomplete": "off"}),
    )
    state = fields.WordField(
        label="State",
        required=False,
        choices=[
            ("", "in force or superseded"),
            (STANDS, "in force"),
            (SUPERSEDED, "superseded"),
        ],
    )
    since = fields.DayField("Made from", required=False)
    until = fields.DayField("Up to", required=False)

    def question(self) -> PapersQuestion:
        """Return what is asked for."""
        return PapersQuestion(**self.cleaned_data, zone=get_current_timezone())

"""Forms: a consignment, a day, a list of results, one result, and what settles a dispute."""

import uuid
from datetime import date
from typing import Any

from django import forms

from registry.items.models import Item
from registry.items.queries import Meant, items_tagged, named_by
from registry.lettering.forms import WrittenField
from registry.scanning.forms import ScanLines
from registry.sites.models import Site
from servicing.desk.parts.forms.fields import DayField, WordField
from servicing.desk.parts.forms.shoulder import ShoulderForm
from servicing.desk.retests.forms import fields
from servicing.hydrostatic.pure.house import HOUSE_WORDS, HouseResult
from servicing.hydrostatic.pure.results import ML, PERCENT, Sent, faults_of
from servicing.hydrostatic.pure.verdict import Word

FIELD_OF = {"outcome": "word", "test_pressure_bar": "reached"}
"""Where a fault of a list's column stands on screen."""


MOST_UNKNOWN = 200
"""So many lines that are no tag are looked up; more are a list of another thing."""


class TaggedForm(forms.Form):
    """A form with tags, one a line; a near miss can be put right by one press.

    A line that names nothing is taken out of the field, so that the next scan can put it
    right. A press sends `lines`, as they were, and `instead`: the line, counted from 0, and
    the tag that was meant.
    meant: for each line that names nothing, the line and the items it may mean.
    """

    def __init__(self, data: Any = None, *args: Any, **kwargs: Any) -> None:
        super().__init__(_put_right(data) if data else data, *args, **kwargs)
        self.meant: list[tuple[int, str, tuple[Meant, ...]]] = []
        self.lines = ""

    def clean_tags(self) -> list[Item]:
        """Return the items of the tags; raises ValidationError naming those that name none."""
        lines = [line.strip() for line in self.cleaned_data["tags"].splitlines()]
        found = items_tagged(lines)
        others = [line for line in dict.fromkeys(lines) if line and line not in found]
        named = {line: named_by(line) for line in others[:MOST_UNKNOWN]}
        unknown = [line for line in others if line not in named or named[line].item is None]
        if unknown:
            self.meant = [
                (lines.index(line), line, named[line].meant)
                for line in unknown[:12]
                if line in named and named[line].meant
            ]
            self.lines = "\n".join(lines)
            field = self.fields["tags"].widget
            assert isinstance(field, ScanLines)  # noqa: S101 (in both forms below)
            field.good = [line for line in lines if line and line not in unknown]
            said = ", ".join(unknown[:12])
            raise forms.ValidationError(
                f"Not in the register: {said}. Taken out of the list; scan again or register them."
            )
        items = (found.get(line) or named[line].item for line in lines if line)
        return list(dict.fromkeys(item for item in items if item is not None))


def _put_right(data: Any) -> Any:
    """Return what was sent with the tag that was pressed in the place of its line."""
    number, _, tag = data.get("instead", "").partition(" ")
    lines = data.get("lines", "").splitlines()
    if not (number.isascii() and number.isdecimal() and int(number[:6]) < len(lines)):
        return data
    lines[int(number[:6])] = tag
    return {**data.dict(), "tags": "\n".join([*lines, *data.get("tags", "").splitlines()])}


class ConsignmentForm(TaggedForm):
    """Where from, where to, and the first cylinders. `key` makes one of a form sent twice."""

    key = forms.CharField(widget=forms.HiddenInput, max_length=64)
    from_site = forms.ModelChoiceField(
        Site.objects.all(),
        label="From",
        empty_label="choose a site",
        error_messages={"required": "From: choose the site they leave."},
    )
    house = fields.line("Test house", 120, required=True, help_text="its name as you call it")
    tags = forms.CharField(
        label="Cylinders",
        required=False,
        max_length=20_000,
        help_text="one tag a line; scan them one after the other",
        widget=ScanLines(rows=8),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["key"].initial = uuid.uuid4().hex


class TagsForm(TaggedForm):
    """More cylinders for a consignment that is being packed."""

    tags = forms.CharField(
        label="Add cylinders",
        max_length=20_000,
        help_text="one tag a line; scan them one after the other",
        error_messages={"required": "Add cylinders: scan or type a tag."},
        widget=ScanLines(rows=3),
    )


class DayForm(forms.Form):
    """The day on which a consignment leaves or comes back."""

    on = DayField("On")

    def __init__(self, *args: Any, label: str, today: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["on"].label = label
        self.fields["on"].initial = today


class ResultsFileForm(forms.Form):
    """The list of results as the house sends it."""

    file = forms.FileField(
        label="List of results",
        help_text="CSV or XLSX: the list that went out with the cylinders, filled in",
        error_messages={
            "required": "List of results: choose the file.",
            "empty": "List of results: the file is empty; choose another.",
        },
    )


class ResultForm(ShoulderForm):
    """One cylinder's result, as it stands on the house's certificate."""

    word = WordField(
        label="The house says",
        choices=[(word, fields.OUTCOME_WORDS[word]) for word in HOUSE_WORDS],
        widget=forms.RadioSelect,
        error_messages={"required": "The house says: choose pass, reject or condemn."},
    )
    reason = fields.line("Reason", 200, help_text="where it did not pass")
    tested_on = DayField("Tested on")
    method = WordField(
        label="Method",
        choices=[("", "choose a method"), *fields.METHOD_WORDS.items()],
        error_messages={"required": "Method: choose how it was tested."},
    )
    reached = fields.PressureField(
        "Test pressure reached", required=False, help_text="such as 450 bar"
    )
    held_s = fields.SecondsField(required=False)
    total_ml = fields.MeasureField("Total expansion", ML)
    permanent_ml = fields.MeasureField("Permanent expansion", ML)
    limit_percent = fields.MeasureField(
        "Limit by permit or design standard", PERCENT, help_text="permanent of total, if given"
    )
    by = fields.line("Tested by", 120, required=True)
    mark = fields.line("Mark", 60, help_text="as stamped or labelled")

    def __init__(self, *args: Any, tag: str, sent: Sent, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.tag, self.sent = tag, sent

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if not self.errors:
            for column, remedy in faults_of(self.result(), self.sent):
                field = FIELD_OF.get(column, column)
                self.add_error(field, f"{self.fields[field].label} {remedy}.")
        return data

    def result(self) -> HouseResult:
        """Return the result as typed."""
        data = self.cleaned_data
        return HouseResult(
            tag=self.tag,
            tested_on=data["tested_on"],
            method=data["method"],
            word=Word(data["word"]),
            by=data["by"],
            reached=data["reached"],
            held_s=data["held_s"],
            total_ml=data["total_ml"],
            permanent_ml=data["permanent_ml"],
            limit_percent=data["limit_percent"],
            reason=data["reason"],
            mark=data["mark"],
            shoulder=self.shoulder(),
        )


class SettleForm(forms.Form):
    """A manager's word on a disagreement, and why."""

    word = WordField(
        label="It counts as",
        choices=[(word, fields.OUTCOME_WORDS[word]) for word in HOUSE_WORDS],
        widget=forms.RadioSelect,
        error_messages={"required": "It counts as: choose pass, reject or condemn."},
    )
    why = WrittenField(
        label="Why",
        max_length=1000,
        help_text="whoever reads the record in ten years must be able to follow",
        error_messages={"required": "Why: write the reason."},
        widget=forms.Textarea(attrs={"rows": 3}),
    )

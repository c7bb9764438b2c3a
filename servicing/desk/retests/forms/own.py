"""The form of a test in our own shop."""

import uuid
from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from typing import Any

from django import forms

from registry.cells.pure.values import Measure
from registry.wording.pure.dates import in_the_future
from servicing.desk.parts.forms.fields import DayField, WordField
from servicing.desk.parts.forms.shoulder import ShoulderForm
from servicing.desk.retests.forms import fields
from servicing.hydrostatic.pure.amounts import exact
from servicing.hydrostatic.pure.equipment import DailyCheck
from servicing.hydrostatic.pure.house import HOUSE_WORDS
from servicing.hydrostatic.pure.limits import METHODS
from servicing.hydrostatic.pure.own import DirectRaw, RawTest
from servicing.hydrostatic.pure.results import ML, PERCENT
from servicing.hydrostatic.pure.rig import Rig
from servicing.hydrostatic.pure.verdict import Word

KG = Measure(Decimal("0.01"), Decimal(500), "kg", 4)
DEGREES = Measure(Decimal(4), Decimal(40), "°C", 2)


class OwnTestForm(ShoulderForm):
    """A test in our own shop: raw readings, and the day's check of the rig."""

    key = forms.CharField(widget=forms.HiddenInput, max_length=64)
    tested_on = DayField("Tested on")
    by = fields.line("Tested by", 120, required=True)
    method = WordField(
        label="Method",
        choices=[(method, fields.METHOD_WORDS[method]) for method in METHODS],
        widget=forms.RadioSelect,
        error_messages={"required": "Method: choose how it was tested."},
    )
    by_eye = WordField(
        label="Visual inspection, inside and outside",
        choices=[(word, fields.OUTCOME_WORDS[word]) for word in HOUSE_WORDS],
        widget=forms.RadioSelect,
        error_messages={"required": "Visual inspection: choose what was found."},
    )
    by_eye_words = fields.line("What was seen", 200)
    reached = fields.PressureField(
        "Test pressure reached", help_text="with its unit, such as 450 bar"
    )
    held_s = fields.SecondsField(required=True)
    dropped = forms.BooleanField(label="The pressure fell during the hold", required=False)
    leaks = forms.BooleanField(label="It leaks through the wall", required=False)
    before = fields.PressureField(
        "Highest pressure beforehand", required=False, help_text="90 % of test pressure is the most"
    )
    total_ml = fields.MeasureField("Total expansion", ML)
    permanent_ml = fields.MeasureField("Permanent expansion", ML)
    forced_in_ml = fields.MeasureField("Water forced in", ML, help_text="the rig's own taken off")
    expelled_ml = fields.MeasureField("Water expelled", ML)
    water_kg = fields.MeasureField("Water in the cylinder before", KG)
    temperature_c = fields.MeasureField("Temperature of the water", DEGREES)
    limit_percent = fields.MeasureField(
        "Limit by permit or design standard", PERCENT, help_text="permanent of total, if given"
    )
    cylinder = fields.line("Calibrated cylinder, serial or tag", 40)
    certified = fields.PressureField("Certified at", required=False)
    certified_ml = fields.MeasureField("Certified expansion", ML)
    showed = fields.PressureField("The rig showed", required=False)
    read_ml = fields.MeasureField("The rig read", ML)
    left_ml = fields.MeasureField("Left after release", ML)
    gauge_range = fields.PressureField(
        "Gauge: full range", required=False, help_text="as on its plate, such as 600 bar"
    )
    gauge_step = fields.PressureField(
        "Gauge: smallest division, or last step", required=False, help_text="such as 5 bar"
    )
    gauge_digital = forms.BooleanField(label="The gauge is digital", required=False)
    gauge_off = fields.PressureField(
        "Gauge: most it was off at its calibration",
        required=False,
        help_text="as on its certificate, such as 2 bar",
    )
    reader_range_ml = fields.MeasureField("Expansion reader: full scale", ML)
    reader_step_ml = fields.MeasureField("Expansion reader: smallest step", ML)
    reader_off_ml = fields.MeasureField("Expansion reader: most it was off at its calibration", ML)
    malfunction = fields.line(
        "Failure of the rig", 200, help_text="what failed; empty if nothing did"
    )
    number = forms.IntegerField(
        label="Run of this test",
        initial=1,
        min_value=1,
        max_value=9,
        help_text="2 for the first repeat",
        error_messages={"required": "Run of this test: write 1 for the first."},
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )
    earlier_on = DayField("Earlier test on", required=False)
    mark = fields.line("Mark", 60, help_text="only where an approved body has marked it")

    GENERAL = ("tested_on", "by", "by_eye", "by_eye_words", "method", "reached", "held_s")
    HOLD = ("dropped", "leaks", "before")
    JACKET = ("total_ml", "permanent_ml")
    DIRECT = ("forced_in_ml", "expelled_ml", "water_kg", "temperature_c")
    CHECK = ("cylinder", "certified", "certified_ml", "showed", "read_ml", "left_ml")
    GAUGE = ("gauge_range", "gauge_step", "gauge_digital", "gauge_off")
    READER = ("reader_range_ml", "reader_step_ml", "reader_off_ml")
    RIG = (*GAUGE, *READER)
    REST = ("limit_percent", "malfunction", "number", "earlier_on", "mark")

    def __init__(self, *args: Any, today: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.today = today
        self.fields["key"].initial = uuid.uuid4().hex
        self.fields["tested_on"].initial = today

    def groups(self) -> list[tuple[str, list[forms.BoundField]]]:
        """Return the fields in groups, each with its heading."""
        headed = (
            ("The test", self.GENERAL),
            ("During the hold", self.HOLD),
            ("Water jacket", self.JACKET),
            ("Direct expansion", self.DIRECT),
            ("The calibrated cylinder's check of the day", self.CHECK),
            ("Gauge and reader, by their plates and certificates", self.RIG),
            ("Where it applies", self.REST),
            ("What was marked on it", self.SHOULDER),
        )
        return [(heading, [self[name] for name in names]) for heading, names in headed]

    def clean_tested_on(self) -> date:
        on: date = self.cleaned_data["tested_on"]
        if on > self.today:
            raise forms.ValidationError(f"Tested on: {in_the_future(on, self.today)}")
        return on

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        method = data.get("method")
        needed: tuple[str, ...] = {"jacket": self.JACKET, "direct": self.DIRECT}.get(
            method or "", ()
        )
        if needed:
            needed = (*needed, *self.CHECK)
        self._need(data, needed)
        if data.get("by_eye") != Word.PASS and not data.get("by_eye_words"):
            self.add_error("by_eye_words", "What was seen: write it where it is no pass.")
        if "tested_on" in data:
            self.refuse_marks(data["tested_on"])
        return data

    def _need(self, data: dict[str, Any], names: Sequence[str]) -> None:
        for name in names:
            if name not in self.errors and data.get(name) in (None, ""):
                self.add_error(name, f"{self.fields[name].label}: this method needs it.")

    def raw(self) -> RawTest:
        """Return the test as typed."""
        data = self.cleaned_data
        method = data["method"]
        jacket = (data["total_ml"], data["permanent_ml"])
        return RawTest(
            tested_on=data["tested_on"],
            by=data["by"],
            method=method,
            reached=data["reached"],
            held_s=data["held_s"],
            jacket=jacket if method == "jacket" else None,
            direct=self._direct() if method == "direct" else None,
            check=None if method == "proof" else self._check(),
            rig=Rig(**{name: data[name] for name in self.RIG}),
            limit_percent=data["limit_percent"],
            before=data["before"],
            by_eye=Word(data["by_eye"]),
            by_eye_words=data["by_eye_words"],
            leaks=data["leaks"],
            dropped=data["dropped"],
            malfunction=data["malfunction"],
            number=data["number"],
            earlier_on=data["earlier_on"],
            mark=data["mark"],
        )

    def _direct(self) -> DirectRaw:
        return DirectRaw(*(self.cleaned_data[name] for name in self.DIRECT))

    def _check(self) -> DailyCheck:
        data = self.cleaned_data
        return DailyCheck(
            data["cylinder"],
            data["certified"],
            data["showed"],
            *exact(data["certified_ml"], data["read_ml"], data["left_ml"]),
        )

"""What is typed at the filling point: a gauge reading, an asked pressure, a cylinder's air."""

import uuid
from typing import Any

from django import forms

from registry.items.models import Item
from servicing.desk.parts.forms.fields import NumberField
from servicing.filling.actions import GaugeReading
from servicing.filling.pure.air import (
    REFERENCE_C,
    WARNING_BAR,
    WORK_RATE_L_PER_MIN,
    AirSheet,
    Charge,
    air_sheet,
)


def number(label: str, unit: str, low: str, high: str, **options: Any) -> NumberField:
    """Return a field for a number with its unit and its limits under it."""
    field = NumberField(label, unit, low, high, options.pop("places", 1))
    field.required = options.pop("required", True)
    field.initial = options.pop("initial", None)
    field.help_text = options.pop("help_text", f"{low} to {high} {unit}")
    field.error_messages["required"] = f"{label}: write the number in {unit}."
    return field


class ReadingForm(forms.Form):
    """Pressure and temperature when the valve is shut. `key` makes one record of two sendings.

    `compressor` is the one that the page showed, whatever was chosen since.
    """

    key = forms.CharField(widget=forms.HiddenInput, max_length=32)
    compressor = forms.IntegerField(widget=forms.HiddenInput, required=False)
    pressure_bar = number("Pressure on the gauge", "bar", "1", "500")
    at_c = number("Temperature of the cylinder", "°C", "-30", "80")

    def __init__(self, *args: Any, compressor: Item | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["key"].initial = uuid.uuid4().hex
        self.fields["compressor"].initial = compressor.pk if compressor else None

    def reading(self) -> GaugeReading:
        """Return the reading as typed."""
        return GaugeReading(self.cleaned_data["pressure_bar"], self.cleaned_data["at_c"])


class AskedForm(forms.Form):
    """The pressure somebody wants; empty is what the cylinder is rated for."""

    bar = number("Asked pressure", "bar", "1", "500", required=False)


class AirForm(forms.Form):
    """A cylinder and how hard somebody works."""

    capacity = number("Water capacity", "L", "0.1", "300", places=3)
    pressure = number("Pressure on the gauge", "bar", "1", "500")
    temperature = number("Temperature of the cylinder", "°C", "-30", "80", initial=REFERENCE_C)
    rate = number("Work rate", "L/min", "1", "500", initial=WORK_RATE_L_PER_MIN)
    warning = number("Warning at", "bar", "0", "200", initial=WARNING_BAR)

    def sheet(self) -> AirSheet:
        """Return what the cylinder holds and how long that lasts."""
        data = {name: float(value) for name, value in self.cleaned_data.items()}
        charge = Charge(data["capacity"], data["pressure"], data["temperature"])
        return air_sheet(charge, data["rate"], data["warning"])


class WaterForm(forms.Form):
    """What a test of the air found of water."""

    water = number("Water in the air", "mg/m³", "0.1", "4500")

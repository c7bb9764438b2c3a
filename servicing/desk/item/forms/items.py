"""The form of an item."""

import re
from datetime import date
from decimal import Decimal
from typing import Any

from django import forms

from registry.items.models import Item
from registry.items.pure import NOT_LIMITED, Construction, Fibre, Kind
from registry.items.queries import Meant, tags_like, usual_life
from registry.lists.pure.questions import asks_for_life
from registry.sites.models import Site
from registry.wording.pure.dates import day_words
from servicing.desk.parts.forms.fields import (
    DayField,
    NumberField,
    WhyField,
    WordField,
    text_field,
    word_choices,
)

_MONTH = re.compile(r"(\d{4})-(\d{2})")


class ItemForm(forms.Form):
    """What is known of an item."""

    tag = text_field("Tag", 64, required=True)
    kind = WordField(
        label="Kind",
        choices=word_choices(Kind, "choose a kind"),
        error_messages={"required": "Kind: choose what it is."},
    )
    maker = text_field("Maker", 80, required=True)
    model = text_field("Model", 80)
    serial = text_field("Serial", 64, required=True)
    site = forms.ModelChoiceField(
        Site.objects.all(),
        label="Site",
        empty_label="choose a site",
        error_messages={"required": "Site: choose where it is kept."},
    )
    made_on = text_field(
        "Made on", 10, help_text="YYYY-MM-DD, or YYYY-MM where only the month is known"
    )
    in_service_on = DayField("In service on", required=False)
    working_pressure_bar = NumberField("Working pressure", "bar", "1", "1000", 2)
    connection = text_field("Connection", 40)
    size = text_field("Size", 20)
    specification = text_field(
        "Specification", 40, help_text="as stamped, with hyphens for spaces, such as EN-12245"
    )
    construction = WordField(
        label="Construction", required=False, choices=word_choices(Construction, "not known")
    )
    fibre = WordField(label="Fibre", required=False, choices=word_choices(Fibre, "none"))
    marks = text_field("Marks", 60, help_text="separated by ; such as plus;star")
    water_capacity_l = NumberField("Water capacity", "L", "0.1", "150")
    test_pressure_bar = NumberField("Test pressure", "bar", "1", "1500", 2)
    tare_kg = NumberField("Tare mass", "kg", "0.1", "200")
    ree_ml = NumberField("Rejection elastic expansion", "mL", "0.1", "5000")
    design_life_years = forms.IntegerField(
        label="Design life",
        required=False,
        min_value=1,
        max_value=60,
        help_text="years, as marked; leave it empty where the life is not limited",
        error_messages={
            "invalid": "Design life: write whole years, such as 15.",
            "min_value": "Design life: it must be at least 1 year.",
            "max_value": "Design life: more than 60 years can't be meant.",
        },
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )

    another = forms.CharField(required=False, max_length=64, widget=forms.HiddenInput)
    no_life = forms.CharField(required=False, max_length=4, widget=forms.HiddenInput)

    why = WhyField(
        "The reason for the change. It is needed where the tag, the serial, the maker, the made"
        " date or the specification changes, and wherever a date moves."
    )

    CYLINDER_ONLY = (
        "specification",
        "construction",
        "fibre",
        "water_capacity_l",
        "test_pressure_bar",
        "tare_kg",
        "ree_ml",
    )

    CONFIRMED = ("another", "no_life")
    """What is ticked where the form asks: the tag that is another item's, and that no life is
    known."""

    def __init__(self, *args: Any, today: date, item: Item, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.today, self.item = today, item
        self.meant: tuple[Meant, ...] = ()
        self.asks_for_life = False
        if item.pk is None:
            del self.fields["why"]

    def general_fields(self) -> list[forms.BoundField]:
        """Return the fields of every kind."""
        own = (*self.CYLINDER_ONLY, "why", *self.CONFIRMED)
        return [field for field in self if field.name not in own]

    def cylinder_fields(self) -> list[forms.BoundField]:
        """Return the fields of cylinders."""
        return [self[name] for name in self.CYLINDER_ONLY]

    def clean_specification(self) -> str:
        text: str = self.cleaned_data["specification"]
        if " " in text:
            raise forms.ValidationError(
                f"Specification: write hyphens for spaces: {'-'.join(text.split())}."
            )
        return text

    def clean_marks(self) -> list[str]:
        return sorted(
            {word for part in self.cleaned_data["marks"].split(";") if (word := part.strip())}
        )

    def clean_made_on(self) -> tuple[date | None, bool]:
        """Return the day, and whether only its month is known."""
        text = self.cleaned_data["made_on"]
        if not text:
            return None, False
        month = _MONTH.fullmatch(text)
        try:
            day = date(int(month[1]), int(month[2]), 1) if month else date.fromisoformat(text)
        except ValueError as error:
            raise forms.ValidationError(
                "Made on: write a day that exists, such as 2019-06-25, or a month, such as 2019-06."
            ) from error
        if not date(1900, 1, 1) <= day <= self.today:
            raise forms.ValidationError(
                f"Made on: it must be between 1900 and today, {day_words(self.today)}."
            )
        return day, month is not None

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        self._check_marks(data)
        self._ask_about_tag(data)
        self._ask_about_life(data)
        made = (data.get("made_on") or (None, False))[0]
        in_service = data.get("in_service_on")
        if made and in_service and in_service < made:
            self.add_error(
                "in_service_on", f"In service on: it was made later, on {day_words(made)}."
            )
        if data.get("kind") and data["kind"] != Kind.CYLINDER:
            for name in self.CYLINDER_ONLY:
                if data.get(name):
                    label = self.fields[name].label
                    self.add_error(name, f"{label}: only cylinders have one; leave it empty.")
        test, working = data.get("test_pressure_bar"), data.get("working_pressure_bar")
        if test and working and test < working:
            self.add_error(
                "test_pressure_bar",
                f"Test pressure: {test} bar is below the working pressure, {working} bar.",
            )
        return data

    def _check_marks(self, data: dict[str, Any]) -> None:
        """Refuse a tag, or a maker with a serial, that another item carries already."""
        others = Item.objects.exclude(pk=self.item.pk)
        if others.filter(tag=data.get("tag")).exists():
            self.add_error("tag", f"Tag: {data['tag']} is on another item; give this one its own.")
        twin = others.filter(maker=data.get("maker"), serial=data.get("serial")).first()
        if twin is not None:
            self.add_error(
                "serial",
                f"Serial: {twin.serial} by {twin.maker} is registered already, as {twin.tag}.",
            )

    def _ask_about_tag(self, data: dict[str, Any]) -> None:
        """Ask whether a new tag that may be read for another one is another item's."""
        tag = data.get("tag", "")
        if tag == self.item.tag or data.get("another") == tag or "tag" in self.errors:
            return
        self.meant = tuple(each for each in tags_like(tag) if each.item.pk != self.item.pk)
        if self.meant:
            named = " or ".join(each.item.tag for each in self.meant)
            because = self.meant[0].because
            self.add_error(
                "tag",
                f"Tag: {tag} may be read for {named} ({because}). Open that one if it is meant; "
                "if this is another item, say so below.",
            )

    def _ask_about_life(self, data: dict[str, Any]) -> None:
        """Ask for a design life that others of the type have."""
        made_on = (data.get("made_on") or (None, False))[0]
        bears = {"made_on", "design_life_years", "marks", "kind", "maker", "model"}
        if (self.item.pk and not bears & set(self.changed_data)) or data.get("no_life"):
            return
        if not asks_for_life({**data, "made_on": made_on}):
            return
        named = {name: data.get(name, "") for name in ("kind", "maker", "model")}
        years = usual_life(**named, but=self.item)
        if years and "design_life_years" not in self.errors:
            self.asks_for_life = True
            of = " ".join(filter(None, (named["maker"], named["model"])))
            self.add_error(
                "design_life_years",
                f"Design life: others of {of} have {years} years. Write the years as marked, or "
                f"the mark {NOT_LIMITED} where it says that its life is not limited; if nobody "
                "knows, say so below.",
            )

    def attributes(self) -> dict[str, Any]:
        """Return the values for `registry.items.actions.ATTRIBUTES`."""
        data = dict(self.cleaned_data)
        made_on, made_to_month = data.pop("made_on")
        for name in ("tag", "kind", "maker", "model", "site", "why", *self.CONFIRMED):
            data.pop(name, None)
        return {**data, "made_on": made_on, "made_to_month": made_to_month}

    @staticmethod
    def initial_for(item: Item) -> dict[str, Any]:
        """Return what the form shows of an item."""
        shown = {name: getattr(item, name) for name in ItemForm.base_fields if name in _OWN}
        made = item.made_on and (
            f"{item.made_on:%Y-%m}" if item.made_to_month else item.made_on.isoformat()
        )
        numbers = {
            name: format(value.normalize(), "f")
            for name, value in shown.items()
            if isinstance(value, Decimal)
        }
        more = {"kind": item.type.kind, "model": item.type.model, "marks": ";".join(item.marks)}
        return {**shown, **numbers, **more, "made_on": made or ""}


_OWN = {field.name for field in Item._meta.get_fields()}

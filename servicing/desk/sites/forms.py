"""A site, its place and the rule tables it adopts."""

import zoneinfo
from typing import Any

from django import forms
from django.db.models import Model

from registry.sites.models import UNITS, Site
from servicing.desk.parts.forms import fields
from servicing.rules.models import RuleTable


class TablesField(forms.ModelMultipleChoiceField):  # type: ignore[type-arg]
    """A choice among rule tables by their titles, the name that lists use behind."""

    def label_from_instance(self, obj: Model) -> str:
        return f"{obj.title} ({obj.name})" if isinstance(obj, RuleTable) else str(obj)


class SiteForm(forms.Form):
    """A site, its place in the tree, its time zone and the rule tables it adopts."""

    code = fields.text_field("Code", 40, required=True)
    name = fields.text_field("Name", 120, required=True)
    parent = forms.ModelChoiceField(
        Site.objects.all(), label="Part of", required=False, empty_label="nothing: it stands alone"
    )
    timezone = fields.WordField(label="Time zone")
    units = forms.ChoiceField(
        label="The bench reads in",
        required=False,
        choices=UNITS,
        help_text="Either can be typed, and each person can choose for the session.",
    )
    least_ready = forms.IntegerField(
        label="Least number of ready sets",
        required=False,
        min_value=0,
        max_value=9999,
        help_text="Here and at the sites below it. Empty: none is asked. Whoever takes a set or a"
        " part away is told before the station falls below it.",
        error_messages={
            "invalid": "Least number of ready sets: write a whole number, such as 6, or nothing.",
            "min_value": "Least number of ready sets: it can't be below 0.",
            "max_value": "Least number of ready sets: more than 9999 can't be meant.",
        },
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )
    tables = TablesField(
        RuleTable.objects.filter(site=None),
        label="Rule tables it follows, on all days",
        required=False,
        to_field_name="name",
        widget=forms.CheckboxSelectMultiple,
        help_text="It follows those of the sites above it as well.",
    )
    why = fields.WhyField("The reason for the change. It is needed where the zone or a date moves.")

    def __init__(self, *args: Any, site: Site | None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["timezone"]
        assert isinstance(field, forms.ChoiceField)  # noqa: S101 (declared above)
        field.choices = [(zone, zone) for zone in sorted(zoneinfo.available_timezones())]
        self.site = site
        if site is None:
            del self.fields["why"]

    def clean_units(self) -> str:
        return self.cleaned_data["units"] or UNITS[0][0]

    def clean_code(self) -> str:
        code: str = self.cleaned_data["code"]
        taken = Site.objects.filter(code=code).first()
        if taken is not None and taken != self.site:
            raise forms.ValidationError(f"Code: {code} is taken by another site.")
        return code

    def clean_parent(self) -> Site | None:
        parent: Site | None = self.cleaned_data["parent"]
        above = parent
        while above is not None:
            if self.site is not None and above.pk == self.site.pk:
                raise forms.ValidationError("Part of: a site can't be part of itself.")
            above = above.parent
        return parent

"""Ending a rule of the fleet's own, and deciding what was asked for."""

from datetime import date
from typing import Any

from django import forms

from registry.sites.clock import today_at
from registry.sites.models import Site
from registry.wording.pure.dates import day_words
from servicing.desk.parts.forms.fields import DayField
from servicing.desk.rules.forms.fields import written
from servicing.due.actions.local_rules import Draft


class EndRuleForm(forms.Form):
    """From which day a rule of the fleet's own no longer counts, and why."""

    on = DayField(
        "No longer counts from",
        required=False,
        help_text="A later day, if not from the day it is approved; never an earlier one.",
    )
    reason = written(
        "Why it ends",
        max_length=1000,
        rows=2,
        error_messages={"required": "Why it ends: say it for the manager who approves."},
    )

    def __init__(self, *args: Any, site: Site, rule_id: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.site, self.rule_id, self.today = site, rule_id, today_at(site)

    def clean_on(self) -> date | None:
        on: date | None = self.cleaned_data["on"]
        if on and on < self.today:
            raise forms.ValidationError(
                f"No longer counts from: {day_words(on)} is past; today is {day_words(self.today)}."
            )
        return on

    def draft(self) -> Draft:
        """Return what is asked for."""
        on = self.cleaned_data["on"] or self.today
        return Draft(self.site, on, replaces=self.rule_id)


class RejectForm(forms.Form):
    """Why a proposal is put aside."""

    reason = written(
        "Why it is rejected",
        max_length=1000,
        rows=2,
        error_messages={"required": "Why it is rejected: say it for the person who asked."},
    )

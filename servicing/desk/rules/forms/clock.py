"""How a rule counts time where its source says more than "every so often from the last pass"."""

from collections.abc import Iterator, Mapping
from typing import Any

from django import forms

from servicing.desk.parts.forms.fields import WordField
from servicing.desk.rules.forms.fields import UNITS, how_many, written
from servicing.rules.pure.clocks import (
    COUNTS,
    DUE_DATE,
    LONGEST_RUN,
    MONTH_BEFORE,
    TEST,
    Start,
    by_month,
)
from servicing.rules.pure.durations import Duration

WITHIN, COUNTED = "within", "counted"
LATE = [
    ("", "from the day of the pass, as usual"),
    (DUE_DATE, "from the due date, however late it was"),
    (WITHIN, "from the due date, if it was not too late"),
]
START = [
    ("", "that day itself, as usual"),
    (MONTH_BEFORE, "the last day of the month before"),
    (COUNTED, "the last day of the month before, which is the first of the period"),
]
OTHER_FROM = [
    (Start.RECORD.value, "the last pass, as the first"),
    (Start.MADE.value, "the day it was made, until something is passed"),
    (Start.IN_SERVICE.value, "the day it was put in service, until something is passed"),
]
GOVERNS = [("sooner", "the sooner date"), ("later", "the later date")]


_SAYING = ("by_month", "late", "early_months", "start", "other_number", "hours")
"""The fields each of which says one form."""


class ClockFields(forms.Form):
    """The forms of a row's clock as questions; left alone, the rule counts as most do."""

    by_month = forms.BooleanField(
        label="Due dates are months: good through the last day of the month", required=False
    )
    late = WordField(label="A pass after the due date counts", required=False, choices=LATE)
    late_months = how_many(
        "How many months late at the most",
        "to the end of that month; a later pass counts from itself",
    )
    out_counts = forms.BooleanField(
        label="But from the pass, where it was withdrawn or quarantined on the due date and "
        "not returned before the pass",
        required=False,
    )
    early_months = how_many(
        "A pass so many months early keeps the due date",
        "empty: an early pass counts from its own day",
    )
    start = WordField(label="The period runs from", required=False, choices=START)
    other_number = how_many("A second clock: how many", "empty: there is one clock only")
    other_unit = WordField(
        label="Second clock: days, weeks, months or years",
        required=False,
        choices=UNITS,
        initial="Y",
    )
    other_from = WordField(label="The second clock counts from", required=False, choices=OTHER_FROM)
    governs = WordField(label="Of the two clocks counts", required=False, choices=GOVERNS)
    hours = how_many(
        "Or at so many hours run since the last pass",
        "by the reading hours-run of its records, if that comes first; empty: hours don't count",
        LONGEST_RUN,
    )
    clause = written(
        "Clause that says so",
        "the sentence on how time counts, such as: section 14(5), sentences 1 to 5",
        required=False,
        max_length=200,
    )

    CLOCK = (
        "by_month",
        "late",
        "late_months",
        "out_counts",
        "early_months",
        "start",
        "other_number",
        "other_unit",
        "other_from",
        "governs",
        "hours",
        "clause",
    )

    @property
    def says_clock(self) -> bool:
        """Whether anything but the usual is said or wrong there, so that it is shown unfolded."""
        asked = set(self.CLOCK) - {"other_unit", "other_from", "governs"}
        return any(self[name].value() for name in asked) or any(
            name in self.errors for name in self.CLOCK if self.is_bound
        )

    def clock(self) -> dict[str, Any]:
        """Return the row's `clock`, empty where it counts as usual; of sound fields only."""
        data = self.cleaned_data
        said: dict[str, Any] = {}
        if data["by_month"]:
            said["due"] = {"by": "month"}
        if data["late"]:
            said["late"] = {"counts_from": DUE_DATE}
            if data["late"] == WITHIN:
                said["late"]["within"] = f"P{data['late_months']}M"
            if data["out_counts"]:
                said["late"]["out_of_service"] = TEST
        if data["early_months"]:
            said["early"] = {"within": f"P{data['early_months']}M"}
        if data["start"]:
            said["start"] = {"at": MONTH_BEFORE}
            if data["start"] == COUNTED:
                said["start"]["first_day"] = COUNTS
        if data["other_number"]:
            said["other"] = {
                "every": f"P{data['other_number']}{data['other_unit']}",
                "from": data["other_from"],
                "governs": data["governs"],
            }
        if data["hours"]:
            said["hours"] = {"limit": data["hours"]}
        clause = data["clause"].strip()
        return {form: {**keys, "clause": clause} for form, keys in said.items()}

    def check_clock(self, data: Mapping[str, Any]) -> None:
        """Tell what is missing or can't stand together, at its field.

        data: the whole form's. `local_faults` decides; these are its refusals in plain words.
        """
        for problems in (_missing, _apart, _without_clause):
            for name, why in [] if self.errors else problems(data):
                self.add_error(name, f"{self.fields[name].label}: {why}")

    @staticmethod
    def initial_clock(row: Mapping[str, Any]) -> dict[str, Any]:
        """Return what the questions show of a rule that is to change."""
        said = row.get("clock", {})
        late, start, other = (said.get(form, {}) for form in ("late", "start", "other"))
        within, early = late.get("within"), said.get("early", {}).get("within")
        clauses = dict.fromkeys(keys["clause"] for keys in said.values())
        every = str(other.get("every", ""))
        return {
            "by_month": by_month(row),
            "late": WITHIN if within else late.get("counts_from", ""),
            "late_months": Duration.parse(within).months if within else None,
            "out_counts": "out_of_service" in late,
            "early_months": Duration.parse(early).months if early else None,
            "start": COUNTED if "first_day" in start else start.get("at", ""),
            "other_number": every[1:-1],
            "other_unit": every[-1:] or "Y",
            "other_from": other.get("from", ""),
            "governs": other.get("governs", ""),
            "hours": said.get("hours", {}).get("limit"),
            "clause": "; ".join(clauses),
        }


def _missing(data: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Yield what each answer needs beside it."""
    if data["late"] == WITHIN and not data["late_months"]:
        yield "late_months", "write a number, such as 2."
    if data["late_months"] and data["late"] != WITHIN:
        yield "late", "choose the last line, or leave the months empty."
    if data["out_counts"] and not data["late"]:
        yield "late", "choose from what it counts else."
    if data["other_number"]:
        beside = [name for name in ("other_unit", "other_from", "governs") if not data[name]]
        yield from ((name, "choose one.") for name in beside)


def _apart(data: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Yield what no row may say together, by the first field that says it."""
    said = [name for name in _SAYING if data[name]]
    how, basis = data.get("how"), data.get("counted_from")
    if said and how != "every" and not (how == "life" and said == ["by_month"]):
        yield said[0], "this goes with every so many days, weeks, months or years; leave it out."
        return
    chained = [name for name in ("late", "early_months") if data[name]]
    if chained and basis == "part-made":
        yield chained[0], "not where the day the renewed part was made counts; leave it out."
    alone = [name for name in ("start", "other_number", "hours") if data[name]]
    if alone and len(alone + chained) > 1:
        yield alone[0], "this stands alone, or beside due dates that are months."
    if data["other_number"] and basis not in ("made", "in-service"):
        yield "other_number", "the first clock then counts from the day it was made or in service."
    months = {"M": 1, "Y": 12}.get(data.get("unit") or "", 0) * (data.get("number") or 0)
    if data["early_months"] and data["early_months"] * 2 > months:
        yield "early_months", "at most half of the period."
    if data["start"] and not months:
        yield "start", "this goes with a period in months or years."


def _without_clause(data: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    if any(data[name] for name in _SAYING) and not data["clause"].strip():
        yield "clause", "write the sentence that says how time counts."

"""Asking for a rule of the fleet's own, in the trade's words."""

import re
from collections.abc import Iterable, Mapping
from typing import Any

from django import forms

from registry.items.pure import Construction, Fibre, Kind
from registry.sites.clock import today_at
from registry.sites.models import Site
from registry.wording.pure.dates import day_words
from servicing.desk.parts.forms.fields import DayField, WordField, word_choices
from servicing.desk.rules.forms.clock import ClockFields
from servicing.desk.rules.forms.fields import UNITS, how_many, written
from servicing.due.actions.local_rules import Draft
from servicing.rules.pure.bars import Bars
from servicing.rules.pure.durations import PERIOD_MONTHS
from servicing.rules.pure.local import local_faults, notice_for
from servicing.rules.pure.rule import SERVICE_LIFE, Basis
from servicing.rules.pure.tasks import EVENTS

LEVELS = [
    ("maker", "the maker: instructions that came with the item"),
    ("local", "we ourselves: a decision of this fleet"),
]
HOW = [
    ("every", "every so many days, weeks, months or years"),
    ("calendar", "once in each calendar period"),
    ("after", "at once after something happened"),
    ("life", "never: its service life ends after so many years"),
]
FROM = [
    (Basis.MADE.value, "the day it was made"),
    (Basis.IN_SERVICE.value, "the day it was put in service"),
    (Basis.AT_ONCE.value, "nothing: due from its first day in service"),
    (Basis.PART_MADE.value, "the day the renewed part was made"),
]
SEEN = [
    ("text", "text: I have the source itself before me"),
    ("secondary", "secondary: somebody else reports it"),
    ("practice", "practice: it is what we decided to do"),
]
BARS = [
    (Bars.BOTH.value, "use and filling: not ready, and not filled"),
    (Bars.USE.value, "use: not ready, but it may be filled"),
    (Bars.FILLING.value, "filling: not filled, but it may be used"),
    (Bars.NOTHING.value, "nothing: it stands on the list and warns"),
]
LISTED = ("maker", "model", "specification", "marks")
_SPAN = re.compile(r"P(\d+)([DWMY])")
_FIELD_OF = {
    "when": "kind",
    "every": "number",
    "life": "number",
    "calendar": "period",
    "after": "events",
    "from": "counted_from",
    "valid_from": "on",
    "clock": "clause",
}
"""Which field a key of the row is asked in, where the two have different names."""


def _listed(label: str, names: str) -> forms.CharField:
    help_text = f"as in the register, several with ; between them; empty means all {names}"
    return written(label, help_text, required=False, max_length=300)


class LocalRuleForm(ClockFields):
    """Which items, which task, how often, from what, and by which source."""

    site = forms.ModelChoiceField(
        Site.objects.all(),
        label="For the items of",
        empty_label="choose a site",
        help_text="and of every site below it",
        error_messages={"required": "For the items of: choose a site."},
    )
    kind = forms.MultipleChoiceField(
        label="Kinds of item",
        choices=[(kind.value, kind.value.replace("-", " ")) for kind in Kind],
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": "Kinds of item: tick at least one."},
    )
    maker = _listed("Maker", "makers")
    model = _listed("Model", "models")
    specification = _listed("Specification", "specifications")
    construction = WordField(
        label="Construction",
        required=False,
        choices=word_choices(Construction, "any, also not known"),
    )
    fibre = WordField(label="Fibre", required=False, choices=word_choices(Fibre, "any, also none"))
    marks = _listed("Marks", "marks")
    task = WordField(label="Task", error_messages={"required": "Task: choose what is to be done."})
    how = forms.ChoiceField(
        label="How often",
        choices=HOW,
        widget=forms.RadioSelect,
        error_messages={"required": "How often: choose one."},
    )
    number = how_many("How many", "for every, and for a service life")
    unit = WordField(label="Days, weeks, months or years", required=False, choices=UNITS)
    period = WordField(
        label="Calendar period", required=False, choices=word_choices(PERIOD_MONTHS, "none")
    )
    events = forms.MultipleChoiceField(
        label="After which events",
        required=False,
        choices=[(event, event.replace("-", " ")) for event in sorted(EVENTS)],
        widget=forms.CheckboxSelectMultiple,
    )
    counted_from = WordField(
        label="Without a record it counts from", required=False, choices=FROM, initial="made"
    )
    bars = forms.ChoiceField(
        label="What it forbids once it is overdue",
        choices=BARS,
        widget=forms.RadioSelect,
        help_text="The end of a service life always forbids both.",
        error_messages={"required": "What it forbids once it is overdue: choose one."},
    )
    level = forms.ChoiceField(
        label="Who asks for it",
        choices=LEVELS,
        widget=forms.RadioSelect,
        error_messages={"required": "Who asks for it: choose one."},
    )
    source = written(
        "Source",
        "the clause or page somebody can look up, such as: maker's manual 4711, section 8.2",
        max_length=400,
        error_messages={"required": "Source: write where it stands; a rule without one is none."},
    )
    edition = written(
        "Edition or date of the source",
        "such as: 3rd edition, March 2024",
        max_length=120,
        error_messages={"required": "Edition or date of the source: write which one was read."},
    )
    seen = forms.ChoiceField(
        label="How its value was checked",
        choices=SEEN,
        widget=forms.RadioSelect,
        error_messages={"required": "How its value was checked: choose one."},
    )
    note = written("Note", required=False, max_length=1000, rows=3)
    on = DayField(
        "Counts from",
        required=False,
        help_text="A later day, if not from the day it is approved; never an earlier one.",
    )
    reason = written(
        "Why it changes",
        required=False,
        max_length=1000,
        rows=2,
        error_messages={"required": "Why it changes: say it for the manager who approves."},
    )

    AFTER_CLOCK = ("level", "source", "edition", "seen", "note", "on", "reason")

    def __init__(self, *args: Any, tasks: Iterable[str], replaces: str = "", **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["task"]
        assert isinstance(field, forms.ChoiceField)  # noqa: S101 (declared above)
        field.choices = word_choices(sorted({*tasks, SERVICE_LIFE}), "choose a task")
        self.replaces = replaces
        others = [name for name in self.fields if name not in (*self.CLOCK, *self.AFTER_CLOCK)]
        self.order_fields([*others, *self.CLOCK, *self.AFTER_CLOCK])
        if replaces:
            self.fields["reason"].required = True
            self.fields["site"].disabled = True
        else:
            del self.fields["reason"]

    def groups(self) -> tuple[list[forms.BoundField], ...]:
        """Return the fields before those of the clock, those, and the ones after them."""
        after = [name for name in self.AFTER_CLOCK if name in self.fields]
        before = [name for name in self.fields if name not in (*self.CLOCK, *after)]
        return tuple([self[name] for name in names] for names in (before, self.CLOCK, after))

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        on, site = data.get("on"), data.get("site")
        if on and site and on < today_at(site):
            self.add_error(
                "on",
                f"Counts from: {day_words(on)} is past; today is {day_words(today_at(site))}.",
            )
        self._check_how(data)
        self.check_clock(data)
        if not self.errors:
            for key, value, remedy in local_faults({**self.row(), "id": "local-0"}):
                name = _FIELD_OF.get(key, key)
                label = self.fields[name].label if name in self.fields else key
                self.add_error(name if name in self.fields else None, f"{label}: {value} {remedy}")
        return data

    def _check_how(self, data: dict[str, Any]) -> None:
        """Ask for what the chosen rhythm needs, and for nothing that it would leave aside."""
        how, is_life = data.get("how"), data.get("task") == SERVICE_LIFE
        if how in ("every", "life") and data.get("number") is None and "number" not in self.errors:
            self.add_error("number", "How many: write a number, such as 6.")
        if how == "calendar" and not data.get("period"):
            self.add_error("period", "Calendar period: choose one.")
        if how == "after" and not data.get("events"):
            self.add_error("events", "After which events: tick at least one.")
        if how == "life" and data.get("task") and not is_life:
            self.add_error("task", "Task: a service life is the task service life; choose it.")
        if how in ("every", "calendar") and is_life:
            self.add_error("how", "How often: a service life comes once; choose the last line.")
        if how == "life" and data.get("counted_from") not in ("made", "in-service"):
            self.add_error(
                "counted_from",
                "Without a record it counts from: a life counts from the day it was made or put "
                "in service.",
            )

    def row(self) -> dict[str, Any]:
        """Return the rule as a row without an id; only on a form whose fields are sound."""
        data = self.cleaned_data
        when: dict[str, Any] = {"kind": data["kind"]}
        when |= {name: found for name in LISTED if (found := _parts(data[name]))}
        when |= {name: [data[name]] for name in ("construction", "fibre") if data[name]}
        row = {
            "task": data["task"],
            "level": data["level"],
            "bars": data["bars"],
            "when": when,
            **self._rhythm(),
            "source": data["source"].strip(),
            "edition": data["edition"].strip(),
            "checked_on": today_at(data["site"]),
            "seen": data["seen"],
            "valid_from": data["on"] or today_at(data["site"]),
        }
        if data["note"].strip():
            row["note"] = data["note"].strip()
        return {**row, "notice": notice_for(row)}

    def _rhythm(self) -> dict[str, Any]:
        data = self.cleaned_data
        if data["how"] == "after":
            return {"after": data["events"]}
        if data["how"] == "calendar":
            return {"calendar": data["period"], "from": data["counted_from"]}
        clock = {"clock": clock} if (clock := self.clock()) else {}
        if data["how"] == "life":
            return {"life": f"P{data['number']}Y", "from": data["counted_from"], **clock}
        return {"every": f"P{data['number']}{data['unit']}", "from": data["counted_from"], **clock}

    def draft(self) -> Draft:
        """Return what is asked for."""
        data = self.cleaned_data
        row = self.row()
        return Draft(data["site"], row["valid_from"], row, self.replaces)

    @staticmethod
    def initial_for(site: Site, row: Mapping[str, Any]) -> dict[str, Any]:
        """Return what the form shows of a rule that is to change."""
        when = row["when"]
        how = next(name for name, _ in HOW if name in row)
        span = _SPAN.fullmatch(str(row.get("every") or row.get("life") or ""))
        return {
            **{name: row.get(name, "") for name in ("task", "level", "source", "edition")},
            **{name: row.get(name, "") for name in ("seen", "note")},
            **{name: ";".join(when.get(name, ())) for name in LISTED},
            **{name: (when.get(name) or [""])[0] for name in ("construction", "fibre")},
            "site": site,
            "bars": row.get("bars", Bars.BOTH.value),
            "kind": when["kind"],
            "how": how,
            "number": span[1] if span else "",
            "unit": span[2] if span else "D",
            "period": row.get("calendar", ""),
            "events": row.get("after", []),
            "counted_from": row.get("from", "made"),
            **LocalRuleForm.initial_clock(row),
        }


def _parts(text: str) -> list[str]:
    return [word for part in text.split(";") if (word := part.strip())]

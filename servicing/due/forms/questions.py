"""Forms that ask: which obligations, which items, as of which day."""

from collections.abc import Iterable
from datetime import date
from typing import Any

from django import forms

from registry.items.pure import Kind
from registry.sites.queries import in_tree_order, site_coded
from servicing.due.pure.obligations import StandingWord, State
from servicing.due.queries.items import ItemQuestion
from servicing.due.queries.rows import DueQuestion

DAY_INPUT = {"size": "11", "placeholder": "YYYY-MM-DD", "autocomplete": "off", "class": "day"}
EARLIEST, LATEST = date(1950, 1, 1), date(2150, 12, 31)


def words(values: Iterable[str], empty: str) -> list[tuple[str, str]]:
    """Return choices of bare words behind one that means all."""
    return [("", empty), *((value, value.replace("-", " ")) for value in values)]


def site_choices() -> list[tuple[str, str]]:
    """Return the sites as a tree, for a choice that may stay empty."""
    rows = ((site.code, "  " * depth + site.name) for depth, site in in_tree_order())
    return [("", "all sites"), *rows]


class WordField(forms.ChoiceField):
    """A choice from a list of words."""

    default_error_messages = {"invalid_choice": "%(value)s is not on the list; choose one that is."}


class DayField(forms.DateField):
    """A day as ISO text or with the month's name, within a span that makes sense.

    A text field and not the browser's own: that one shows 3/4/2026 to some and 4/3/2026
    to others.
    """

    def __init__(self, label: str, **options: Any) -> None:
        super().__init__(
            label=label,
            input_formats=["%Y-%m-%d", "%d %b %Y", "%d %B %Y"],
            widget=forms.DateInput(format="%Y-%m-%d", attrs=DAY_INPUT),
            error_messages={
                "invalid": f"{label}: write a day that exists, such as 2026-03-25.",
                "required": f"{label}: write a day, such as 2026-03-25.",
            },
            **options,
        )

    def clean(self, value: Any) -> date | None:
        day: date | None = super().clean(value)
        if day is not None and not EARLIEST <= day <= LATEST:
            raise forms.ValidationError(f"{self.label}: the year {day.year} can't be meant.")
        return day


class MomentField(forms.DateTimeField):
    """The moment up to which entries count, in UTC; empty is now."""

    def __init__(self) -> None:
        super().__init__(
            label="As known by (UTC)",
            required=False,
            input_formats=["%Y-%m-%d %H:%M", "%Y-%m-%dT%H:%M", "%Y-%m-%d %H:%M:%S"],
            widget=forms.DateTimeInput(
                format="%Y-%m-%d %H:%M",
                attrs={
                    **DAY_INPUT,
                    "size": "17",
                    "class": "day moment",
                    "placeholder": "YYYY-MM-DD HH:MM",
                },
            ),
            error_messages={"invalid": "As known by: write a moment such as 2026-03-25 14:30."},
        )


class AsOfForm(forms.Form):
    """The day a page is asked about, and the moment up to which entries count.

    An empty day is today at the site, an empty moment is now.
    """

    on = DayField("As of", required=False)
    known_by = MomentField()


class DueForm(forms.Form):
    """The sentence above the list of obligations."""

    task = WordField(label="Task", required=False)
    kind = WordField(label="Kind", required=False, choices=words(Kind, "all kinds"))
    state = WordField(label="State", required=False)
    site = WordField(label="Site", required=False)
    since = DayField("Due from", required=False)
    until = DayField("Due up to", required=False)
    on = DayField("As of", required=False)
    known_by = MomentField()

    def __init__(self, *args: Any, tasks: Iterable[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._choose("task", words(tasks, "all tasks"))
        self._choose("state", words(State, "in any state"))
        self._choose("site", site_choices())

    def _choose(self, name: str, choices: list[tuple[str, str]]) -> None:
        field = self.fields[name]
        assert isinstance(field, forms.ChoiceField)  # noqa: S101 (declared above)
        field.choices = choices

    def question(self) -> DueQuestion:
        """Return what the list is asked for."""
        asked = self.cleaned_data
        return DueQuestion(
            on=asked["on"],
            site=site_coded(asked["site"], asked["known_by"]) if asked["site"] else None,
            kind=asked["kind"],
            task=asked["task"],
            state=asked["state"],
            since=asked["since"],
            until=asked["until"],
            known_by=asked["known_by"],
        )

    def sentence(self) -> str:
        """Return the question in words, as papers print it."""
        asked = self.question()
        task = asked.task.replace("-", " ") or "all tasks"
        parts = [task, f"of every {asked.kind}" if asked.kind else "of all kinds"]
        parts.append(f"at {asked.site.name}" if asked.site else "at all sites")
        parts += [f"that are {asked.state.replace('-', ' ')}"] if asked.state else []
        parts += [f"due from {asked.since}"] if asked.since else []
        parts += [f"due up to {asked.until}"] if asked.until else []
        return " ".join(parts)


class ItemSearchForm(forms.Form):
    """The sentence above the list of items."""

    kind = WordField(label="Kind", required=False, choices=words(Kind, "all kinds"))
    standing = WordField(
        label="Standing", required=False, choices=words(StandingWord, "of any standing")
    )
    site = WordField(label="Site", required=False)
    text = forms.CharField(
        label="Tag, serial, maker or model",
        required=False,
        max_length=80,
        widget=forms.TextInput(attrs={"placeholder": "anything", "autocomplete": "off"}),
    )
    on = DayField("As of", required=False)
    known_by = MomentField()

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["site"]
        assert isinstance(field, forms.ChoiceField)  # noqa: S101 (declared above)
        field.choices = site_choices()

    def question(self) -> ItemQuestion:
        """Return what the list is asked for."""
        asked = self.cleaned_data
        return ItemQuestion(
            on=asked["on"],
            site=site_coded(asked["site"], asked["known_by"]) if asked["site"] else None,
            kind=asked["kind"],
            standing=asked["standing"],
            text=asked["text"],
            known_by=asked["known_by"],
        )

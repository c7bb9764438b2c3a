"""Forms that ask: which obligations, which items, as of which day."""

from collections.abc import Iterable
from datetime import date, datetime
from typing import Any

from django import forms
from django.utils import timezone

from registry.items.models import ItemType
from registry.items.pure import Kind
from registry.sites.clock import today_anywhere
from registry.sites.models import Site
from registry.sites.queries import in_tree_order, site_coded
from servicing.due.pure.explain import day_words
from servicing.due.pure.obligations import StandingWord, State
from servicing.due.queries.items import ItemQuestion
from servicing.due.queries.rows import DueQuestion
from servicing.rules.pure.durations import add_months

DAY_INPUT = {"size": "11", "placeholder": "YYYY-MM-DD", "autocomplete": "off", "class": "day"}
MOST_YEARS = 10
"""How far ahead work is reckoned at the most."""
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
    """The moment up to which entries count, by the clock of the page; empty is now."""

    def __init__(self) -> None:
        super().__init__(
            label="As known by",
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


class PlaceForm(forms.Form):
    """At which site: it and all below it, or it alone."""

    site = WordField(label="Site", required=False)
    alone = WordField(
        label="Sites below it",
        required=False,
        choices=[("", "and all below"), ("yes", "alone")],
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.choose("site", site_choices())

    def choose(self, name: str, choices: list[tuple[str, str]]) -> None:
        """Put the words of a choice in place."""
        field = self.fields[name]
        assert isinstance(field, forms.ChoiceField)  # noqa: S101 (declared above)
        field.choices = choices

    def place(self) -> dict[str, Any]:
        """Return the site that is asked for, None for all, and whether it alone is meant."""
        asked = self.cleaned_data
        code, known_by = asked["site"], asked.get("known_by")
        return {
            "site": site_coded(code, known_by) if code else None,
            "alone": bool(code and asked["alone"]),
        }


class DueForm(PlaceForm):
    """The sentence above the list of obligations."""

    task = WordField(label="Task", required=False)
    kind = WordField(label="Kind", required=False, choices=words(Kind, "all kinds"))
    state = WordField(label="State", required=False)
    ahead = WordField(
        label="How often",
        required=False,
        choices=[("", "by the next date"), ("yes", "every time ahead")],
    )
    since = DayField("Due from", required=False)
    until = DayField("Due up to", required=False)
    on = DayField("As of", required=False)
    known_by = MomentField()

    def __init__(self, *args: Any, tasks: Iterable[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.choose("task", words(tasks, "all tasks"))
        self.choose("state", words(State, "in any state"))

    def clean(self) -> None:
        """Have the work ahead end somewhere, and not where nobody plans to."""
        asked = self.cleaned_data
        if not asked.get("ahead") or "until" not in asked:
            return
        last = add_months(asked.get("on") or today_anywhere(), 12 * MOST_YEARS)
        if asked["until"] is None:
            self.add_error("until", f"Due up to: write up to which day, such as {last}.")
        elif asked["until"] > last:
            self.add_error(
                "until", f"Due up to: the work ahead is reckoned up to {last} at the most."
            )

    def question(self) -> DueQuestion:
        """Return what the list is asked for."""
        asked = self.cleaned_data
        return DueQuestion(
            **self.place(),
            on=asked["on"],
            kind=asked["kind"],
            task=asked["task"],
            state=asked["state"],
            since=asked["since"],
            until=asked["until"],
            known_by=asked["known_by"],
            ahead=bool(asked["ahead"]),
        )

    def sentence(self) -> str:
        """Return the question in words, as papers print it; see `as_of_words` for its day."""
        asked = self.question()
        task = asked.task.replace("-", " ").capitalize() or "All tasks"
        parts = [task, f"of every {asked.kind}" if asked.kind else "of all kinds"]
        parts.append(place_words(asked.site, alone=asked.alone))
        parts += [f"that are {asked.state.replace('-', ' ')}"] if asked.state else []
        days = [f"from {day_words(asked.since)}"] if asked.since else []
        days += [f"up to {day_words(asked.until)}"] if asked.until else []
        if asked.ahead:
            parts += ["every time they will come due", *days]
        elif days:
            parts += ["due", *days]
        return " ".join(parts)


def as_of_words(on: date | None, known_by: datetime | None) -> str:
    """Return in words as of which day and moment something is asked; empty for today."""
    said = f", as of {day_words(on)}" if on else ""
    if known_by is None:
        return said
    moment = timezone.localtime(known_by)
    return f"{said}, as known by {day_words(moment.date())}, {moment:%H:%M} ({moment.tzinfo})"


def place_words(site: Site | None, *, alone: bool) -> str:
    """Return at which site in words, as sentences say it."""
    if site is None:
        return "at all sites"
    return f"at {site.name} {'alone' if alone else 'and all below'}"


class ItemSearchForm(PlaceForm):
    """The sentence above the list of items."""

    kind = WordField(label="Kind", required=False, choices=words(Kind, "all kinds"))
    type = WordField(label="Type", required=False)
    standing = WordField(
        label="Standing", required=False, choices=words(StandingWord, "of any standing")
    )
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
        asked = str(self.data.get("type", ""))
        named = ItemType.objects.filter(pk=asked) if asked.isdecimal() else ()
        self.type_choices = [("", "of any type"), *((str(t.pk), f"of type {t}") for t in named)]
        self.choose("type", self.type_choices)
        self.of_type = bool(asked)

    def question(self) -> ItemQuestion:
        """Return what the list is asked for."""
        asked = self.cleaned_data
        return ItemQuestion(
            **self.place(),
            on=asked["on"],
            kind=asked["kind"],
            type_id=int(asked["type"]) if asked["type"] else None,
            standing=asked["standing"],
            text=asked["text"],
            known_by=asked["known_by"],
        )

    def sentence(self) -> str:
        """Return the question in words, as prints say it."""
        asked = self.question()
        parts = [f"Every {asked.kind}" if asked.kind else "All kinds"]
        parts += [dict(self.type_choices)[str(asked.type_id)]] if asked.type_id else []
        parts += [f"that is {asked.standing.replace('-', ' ')}"] if asked.standing else []
        parts.append(place_words(asked.site, alone=asked.alone))
        parts += [f"with {asked.text!r} in tag, serial, maker or model"] if asked.text else []
        return " ".join(parts) + as_of_words(asked.on, asked.known_by)

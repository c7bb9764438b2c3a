"""Forms that ask: which obligations, which items, as of which day."""

from datetime import date, datetime
from typing import Any

from django import forms
from django.utils import timezone

from registry.sites.models import Site
from registry.sites.queries import in_tree_order, site_coded
from registry.wording.pure.dates import day_words, moment_and_zone
from servicing.desk.parts.forms import fields


def site_choices() -> list[tuple[str, str]]:
    """Return the sites as a tree, for a choice that may stay empty."""
    rows = ((site.code, "  " * depth + site.name) for depth, site in in_tree_order())
    return [("", "all sites"), *rows]


class AsOfForm(forms.Form):
    """The day a page is asked about, and the moment up to which entries count.

    An empty day is today at the site, an empty moment is now.
    """

    on = fields.DayField("As of", required=False)
    known_by = fields.MomentField()


class PlaceForm(forms.Form):
    """At which site: it and all below it, or it alone."""

    site = fields.WordField(label="Site", required=False)
    alone = fields.WordField(
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


def as_of_words(on: date | None, known_by: datetime | None) -> str:
    """Return in words as of which day and moment something is asked; empty for today."""
    said = f", as of {day_words(on)}" if on else ""
    if known_by is None:
        return said
    return f"{said}, as known by {moment_and_zone(timezone.localtime(known_by))}"


def place_words(site: Site | None, *, alone: bool) -> str:
    """Return at which site in words, as sentences say it."""
    if site is None:
        return "at all sites"
    return f"at {site.name} {'alone' if alone else 'and all below'}"

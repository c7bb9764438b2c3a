"""The form of an item."""

from collections.abc import Mapping
from typing import Any

from django import forms

from registry.cells.pure.bare import bare
from registry.items.facts import (
    ATTRIBUTES,
    FACTS,
    NAMES,
    OF_CYLINDERS,
    TO_MONTH,
    misfits,
    plate_of,
)
from registry.items.models import Item
from registry.items.pure import NOT_LIMITED
from registry.items.queries import Meant, tags_like, usual_life
from registry.lists.pure.questions import asks_for_life
from registry.sites.clock import today_at
from registry.sites.models import Site
from servicing.desk.parts.forms.facts import FactField, refusal
from servicing.desk.parts.forms.fields import WhyField


class ItemForm(forms.Form):
    """What is known of an item: a field for each fact of the table, and where it is kept.

    words: by fact, the words that rules go by beside those of the table.
    """

    site = forms.ModelChoiceField(
        Site.objects.all(),
        label="Site",
        empty_label="choose a site",
        error_messages={"required": "Site: choose where it is kept."},
    )
    another = forms.CharField(required=False, max_length=64, widget=forms.HiddenInput)
    no_life = forms.CharField(required=False, max_length=4, widget=forms.HiddenInput)
    why = WhyField("")

    CONFIRMED = ("another", "no_life")
    """What is ticked where the form asks: the tag that is another item's, and that no life is
    known."""

    def __init__(
        self, *args: Any, item: Item, words: Mapping[str, frozenset[str]], **kwargs: Any
    ) -> None:
        held = self.initial_for(item) if item.pk else {}
        kwargs["initial"] = {**held, **kwargs.get("initial", {})}
        super().__init__(*args, **kwargs)
        self.item = item
        self.meant: tuple[Meant, ...] = ()
        self.asks_for_life = False
        for name, fact in FACTS.items():
            self.fields[name] = FactField(fact, words.get(name, ()), held.get(name, ""))
        self.fields["why"].help_text = WHY if item.pk else WHY_NEW
        self.order_fields([*NAMES, "serial", "site", *(n for n in FACTS if n != "marks"), "marks"])

    def general_fields(self) -> list[forms.BoundField]:
        """Return the fields of every kind."""
        own = (*OF_CYLINDERS, "why", *self.CONFIRMED)
        return [field for field in self if field.name not in own]

    def cylinder_fields(self) -> list[forms.BoundField]:
        """Return the fields of cylinders."""
        return [self[name] for name in OF_CYLINDERS]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        # Only the made date comes as two: the day, and whether its month is all that is known.
        data["made_on"], data[TO_MONTH] = data.get("made_on") or (None, False)
        self._check_marks(data)
        self._ask_about_tag(data)
        self._ask_about_life(data)
        self._check_together(data)
        return data

    def _check_together(self, data: dict[str, Any]) -> None:
        typed = {name: self._typed(name) for name in FACTS}
        said, site = {name for name, text in typed.items() if text}, data.get("site")
        today = today_at(site) if site else None
        for name, remedy in misfits(data, said, today=today, site=site.code if site else ""):
            self.add_error(name, refusal(FACTS[name], typed[name], remedy))

    def _typed(self, name: str) -> str:
        value = self[name].value()
        return bare(value) if isinstance(value, str) else " ".join(value or ())

    def _check_marks(self, data: dict[str, Any]) -> None:
        """Refuse a tag, or a maker with a serial, that another item carries already."""
        others = Item.objects.exclude(pk=self.item.pk)
        if others.filter(tag=data.get("tag")).exists():
            self.add_error("tag", f"Tag: {data['tag']} is on another item; give this one its own.")
        plate = plate_of(data.get("maker", ""), data.get("serial", ""))
        alike = others.filter(serial=data.get("serial")).order_by("tag")
        twin = next((each for each in alike if plate_of(each.maker, each.serial) == plate), None)
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
        bears = {"made_on", "design_life_years", "marks", "kind", "maker", "model"}
        if (self.item.pk and not bears & set(self.changed_data)) or data.get("no_life"):
            return
        if not asks_for_life(data):
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
        """Return the values for `registry.items.facts.ATTRIBUTES`."""
        data = {name: self.cleaned_data[name] for name in ATTRIBUTES}
        same = {*data["marks"]} == {*self.item.marks}
        return {**data, "marks": self.item.marks if same else list(data["marks"])}

    @staticmethod
    def initial_for(item: Item) -> dict[str, Any]:
        """Return what the form shows of an item."""
        names = {"kind": item.type.kind, "model": item.type.model}
        held = {name: names.get(name) or getattr(item, name, "") for name in FACTS}
        shown = {name: FACTS[name].as_typed(value) for name, value in held.items()}
        month = {"made_on": f"{item.made_on:%Y-%m}"} if item.made_to_month else {}
        return {**shown, **month, "site": item.site}


WHY = (
    "The reason for the change. It is needed where the tag, the serial, the maker, the made date "
    "or the specification changes, where a specification, mark or connection is none of those to "
    "choose from, and wherever a date moves."
)
WHY_NEW = (
    "Needed where a specification, mark or connection is none of those to choose from: where it "
    "stands, and what it means."
)

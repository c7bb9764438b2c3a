"""Forms about types: their names, and what they fit and weigh."""

from collections.abc import Collection
from typing import Any

from django import forms

from registry.items.facts import OF_TYPES
from registry.items.models import TYPE_FACTS, ItemType
from registry.items.pure import Breathing, Kind
from servicing.desk.parts.forms import fields
from servicing.desk.parts.forms.facts import FactField


class TypeForm(forms.Form):
    """The name of a type: who made it, and which model it is."""

    maker = fields.text_field("Maker", 80, required=True)
    model = fields.text_field("Model", 80)
    why = fields.WhyField(
        "The reason for the change. It is needed where a date moves, and for a connection that is "
        "none of those to choose from: where it stands and what it means."
    )


class TypeFactsForm(TypeForm):
    """The name of a type, and what is stated of it; only what its kind can have is asked.

    words: the connections that rules go by beside those of the table of facts.
    """

    highest_bar = fields.NumberField(
        "Highest cylinder pressure it is made for", "bar", "1", "1000", 2
    )
    mass_kg = fields.NumberField("Mass, without air", "kg", "0.001", "200")
    breathing = fields.WordField(
        label="Works with", required=False, choices=fields.word_choices(Breathing, "not stated")
    )
    joins = forms.TypedChoiceField(
        label="Joins",
        required=False,
        coerce=int,
        empty_value=None,
        choices=[("", "not stated"), ("1", "one cylinder: an adapter"), ("2", "two: a tee")],
    )
    approved = forms.ModelMultipleChoiceField(
        ItemType.objects.none(),
        label="Types of part that the set's maker approves",
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="With none ticked nothing is stated, and each fitting asks for a confirmation.",
    )

    field_order = ("maker", "model", *TYPE_FACTS, "approved", "why")
    ASKED = {
        Kind.CYLINDER: ("outlet", "highest_bar", "mass_kg"),
        Kind.REDUCER: ("inlet", "highest_bar", "mass_kg"),
        Kind.CONNECTOR: ("inlet", "outlet", "highest_bar", "mass_kg", "joins"),
        Kind.DEMAND_VALVE: ("outlet", "mass_kg", "breathing"),
        Kind.MASK: ("inlet", "mass_kg", "breathing"),
        Kind.FRAME: ("mass_kg",),
        Kind.SET: ("approved",),
    }

    def __init__(
        self, *args: Any, named: ItemType, words: Collection[str] = (), **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.named = named
        for name, fact in OF_TYPES.items():
            self.fields[name] = FactField(fact, words)
        self.order_fields(self.field_order)
        asked = self.ASKED.get(Kind(named.kind), ())
        for name in (*TYPE_FACTS, "approved"):
            if name not in asked:
                del self.fields[name]
        if "approved" in self.fields:
            field = self.fields["approved"]
            assert isinstance(field, forms.ModelMultipleChoiceField)  # noqa: S101 (declared above)
            kinds = [kind for kind in self.ASKED if kind is not Kind.SET]
            field.queryset = ItemType.objects.filter(kind__in=kinds)
            field.label_from_instance = lambda each: f"{each.kind.replace('-', ' ')}: {each}"  # type: ignore[method-assign, assignment]

    def facts(self) -> dict[str, Any]:
        """Return the values for `registry.items.models.TYPE_FACTS`; unasked ones stay."""
        data = self.cleaned_data
        return {name: data.get(name, getattr(self.named, name)) for name in TYPE_FACTS}

    @staticmethod
    def initial_for(named: ItemType) -> dict[str, Any]:
        """Return what the form shows of a type."""
        shown = {name: getattr(named, name) for name in ("maker", "model", *TYPE_FACTS)}
        numbers = {
            name: f"{shown[name].normalize():f}"
            for name in ("highest_bar", "mass_kg")
            if shown[name] is not None
        }
        return {**shown, **numbers, "approved": list(named.approved.all())}

"""Which items are asked for."""

from typing import Any

from django import forms

from registry.items.models import ItemType
from registry.items.pure import Kind
from servicing.desk.parts.forms import fields
from servicing.desk.parts.forms.questions import PlaceForm, as_of_words, place_words
from servicing.due.pure.obligations import StandingWord
from servicing.due.queries.items import ItemQuestion


class ItemSearchForm(PlaceForm):
    """The sentence above the list of items."""

    kind = fields.WordField(
        label="Kind", required=False, choices=fields.word_choices(Kind, "all kinds")
    )
    type = fields.WordField(label="Type", required=False)
    standing = fields.WordField(
        label="Standing",
        required=False,
        choices=fields.word_choices(StandingWord, "of any standing"),
    )
    text = forms.CharField(
        label="Tag, serial, maker or model",
        required=False,
        max_length=80,
        widget=forms.TextInput(attrs={"placeholder": "anything", "autocomplete": "off"}),
    )
    on = fields.DayField("As of", required=False)
    known_by = fields.MomentField()

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

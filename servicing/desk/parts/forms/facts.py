"""Fields drawn up from the table of facts: what is typed is read as a cell of a list is."""

from collections.abc import Collection, Iterable, Mapping
from typing import Any

from django import forms
from django.forms.renderers import BaseRenderer
from django.forms.widgets import ChoiceWidget
from django.utils.datastructures import MultiValueDict
from django.utils.html import format_html
from django.utils.safestring import SafeString

from registry.cells.pure.bare import bare
from registry.cells.pure.values import ValueProblem
from registry.items.facts import Fact, Kept
from registry.items.pure import KIND_MEANS, MARKS

QUOTED = 60
"""So many signs of what was typed are quoted in a refusal."""
NOTHING = {"kind": "choose a kind", "fibre": "none"}
NUMERIC = {Kept.NUMBER: "decimal", Kept.WHOLE: "numeric"}


def refusal(fact: Fact, text: str, remedy: str) -> str:
    """Return why a fact is refused, as a sentence of a form."""
    said = text if len(text) <= QUOTED else f"{text[: QUOTED - 1]}…"
    return f"{fact.label}: {said} {remedy.replace('the cell', 'the field')}."


class WordOrOther(forms.Widget):
    """A choice from known words, and a line for a word that is none of them.

    Where both are filled in, the value is both, for the field to refuse. It can be sent as
    one text too, as a list has it.
    """

    use_fieldset = False

    def __init__(self, chooser: ChoiceWidget, label: str) -> None:
        super().__init__()
        self.chooser, self.label = chooser, label
        self.line = forms.TextInput(attrs={"autocomplete": "off", "class": "other"})

    def known(self) -> set[str]:
        """Return the words that can be chosen."""
        return {str(value) for value, _ in self.chooser.choices if value}

    def split(self, value: Any) -> tuple[Any, str]:
        """Return what is chosen and what is written beside it."""
        chosen, other = (value, "") if isinstance(value, str) else (value or ("", ""))
        return (chosen, other) if chosen in self.known() or other else ("", chosen)

    def value_from_datadict(self, data: Mapping[str, Any], files: Any, name: str) -> Any:
        chosen, other = data.get(name, ""), data.get(f"{name}_other", "").strip()
        return (chosen, other) if chosen and other and chosen != other else chosen or other

    def value_omitted_from_data(self, data: Mapping[str, Any], files: Any, name: str) -> bool:
        return name not in data and f"{name}_other" not in data

    def render(
        self,
        name: str,
        value: Any,
        attrs: dict[str, Any] | None = None,
        renderer: BaseRenderer | None = None,
    ) -> SafeString:
        chosen, other = self.split(value)
        attrs = {**(attrs or {})}
        beside = {**attrs, "id": f"{attrs.get('id', f'id_{name}')}_other"}
        return format_html(
            '{} <label class="other" for="{}">{}</label> {}',
            self.chooser.render(name, chosen, attrs, renderer),
            beside["id"],
            self.label,
            self.line.render(f"{name}_other", other, beside, renderer),
        )


class WordsOrOthers(WordOrOther):
    """Known words to tick, and a line for others with semicolons between them."""

    use_fieldset = True

    def id_for_label(self, id_: str, index: Any = None) -> str:
        return str(self.chooser.id_for_label(id_, index))

    def split(self, value: Any) -> tuple[Any, str]:
        words = [word for part in str(value or "").split(";") if (word := part.strip())]
        known = self.known()
        others = ";".join(word for word in words if word not in known)
        return [word for word in words if word in known], others

    def value_from_datadict(self, data: Mapping[str, Any], files: Any, name: str) -> Any:
        ticked = data.getlist(name) if isinstance(data, MultiValueDict) else [data.get(name)]
        return ";".join(filter(None, [*ticked, data.get(f"{name}_other", "").strip()]))


class FactField(forms.Field):
    """One fact of an item. known: words beside those of the table, such as those of rules.

    held: what the register holds, as the form shows it. A code or a name that stays as it
    is needs no reading: an older release may have taken it.
    """

    def __init__(self, fact: Fact, known: Iterable[str] = (), held: str = "") -> None:
        super().__init__(
            label=fact.label,
            required=fact.needed,
            widget=_widget(fact, [*fact.words, *sorted({*known} - {*fact.words})]),
            help_text=fact.help,
            error_messages={
                "required": f"{fact.label}: choose what it is."
                if fact.closed
                else f"{fact.label}: write it as it stands on the item."
            },
        )
        self.fact, self.held = fact, held
        self.unit = fact.unit

    def clean(self, value: Any) -> Any:
        if not isinstance(value, str | None):
            raise forms.ValidationError(
                f"{self.label}: {' and '.join(value)} can't both be; choose one or write another."
            )
        text = bare(value or "")
        super().clean(text)
        if not text:
            return self.fact.unknown
        if text == self.held and self.fact.kept is Kept.TEXT and not self.fact.words:
            return text
        try:
            return self.fact.read(text)
        except ValueProblem as problem:
            raise forms.ValidationError(refusal(self.fact, text, problem.remedy)) from problem


def _with_meaning(word: str) -> str:
    """Return a word as people say it, with what it means where it is a kind that needs it."""
    said = word.replace("-", " ")
    means = KIND_MEANS.get(word)
    return f"{said}: {means}" if means else said


def _widget(fact: Fact, words: Collection[str]) -> forms.Widget:
    if fact.closed:
        named = [(word, _with_meaning(word)) for word in words]
        return forms.Select(choices=[("", NOTHING.get(fact.name, "not known")), *named])
    if fact.kept is Kept.WORDS:
        ticks = forms.CheckboxSelectMultiple(choices=[(w, MARKS.get(w, w)) for w in words])
        return WordsOrOthers(ticks, "Others, with ; between them")
    if words:
        listed = forms.Select(choices=[("", "not known"), *((word, word) for word in words)])
        return WordOrOther(listed, "or another")
    attrs = {"autocomplete": "off"}
    if fact.kept in NUMERIC:
        attrs |= {"inputmode": NUMERIC[fact.kept], "class": "short"}
    if fact.longest:
        attrs["maxlength"] = str(fact.longest)
    if fact.kept is Kept.DAY:
        attrs |= {"size": "11", "placeholder": "YYYY-MM-DD", "class": "day"}
    return forms.TextInput(attrs=attrs)

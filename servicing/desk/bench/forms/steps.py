"""What people type at the bench: one step, the setting of a piece of work, a signature."""

from collections.abc import Sequence
from datetime import date
from typing import Any

from django import forms

from registry.items.models import Item
from registry.items.pure import Kind, a_kind
from registry.items.queries import Meant, Named, named_by
from registry.lettering.forms import WrittenField
from registry.scanning.forms import PLAIN, ScanInput
from servicing.bench.pure.answers import Given
from servicing.bench.pure.course import Place
from servicing.bench.pure.procedure import Form, Procedure
from servicing.bench.pure.units import Unit
from servicing.bench.queries.serving import refusal_for
from servicing.desk.parts.forms.fields import DayField, WordField
from servicing.due.queries.instruments import Calibration, calibration_of


class StepForm(forms.Form):
    """One step's answer. The word is that of the button pressed."""

    typed = WrittenField(
        required=False,
        max_length=60,
        strip=False,
        widget=forms.TextInput(attrs={**PLAIN, "inputmode": "decimal", "class": "reading"}),
    )
    unit = forms.CharField(required=False, max_length=12, widget=forms.HiddenInput)
    sure = forms.CharField(required=False, max_length=60, strip=False, widget=forms.HiddenInput)
    word = forms.CharField(required=False, max_length=20, widget=forms.HiddenInput)
    batch = WrittenField(
        label="Batch number on the new part",
        required=False,
        max_length=60,
        widget=ScanInput(),
    )
    made_on = DayField("Made on", required=False, help_text="as it stands on the part")
    note = WrittenField(
        label="Note",
        required=False,
        max_length=1000,
        widget=forms.Textarea(attrs={"rows": 2}),
    )

    def __init__(
        self, *args: Any, place: Place, unit: Unit | None, help_text: str = "", **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.place = place
        step = place.step
        wanted = {
            Form.MEASURE: ("typed", "unit", "sure", "word", "note"),
            Form.RENEW: ("batch", "made_on", "word", "note"),
        }.get(step.form, ("word", "note"))
        for name in set(self.fields) - set(wanted):
            del self.fields[name]
        if unit is not None and "typed" in self.fields:
            self.fields["typed"].label = place.name.capitalize()
            self.fields["unit"].initial = unit.name
            self.fields["typed"].help_text = help_text
            if not self.is_bound:
                self.fields["typed"].widget.attrs["autofocus"] = True
        if step.renews:
            task = step.renews.replace("-", " ")
            self.fields["made_on"].help_text = (
                f"as it stands on the part: the next {task} counts from it, or from the day of "
                "the work where the part doesn't say"
            )
        self.fields["note"].label = {
            Form.CHECK: "What is not good",
            Form.DAMAGE: "What the damage is, and where",
        }.get(step.form, "What was wrong, and what you did" if place.judged == "fail" else "Note")

    def given(self) -> Given:
        """Return the answer as it came."""
        data = self.cleaned_data
        return Given(
            word=data.get("word", ""),
            note=data.get("note", ""),
            typed=data.get("typed", ""),
            unit=data.get("unit", ""),
            sure=data.get("sure", ""),
            batch=data.get("batch", ""),
            made_on=data.get("made_on"),
        )

    @classmethod
    def initial_of(cls, held: dict[str, str]) -> dict[str, Any]:
        """Return what was answered before, for the fields."""
        return {name: text for name, text in held.items() if name != "word"}


class InstrumentsForm(forms.Form):
    """The instruments that a piece of work is measured with: picked, or scanned.

    by: the procedures it may be done by. psi: whether fields for larger pressures and volumes
    stand in psi and ft3; None where there are none.
    """

    def __init__(
        self,
        *args: Any,
        words: Sequence[str],
        by: Sequence[Procedure],
        offered: Sequence[Calibration],
        chosen: dict[str, int],
        psi: bool | None = None,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.words, self.by = words, by
        self.meant: dict[str, list[Meant]] = {}
        if psi is not None:
            self.fields["units"] = WordField(
                label="Fields stand in",
                required=False,
                choices=[("bar", "bar and litres"), ("psi", "psi and cubic feet")],
                initial="psi" if psi else "bar",
                widget=forms.RadioSelect,
                help_text="a reading may be typed with another unit behind it in either case",
            )
        for word in words:
            self._add(word, offered, chosen.get(word))
        if words and not self.is_bound:
            self._scan_of(next((word for word in words if word not in chosen), words[0])).wait()

    def _scan_of(self, word: str) -> ScanInput:
        widget = self.fields[f"scan_{word}"].widget
        assert isinstance(widget, ScanInput)  # noqa: S101 (made below)
        return widget

    def _add(self, word: str, offered: Sequence[Calibration], chosen: int | None) -> None:
        """Add the fields of one instrument: scan it, or pick it from those that serve."""
        name, parts = word.replace("-", " "), set(word.split("-"))
        # Described ones first; of those that nobody has described, what is called like it.
        likely = sorted(
            offered,
            key=lambda each: (
                not each.serving.serves_as,
                not parts & set(str(each.item.type).casefold().split()),
            ),
        )
        self.fields[f"scan_{word}"] = forms.CharField(
            label=f"{name.capitalize()}: scan or type its tag",
            required=False,
            max_length=200,
            widget=ScanInput(),
        )
        self.fields[f"pick_{word}"] = WordField(
            label=f"Or pick the {name}",
            required=False,
            choices=[
                (str(each.item.pk), self._offer(each, word, name))
                for each in likely
                if each.item.pk == chosen or not refusal_for(each, word, self.by)
            ],
            initial=str(chosen or ""),
            widget=forms.RadioSelect,
        )

    def _offer(self, each: Calibration, word: str, name: str) -> str:
        """Return an instrument in the words of the list: which it is, and how it stands."""
        stands = refusal_for(each, word, self.by) or each.words
        open_ = "" if each.serving.serves_as else f"; not described yet, make sure it is a {name}"
        return f"{each.item.tag}, {each.item.type}: {stands}{open_}"

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        for word in self.words:
            text = data.get(f"scan_{word}", "").strip()
            named = named_by(text) if text else None
            found = named.item if named else None
            if named and (found is None or found.kind != Kind.INSTRUMENT):
                self.add_error(f"scan_{word}", _no_instrument(text, named, word.replace("-", " ")))
                self.meant[word] = [m for m in named.meant if m.item.kind == Kind.INSTRUMENT]
            elif found is not None:
                data[f"pick_{word}"] = str(found.pk)
        return data

    def chosen(self) -> dict[str, int]:
        """Return the item id chosen for each word; words left open are left out."""
        picks = ((word, self.cleaned_data.get(f"pick_{word}")) for word in self.words)
        return {word: int(pick) for word, pick in picks if pick}

    def holds(self, on: date) -> bool:
        """Say whether every instrument chosen may judge here on a day, else where not."""
        for word, pk in self.chosen().items():
            item = Item.objects.select_related("type", "site").get(pk=pk)
            if refusal := refusal_for(calibration_of(item, on), word, self.by):
                said = f"{refusal[0].upper()}{refusal[1:]}"
                field = "scan" if self.cleaned_data.get(f"scan_{word}") else "pick"
                self.add_error(
                    f"{field}_{word}", f"{said}: nothing may be judged with it. Choose another."
                )
        return not self.errors

    def by_scan(self) -> bool:
        """Say whether an instrument was scanned, so that the next one is asked for."""
        return any(self.cleaned_data.get(f"scan_{word}") for word in self.words)

    def rows(self) -> list[dict[str, object]]:
        """Return the fields by instrument, for the page."""
        return [
            {"word": word, "pick": self[f"pick_{word}"], "scan": self[f"scan_{word}"]}
            for word in self.words
        ]

    def meant_rows(self) -> list[tuple[str, list[Meant]]]:
        """Return the fields whose scan named nothing, each with the instruments it may mean."""
        return [(f"scan_{word}", meant) for word, meant in self.meant.items() if meant]


def _no_instrument(text: str, named: Named, name: str) -> str:
    """Return what is wrong with a scan that names no instrument. name: what is needed."""
    found = named.item
    if found is None:
        return (
            f"{text} is the tag or serial of no instrument here; scan the instrument's "
            "own label, or register it first."
        )
    kind = found.kind.replace("-", " ")
    return f"{found.tag} is {a_kind(kind)}, no instrument; scan the {name} that you measure with."


class SettingForm(InstrumentsForm):
    """The day the work was done, by which procedure, and with which instruments."""

    done_on = DayField("Done on")
    procedure = WordField(
        label="By which procedure",
        widget=forms.RadioSelect,
        error_messages={"required": "By which procedure: choose the one you work by."},
    )

    def __init__(
        self, *args: Any, today: date, procedures: Sequence[tuple[str, str]], **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.fields["done_on"].initial = today
        if len(procedures) > 1:
            field = self.fields["procedure"]
            assert isinstance(field, forms.ChoiceField)  # noqa: S101 (declared above)
            field.choices = procedures
        else:
            del self.fields["procedure"]


class SignForm(forms.Form):
    """What is said with a signature, and a second person's own where one is needed."""

    seen = forms.CharField(
        widget=forms.HiddenInput,
        max_length=80,
        error_messages={"required": "Read what is below first; then sign it."},
    )
    act = forms.ChoiceField(
        choices=[("sign", "sign"), ("release", "release")],
        widget=forms.HiddenInput,
        error_messages={
            "required": "Press the button that says what you sign.",
            "invalid_choice": "Press the button that says what you sign.",
        },
    )
    note = WrittenField(
        label="Note for the record",
        required=False,
        max_length=2000,
        widget=forms.Textarea(attrs={"rows": 2}),
    )
    checker = forms.CharField(
        label="Second person: account name",
        max_length=150,
        widget=ScanInput(),
        error_messages={
            "required": "Second person: somebody else checks this and types their account's name."
        },
    )
    checker_password = forms.CharField(
        label="Second person: password",
        strip=False,
        max_length=200,
        widget=forms.PasswordInput(attrs={"autocomplete": "off"}),
        error_messages={"required": "Second person: their own password."},
    )

    def __init__(self, *args: Any, checker: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not checker:
            del self.fields["checker"]
            del self.fields["checker_password"]

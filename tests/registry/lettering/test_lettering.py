"""Which signs can be printed, said once: forms, lists and paper ask the same. A27."""

import inspect
import pkgutil
import unicodedata
from importlib import import_module
from itertools import product

import pytest
from arabic_reshaper.letters import LETTERS_ARABIC
from arabic_reshaper.ligatures import LIGATURES
from django import forms
from django.core.exceptions import ValidationError

import registry
import servicing
from registry.cells.pure.codes import code, name, note
from registry.cells.pure.values import ValueProblem
from registry.lettering.forms import WrittenField
from registry.lettering.pure import Face, em, joined, signs_named, unprintable


@pytest.mark.parametrize(
    "text",
    [
        "plain\ttext\r\nof two lines",
        "Łódź Ñandú Ωμέγα Живко Ґанна",
        "e\u0301 and ậ",
        "氧气瓶，检验合格",
        "呼吸器マスク テスト済み",
        "공기호흡기 점검 완료",
        "מסכה נבדקה (2026)",
        "قناع ١٢ تم الفحص، سليم",
        "پژوهش گچ",
        "½ · ≤ ≥ → ✓ 300 bar ± 5 °C",
    ],
)
def test_what_people_write_in_these_scripts_can_be_printed(text: str) -> None:
    assert unprintable(text) == ()


@pytest.mark.parametrize(
    ("text", "signs", "said"),
    [
        ("gut \N{FIRE}\N{FIRE}!", "\N{FIRE}", "fire (U+1F525)"),
        ("ไทย", "ไทย", "thai character sara ai maimalai (U+0E44)"),
        ("नम", "नम", "devanagari letter na (U+0928)"),
        ("x\u0303", "\u0303", "combining tilde (U+0303)"),
        ("שָ", "\u05b8", "hebrew point qamats (U+05B8)"),
        ("a\u202eb", "\u202e", "right-to-left override (U+202E)"),
        ("\x07", "\x07", "unseen (U+0007)"),
        ("\ud800", "\ud800", "unseen (U+D800)"),
    ],
)
def test_what_no_paper_can_show_is_named(text: str, signs: str, said: str) -> None:
    assert unprintable(text) == tuple(signs)
    assert signs_named(unprintable(text)).startswith(said)


def test_of_many_signs_some_are_named_and_the_rest_counted() -> None:
    assert signs_named(unprintable("กขคงจ")).endswith("(U+0E04), 2 more")


def test_each_weight_has_the_same_signs() -> None:
    assert em(Face.REGULAR).keys() == em(Face.SEMIBOLD).keys() == em(Face.BOLD).keys()


def test_arabic_letters_side_by_side_are_all_there_to_be_drawn() -> None:
    letters = [letter for letter in LETTERS_ARABIC if not unprintable(letter)]
    assert {unicodedata.name(letter) for letter in letters} >= {
        f"ARABIC LETTER {name}" for name in ("ALEF", "BEH", "LAM", "YEH", "PEH", "GAF", "FARSI YEH")
    }
    whole = [*map("".join, product(letters, repeat=2))]
    words = [text for _, (text, _) in LIGATURES if not unprintable(text)]
    for text in (*whole, *(f"{pair}ب" for pair in whole), *words):
        assert unprintable(joined(text)) == ()


# ── Who asks ────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("read", [code, name, note])
def test_a_list_names_what_can_not_be_printed(read: object) -> None:
    assert callable(read)
    assert read("氧气瓶") == "氧气瓶"
    with pytest.raises(ValueProblem, match=r"paper can't show: fire \(U\+1F525\); write"):
        read("pump \N{FIRE}")


def test_a_field_names_what_can_not_be_printed() -> None:
    field = WrittenField(label="Note")
    assert field.clean("氧气瓶\r\nקנה") == "氧气瓶\r\nקנה"
    with pytest.raises(ValidationError, match=r"Paper can't show fire \(U\+1F525\)"):
        field.clean("pump \N{FIRE}")


NEVER_PRINTED = {"text", "of", "tag", "tags", "checker", "second_name"}
"""What is looked for, scanned, or names an account is not kept as it was typed."""


def modules(package: object) -> list[str]:
    path, prefix = package.__path__, f"{package.__name__}."  # type: ignore[attr-defined]
    return [m.name for m in pkgutil.walk_packages(path, prefix) if ".forms" in m.name]


def test_every_field_that_may_come_onto_paper_asks() -> None:
    seen = 0
    for path in (*modules(registry), *modules(servicing)):
        for _, form in inspect.getmembers(import_module(path), inspect.isclass):
            if not issubclass(form, forms.Form) or form.__module__ != path:
                continue
            for key, field in form.base_fields.items():
                hidden = isinstance(field.widget, forms.HiddenInput | forms.PasswordInput)
                if type(field) is forms.CharField and not hidden:
                    assert key in NEVER_PRINTED, f"{form.__name__}: make it a WrittenField"
                seen += isinstance(field, WrittenField)
    assert seen > 15

"""Numbers, codes and words of lists: taken as they are, or refused with what to write."""

from collections.abc import Callable
from decimal import Decimal

import pytest

from registry.cells.pure.codes import code, name
from registry.cells.pure.days import day, month_or_day
from registry.cells.pure.values import Measure, ValueProblem, Vocabulary, decimal, whole

TARE = Measure(Decimal("0.1"), Decimal(200), "kg", places=3)


def remedy(parse: Callable[[str], object], text: str) -> str:
    """Return what is said about a text that must be refused."""
    with pytest.raises(ValueProblem) as refused:
        parse(text)
    return refused.value.remedy


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("6.8", "6.8"),
        ("6,8", "6.8"),
        ("6.80", "6.8"),
        ("4.850", "4.85"),
        ("0,850", "0.85"),  # no thousands begin with nought
        ("300", "300"),
        ("300.00", "300"),
        ("-0", "0"),
        ("+5", "5"),
        ("123456789012.123456789", "123456789012.123456789"),  # X7: no binary fraction anywhere
    ],
)
def test_a_number_has_one_canonical_form(text: str, expected: str) -> None:
    assert str(decimal(text)) == expected


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("1,200", "can be 1200 or 1.200"),
        ("1.234,5", "has thousands separators"),
        ("1,234.5", "has thousands separators"),
        ("1 234", "has thousands separators"),
        ("1\u202f234", "has thousands separators"),
        ("1'234", "has thousands separators"),
        ("6.8 l", "has a unit in the cell; write the number alone, in bar"),
        ("300bar", "has a unit in the cell"),
        ("20%", "has a unit in the cell"),
        ("1e5", "has an exponent; write the number out"),
        ("nan", "is not a number"),
        ("Infinity", "is not a number"),
        ("∞", "is not a number"),
        ("−5", "is not a number"),
        ("5-6", "is not a number"),
        ("٣", "is not a number"),
        ("1_000", "is not a number"),
        ("?", "leave the cell empty if not known"),
        ("", "is empty"),
    ],
)
def test_a_number_that_could_be_misread_is_refused(text: str, words: str) -> None:
    assert words in remedy(lambda cell: decimal(cell, "bar"), text)


def test_a_measure_keeps_to_its_ends_and_places() -> None:
    assert TARE.read("0.1") == Decimal("0.1")
    assert TARE.read("200") == 200
    assert "is not between 0.1 and 200 kg" in remedy(TARE.read, "200.1")
    assert "is finer than 3 places" in remedy(TARE.read, "4.0001")
    assert TARE.read("4.0010000") == Decimal("4.001")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("15.0", "is not a whole number; write whole years"),
        ("0", "is not between 1 and 60 years"),
        ("61", "is not between 1 and 60 years"),
        ("15 years", "has a unit in the cell"),
        ("-3", "is not a whole number"),
    ],
)
def test_a_whole_number_is_refused_with_its_ends(text: str, words: str) -> None:
    assert words in remedy(lambda cell: whole(cell, 1, 60, "years"), text)


@pytest.mark.parametrize(
    "text",
    ["00123", "a1", "A1", "12E5", "1E5", "A.B/C-1 #2", "Ünï-9", "АБВ-1", "ΩΔ1", "-17", "Ü" * 64],
)
def test_a_code_is_kept_to_the_letter(text: str) -> None:
    assert code(text) == text


def test_a_code_has_one_form_of_each_letter() -> None:
    assert code("E\u0301-1") == "É-1"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("1.2E+11", "a spreadsheet has rounded"),
        ("1,2E+11", "a spreadsheet has rounded"),
        ("1.23456789012346e+15", "a spreadsheet has rounded"),
        ("АB12", "mixes Latin and Cyrillic letters: character 1 is CYRILLIC CAPITAL LETTER A"),
        ("AΒ12", "mixes Latin and Greek letters: character 2 is GREEK CAPITAL LETTER BETA"),
        ("12-сх-a", "character 4 is CYRILLIC SMALL LETTER ES, character 5 is CYRILLIC SMALL"),
        ("A–12", "character 2 is EN DASH"),
        ("A−12", "character 2 is MINUS SIGN"),
        ("A\u00a012", "character 2 is NO-BREAK SPACE"),
        ("A\u200b12", "character 2 is ZERO WIDTH SPACE"),
        ("A\u202e12", "character 2 is RIGHT-TO-LEFT OVERRIDE"),
        ("A\n12", "character 2 is a line break"),
        ("A\x0712", "character 2 is the unseen character U+0007"),
        ("１２", "character 1 is FULLWIDTH DIGIT ONE"),
        ("٣٤", "character 1 is ARABIC-INDIC DIGIT THREE"),
        ("\u2013" * 9, "EN DASH, 4 more"),
        ("'00123", "begins with an apostrophe"),
        ("x" * 65, "has 65 characters; write 64 at most"),
    ],
)
def test_a_code_that_no_barcode_would_match_is_refused(text: str, words: str) -> None:
    assert words in remedy(code, text)


def test_a_name_may_be_of_two_alphabets_but_no_word_of_it() -> None:
    assert name("Завод Alpha & Söhne – ½ ″") == "Завод Alpha & Söhne – ½ ″"
    assert "mixes Latin and Cyrillic" in remedy(name, "Zаvod Alpha")
    assert "a line break" in remedy(name, "one\ntwo")
    assert "write 200 at most" in remedy(name, "x" * 201)


def test_a_word_is_taken_in_any_capitals_and_the_nearest_is_offered() -> None:
    words = Vocabulary({"pass", "fail", "condemned"}, "an outcome")
    assert words.pick("Pass") == "pass"
    assert remedy(words.pick, "passed") == "is not an outcome; write pass if that is meant"
    assert remedy(words.pick, "ok") == "is not an outcome; write one of condemned, fail, pass"


def test_an_exact_word_is_taken_only_as_it_is() -> None:
    codes = Vocabulary({"NORTH", "SOUTH"}, "a site", exact=True)
    assert codes.pick("NORTH") == "NORTH"
    assert "write NORTH if that is meant" in remedy(codes.pick, "NORTh")


def test_a_long_list_of_unknown_words_is_not_compared_for_ever() -> None:
    words = Vocabulary({f"site {number}" for number in range(30)}, "a site")
    said = [remedy(words.pick, f"sites {number}") for number in range(250)]
    assert said[0] == "is not a site; write site 0 if that is meant"
    assert said[-1] == "is not a site; check the spelling"


@pytest.mark.parametrize("text", ["1" * 100_000, "(01)" * 25_000, "1," * 50_000, "é" * 100_000])
@pytest.mark.parametrize(
    "parse", [day, month_or_day, decimal, code, name, lambda text: whole(text, 1, 9, "years")]
)
def test_a_very_long_text_is_refused(parse: Callable[[str], object], text: str) -> None:
    """B22: no pattern here can take longer than the text is long."""
    assert remedy(parse, text)

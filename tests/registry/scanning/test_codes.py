"""What scanned codes say: more than forty strings, and laws over any text. D2, D4 to D9."""

import time
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry.scanning.pure.code import read_code
from registry.scanning.pure.gs1 import Element
from registry.scanning.pure.layouts import layout_guesses

DICTIONARY = "GS1 Syntax Dictionary: 8003 N1,zero N13,csum [X..16]; 8004 X..30; 01 N14,csum"
GENERAL = "GS1 General Specifications, 7.8 FNC1 as separator"
AIM = "ISO/IEC 15424, symbology identifiers"
PREFIX_952 = "GS1 prefix 952 is kept for examples; check digit 9 of 952123456789 worked by hand"
OURS = "common practice: what a tag holds is kept"
LINK = "GS1 Digital Link: /ai/value/ai/value in the path"
GTIN = "09521234567899"


@pytest.mark.parametrize(
    ("text", "marks", "source"),
    [
        ("00123", ("00123",), OURS),
        ("123", ("123",), OURS),
        ("m-040", ("m-040",), OURS),
        ("M-040", ("M-040",), OURS),
        (" 00123 ", ("00123",), OURS),
        ("00123\r", ("00123",), OURS),
        ("00123\r\n", ("00123",), OURS),
        ("00123\t", ("00123",), OURS),
        ("", (), OURS),
        ("]C000123", ("00123",), AIM),
        ("]A000123", ("00123",), AIM),
        ("]Q100123", ("00123",), AIM),
        ("]d100123\r\n", ("00123",), AIM),
        ("]C1800400123", ("800400123", "(8004)00123", "00123"), AIM),
        ("]d2800400123", ("800400123", "(8004)00123", "00123"), AIM),
        ("]Q3800400123", ("800400123", "(8004)00123", "00123"), AIM),
        ("8004ABC-1", ("8004ABC-1", "(8004)ABC-1", "ABC-1"), DICTIONARY),
        ("(8004)ABC-1", ("(8004)ABC-1", "8004ABC-1", "ABC-1"), DICTIONARY),
        (
            f"8003{GTIN}1234",
            (f"8003{GTIN}1234", f"(8003){GTIN}1234", f"{GTIN}1234"),
            DICTIONARY,
        ),
        (
            f"(8003){GTIN}0012",
            (f"(8003){GTIN}0012", f"8003{GTIN}0012", f"{GTIN}0012"),
            DICTIONARY,
        ),
        (f"01{GTIN}21ABC", (f"01{GTIN}21ABC", f"(01){GTIN}(21)ABC"), PREFIX_952),
        (f"(01){GTIN}(21)ABC", (f"(01){GTIN}(21)ABC", f"01{GTIN}21ABC"), PREFIX_952),
        (f"]d201{GTIN}21ABC\x1d17260200", (f"(01){GTIN}(21)ABC", f"01{GTIN}21ABC"), GENERAL),
        (f"]C101{GTIN}1726020021ABC", None, GENERAL),
        (f"\x1d01{GTIN}21ABC", (f"(01){GTIN}(21)ABC", f"01{GTIN}21ABC"), GENERAL),
        (
            f"01{GTIN}21ABC<GS>17260200",
            (f"01{GTIN}21ABC<GS>17260200", f"(01){GTIN}(21)ABC", f"01{GTIN}21ABC"),
            GENERAL,
        ),
        (
            f"(01){GTIN}(21)ABC(17)260200",
            (f"(01){GTIN}(21)ABC(17)260200", f"(01){GTIN}(21)ABC", f"01{GTIN}21ABC"),
            GENERAL,
        ),
        ("(8004)A(B", ("(8004)A(B", "8004A(B", "A(B"), DICTIONARY),
        (
            "https://id.example/8004/M-040",
            ("https://id.example/8004/M-040", "(8004)M-040", "8004M-040", "M-040"),
            LINK,
        ),
        (
            f"HTTPS://id.example/a/01/{GTIN}/21/A%2FB?17=260200",
            (
                f"HTTPS://id.example/a/01/{GTIN}/21/A%2FB?17=260200",
                f"(01){GTIN}(21)A/B",
                f"01{GTIN}21A/B",
            ),
            LINK,
        ),
        (
            "https://example.org/things/00123/",
            ("https://example.org/things/00123/", "00123"),
            "common practice: the last part of an address names the thing",
        ),
        ("http://[broken", ("http://[broken",), OURS),
        ("8004", ("8004",), OURS),  # four digits are a tag before they are an identifier
        ("80030123", ("80030123",), OURS),
        ("0112", ("0112",), OURS),
        ("](", ("](",), OURS),
        ("Maske-Ü7", ("Maske-Ü7",), OURS),
    ],
)
def test_a_code_gives_these_marks(text: str, marks: tuple[str, ...] | None, source: str) -> None:
    scan = read_code(text)
    wanted = marks or (text[3:], f"(01){GTIN}(21)ABC", f"01{GTIN}21ABC")
    assert scan.marks == (wanted if text else ()), source
    assert scan.problem == ""


@pytest.mark.parametrize(
    ("text", "says", "offers", "source"),
    [
        (f"(8003){GTIN}", "names a kind of asset", (), DICTIONARY),
        (f"8003{GTIN}", "names a kind of asset", (), DICTIONARY),
        (f"01{GTIN}", "no serial number", (), DICTIONARY),
        ("(8003)095212345678981234", "would have to end in 9", (), DICTIONARY),
        ("01095212345678982112", "would have to end in 9", (), DICTIONARY),
        ("(8003)195212345678991234", "is not a GS1 element", (), DICTIONARY + ", leading zero"),
        ("(8004)" + "A" * 31, "can't stand behind (8004)", (), DICTIONARY),
        ("]C18004" + "A" * 31, "the separator behind it was lost", (), GENERAL),
        (f"]C101{GTIN}21" + "A" * 21, "the separator behind it was lost", (), GENERAL),
        (
            f"01{GTIN}21ABC17260200",
            "a separator may have been lost",
            ("(21)ABC17260200", "(21)ABC(17)260200"),
            GENERAL,
        ),
        (
            f"8004ABC8003{GTIN}9",
            "a separator may have been lost",
            (f"(8004)ABC8003{GTIN}9", f"(8004)ABC(8003){GTIN}9"),
            GENERAL,
        ),
        ("(17)260231(8004)A", "is not a GS1 element", (), "31 February is no day"),
        ("(8004)A(8004)B", "twice with different values", (), GENERAL),
        (
            f"(8004)A(01){GTIN}",
            "scan a code for one thing",
            ("(8004)A", f"(01){GTIN}"),
            GENERAL,
        ),
        ("(17)260200", "names no single thing", (), DICTIONARY),
        ("(9999)A", "can't stand behind (9999)", (), DICTIONARY),
        ("(01)", "is not a GS1 element", (), DICTIONARY),
        ("https://example.org/", "a web address without a mark", (), LINK),
        ("A\x07B", "can't be printed", ("AB",), OURS),
        ("1" * 2001, "2001 characters are no tag", (), OURS),
    ],
)
def test_a_code_that_names_no_one_thing_says_why(
    text: str, says: str, offers: tuple[str, ...], source: str
) -> None:
    scan = read_code(text)
    assert says in scan.problem, source
    assert scan.offers == offers, source
    assert set(scan.marks) <= {scan.text}, source


def test_a_serial_beside_a_product_number_is_offered_and_never_taken() -> None:
    """Two makers may use one serial; the number beside it is not in the register."""
    assert read_code(f"(01){GTIN}(21)S-00123").offers == ("S-00123",)


@pytest.mark.parametrize(
    ("ai", "value", "year", "day"),
    [
        ("17", "260200", 2026, date(2026, 2, 28)),
        ("17", "280200", 2026, date(2028, 2, 29)),
        ("11", "261125", 2026, date(2026, 11, 25)),
        ("11", "990131", 2026, date(1999, 1, 31)),
        ("11", "760101", 2026, date(2076, 1, 1)),
        ("11", "770101", 2026, date(1977, 1, 1)),
        ("11", "010101", 2099, date(2101, 1, 1)),
    ],
)
def test_a_date_with_day_00_is_the_last_of_its_month(
    ai: str, value: str, year: int, day: date
) -> None:
    """GS1 General Specifications 7.12 (memory): day 00, and the century within 50 years."""
    assert Element(ai, "date", value).on(year) == day
    assert Element("21", "serial", value).on(year) is None


def test_signs_that_cannot_be_printed_are_shown_one_by_one() -> None:
    assert read_code("A\x07 B").signs == ("A", "[control character, U+0007]", " ", "B")
    assert read_code("A\x1dB").signs[1] == "[group separator, U+001D]"
    assert read_code("A\u200bB").signs[1] == "[zero width space, U+200B]"


@pytest.mark.parametrize(
    ("read", "printed", "because"),
    [
        ("Mß040", "M-040", "German"),
        ("M/040", "M-040", "US layout under a German scanner"),
        ("M'040", "M-040", "Swiss"),
        ("YK-1", "ZK-1", "Y and Z"),
        ("m-040", "M-040", "Caps Lock was on"),
        (")M", "-M", ""),
        ("?)à'à", "M-040", "French"),
        ("M+040", "M-040", "Nordic"),
    ],
)
def test_another_keyboard_layout_is_noticed(read: str, printed: str, because: str) -> None:
    guesses = {guess.text: guess.because for guess in layout_guesses(read)}
    assert because in guesses[printed]
    assert read not in guesses
    assert read_code(read).marks == (read,)  # what was read stays what was read


@given(st.text(max_size=300))
def test_any_text_is_answered_and_printable_text_is_kept(text: str) -> None:
    scan = read_code(text)
    for mark in scan.marks:
        assert mark.isprintable()
    if text.isprintable() and text == text.strip() and text and not text.startswith("]"):
        assert scan.marks[0] == text == scan.text


@given(st.text("0123456789ABC()/\x1d", max_size=120))
def test_any_text_of_digits_brackets_and_separators_is_answered(text: str) -> None:
    for prefix in ("", "]C1", "(8004)", "8003", "01", "https://x.example/"):
        read_code(prefix + text)


@pytest.mark.parametrize(
    "text", ["1" * 100_000, "(01)" * 25_000, "8004" + "01" * 998, "\x1d" * 2000, "%41" * 30_000]
)
def test_a_long_text_is_answered_within_100_ms(text: str) -> None:
    start = time.perf_counter()
    read_code(text)
    assert time.perf_counter() - start < 0.1


def test_a_message_shows_no_sign_that_cannot_be_printed() -> None:
    assert read_code("(01)x\x07y").problem.isprintable()
    assert read_code("(8004)A1\x1d").marks == ("(8004)A1", "8004A1", "A1")

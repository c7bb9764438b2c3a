"""Tags, serials and names: text that must stay as it is, down to the leading zero.

A code is refused rather than repaired where a spreadsheet or a keyboard has changed it in a
way that nobody sees: the barcode on the item would never match it.
"""

import re
import unicodedata
from collections.abc import Iterable

from registry.cells.pure.values import ValueProblem
from registry.lettering.pure import signs_named, unprintable

LONGEST_CODE = 64
LONGEST_NAME = 200
NAMED = 5
"""So many odd characters are named in one message."""

ROUNDED = re.compile(r"[+-]?\d{1,3}(?:[.,]\d{0,15})?[eE]\+\d{1,3}", re.ASCII)
PLAIN = re.compile(r"[A-Za-z0-9 ._/#:-]*")
"""What most codes are made of; an apostrophe or a plus sign may come from a spreadsheet."""
ALPHABETS = ("LATIN", "CYRILLIC", "GREEK")
INVISIBLE = ("Cc", "Cf", "Cn", "Co", "Cs", "Zl", "Zp")


def code(text: str, longest: int = LONGEST_CODE) -> str:
    """Return a tag or serial as it is written, in Unicode's composed form (NFC).

    Raises ValueProblem for what a spreadsheet has rounded, for characters that can't be seen
    or that only look like plain ones, and for a mixture of alphabets.
    """
    if len(text) <= longest and PLAIN.fullmatch(text):
        return text
    text = unicodedata.normalize("NFC", text)
    if len(text) > longest:
        raise ValueProblem(f"has {len(text)} characters; write {longest} at most")
    if ROUNDED.fullmatch(text):
        raise ValueProblem(
            "is a number that a spreadsheet has rounded; format the column as text and type "
            "the code again"
        )
    if text.startswith("'"):
        raise ValueProblem("begins with an apostrophe, a spreadsheet's mark for text; take it off")
    _refuse_odd(text, _look_alikes(text), "type plain letters, figures, hyphens and spaces")
    _refuse_mixture(text)
    _refuse_unprintable(text)
    return text


def name(text: str, longest: int = LONGEST_NAME) -> str:
    """Return a name or a short text in one line, in composed form (NFC).

    Raises ValueProblem for line breaks and other characters that can't be seen, and for words
    that mix alphabets.
    """
    if text.isascii() and text.isprintable() and len(text) <= longest:
        return text
    text = unicodedata.normalize("NFC", text)
    if len(text) > longest:
        raise ValueProblem(f"has {len(text)} characters; write {longest} at most")
    _refuse_odd(text, _unseen(text), "write it in one line and without them")
    for word in text.split():
        _refuse_mixture(word)
    _refuse_unprintable(text)
    return text


def note(text: str) -> str:
    """Return a text of any number of lines, in composed form (NFC).

    Raises ValueProblem for characters that can't be seen, other than line breaks and tabs.
    """
    if not text.isprintable():
        places = (at for at in _unseen(text) if text[at] not in "\r\n\t")
        _refuse_odd(text, places, "take them out")
    text = unicodedata.normalize("NFC", text)
    _refuse_unprintable(text)
    return text


def _unseen(text: str) -> Iterable[int]:
    return (at for at, letter in enumerate(text) if unicodedata.category(letter) in INVISIBLE)


def _look_alikes(text: str) -> Iterable[int]:
    """Yield where a character can't be seen, or looks like a plain one and isn't."""
    for at, letter in enumerate(text):
        if letter.isascii() and letter.isprintable():
            continue
        category = unicodedata.category(letter)
        wide = unicodedata.name(letter, "").startswith(("FULLWIDTH", "MATHEMATICAL"))
        if category in (*INVISIBLE, "Pd", "Zs") or letter.isdigit() or letter == "−" or wide:
            yield at


def _refuse_odd(text: str, places: Iterable[int], remedy: str) -> None:
    if named := _named(text, places):
        raise ValueProblem(f"holds unusual characters ({named}); {remedy}")


def _refuse_unprintable(text: str) -> None:
    if lacking := unprintable(text):
        raise ValueProblem(f"holds what paper can't show: {signs_named(lacking)}; write it without")


def _refuse_mixture(text: str) -> None:
    """Refuse letters of two alphabets side by side: Cyrillic А and Latin A look the same."""
    alphabets = [unicodedata.name(letter, "").partition(" ")[0] for letter in text]
    used = [alphabet for alphabet in ALPHABETS if alphabet in alphabets]
    if len(used) > 1:
        odd = (at for at, alphabet in enumerate(alphabets) if alphabet in used[1:])
        raise ValueProblem(
            f"mixes {' and '.join(map(str.title, used))} letters: {_named(text, odd)}; "
            "type it again in one alphabet"
        )


def _named(text: str, places: Iterable[int]) -> str:
    """Name characters one by one, as nobody can tell them by their looks."""
    named = [f"character {at + 1} is {_character(text[at])}" for at in places]
    more = [f"{len(named) - NAMED} more"] if len(named) > NAMED else []
    return ", ".join(named[:NAMED] + more)


def _character(letter: str) -> str:
    if letter in "\r\n":
        return "a line break"
    return unicodedata.name(letter, f"the unseen character U+{ord(letter):04X}")

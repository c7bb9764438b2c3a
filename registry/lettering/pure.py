"""The letters we have for paper, and so which signs a person may type.

One question with one answer: forms and lists refuse what `unprintable` names, and paper draws
what is left. The typefaces come with the packages they are installed from, and only the signs
that a document uses are put into it.
"""

import re
import unicodedata
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path
from threading import RLock

from arabic_reshaper import ArabicReshaper
from arabic_reshaper.letters import LETTERS_ARABIC
from bidi.algorithm import get_display
from bidi.mirror import MIRRORED

# The font objects are shared by all documents and cut their subset with a moving read position,
# so two threads may neither register nor save at the same moment.
FONT_LOCK = RLock()


class Face(StrEnum):
    """The typefaces; the value is the name reportlab knows them by."""

    REGULAR = "Neckring-Regular"
    SEMIBOLD = "Neckring-SemiBold"
    BOLD = "Neckring-Bold"
    HEBREW = "Neckring-Hebrew"
    ARABIC = "Neckring-Arabic"
    EAST_ASIAN = "Neckring-EastAsian"


WEIGHTS = (Face.REGULAR, Face.SEMIBOLD, Face.BOLD)
"""Latin, Greek and Cyrillic."""
FURTHER = (Face.HEBREW, Face.ARABIC, Face.EAST_ASIAN)
"""Asked in this order for what a weight lacks. One weight each, so bold is not told in them."""

_FILES = {
    Face.REGULAR: ("ttf_opensans", "ttf/OpenSans-Regular.ttf"),
    Face.SEMIBOLD: ("ttf_opensans", "ttf/OpenSans-SemiBold.ttf"),
    Face.BOLD: ("ttf_opensans", "ttf/OpenSans-Bold.ttf"),
    Face.HEBREW: ("fontpkg_arimo", "files/Arimo[wght].ttf"),
    Face.ARABIC: ("fontpkg_noto_sans_arabic", "files/NotoSansArabic[wdth,wght].ttf"),
    Face.EAST_ASIAN: ("paperang_p2_fonts_cjk", "fonts/wqy-microhei.ttc"),
}
"""In which package each lies, and where in it."""
# Not seen, or no sign of its own: a mark that stands on another letter can't be put in its
# place, but most letters with marks are one sign once they are composed.
_NO_SIGN = ("Cc", "Cf", "Cn", "Co", "Cs", "Zl", "Zp", "Mn", "Me", "Mc")
_LEFTWARDS = re.compile("[\u0590-\u08ff\ufb1d-\ufdff\ufe70-\ufefc]")
_ARABIC = re.compile("[\u0600-\u06ff\u0750-\u077f\u08a0-\u08ff]")
_SHAPES = ArabicReshaper({"delete_harakat": False, "delete_tatweel": False})


@dataclass(frozen=True, slots=True)
class _Letters:
    """What a typeface has: the width of each sign, in sizes."""

    em: dict[str, float]


def _file(face: Face) -> Path:
    """Return where a face lies; its package is found without running it."""
    package, within = _FILES[face]
    spec = find_spec(package)
    if spec is None or spec.origin is None:
        raise ModuleNotFoundError(package, name=package)
    return Path(spec.origin).parent / within


@cache
def _letters(face: Face) -> _Letters:
    """Return what is needed to measure a face, loading it at the first call."""
    with FONT_LOCK:
        # Loaded here: most commands draw nothing and read plain letters only, and shall start
        # without it.
        ttf = import_module("reportlab.pdfbase.ttfonts").TTFont(face, str(_file(face)))
        import_module("reportlab.pdfbase.pdfmetrics").registerFont(ttf)
    widths: dict[int, float] = ttf.face.charWidths
    glyphs: dict[int, int] = ttf.face.charToGlyph
    found = {chr(code): widths[code] / 1000 for code, glyph in glyphs.items() if glyph}
    seen = {s: w for s, w in found.items() if unicodedata.category(s) not in _NO_SIGN}
    return _Letters(seen)


def em(face: Face) -> dict[str, float]:
    """Return the signs that a face has itself, each with its width in sizes."""
    return _letters(face).em


def face_with(sign: str, first: Face) -> Face | None:
    """Return the face that draws a sign: the one that is asked for, or one that helps out."""
    return next((face for face in (first, *FURTHER) if sign in em(face)), None)


@cache
def _joins(letter: str) -> bool:
    """Say whether each shape of an Arabic letter, alone and joined, is there to be drawn."""
    forms = LETTERS_ARABIC.get(letter)
    if forms is None:
        return unicodedata.category(letter) != "Lo"
    return all(form in em(Face.ARABIC) for form in forms if form)


@cache
def _can_print(sign: str) -> bool:
    if _ARABIC.match(sign) and not _joins(sign):
        return False
    return face_with(sign, Face.REGULAR) is not None


def unprintable(text: str) -> tuple[str, ...]:
    """Return the signs of a text that no paper can show, each once, in their order.

    Letters are composed first. Line ends and tabs are no signs: they may be in a text.
    """
    if text.isascii() and text.isprintable():
        return ()
    composed = unicodedata.normalize("NFC", text)
    signs = (sign for sign in dict.fromkeys(composed) if sign not in "\r\n\t")
    return tuple(sign for sign in signs if not _can_print(sign))


def code_of(sign: str) -> str:
    """Return a sign's number, such as U+1F525."""
    return f"U+{ord(sign):04X}"


def signs_named(signs: tuple[str, ...], most: int = 3) -> str:
    """Return signs by their names, for somebody who may not see them."""
    names = [f"{unicodedata.name(sign, 'unseen').lower()} ({code_of(sign)})" for sign in signs]
    more = [f"{len(names) - most} more"] if len(names) > most else []
    return ", ".join(names[:most] + more)


def runs_leftwards(text: str) -> bool:
    """Say whether a text holds letters that are read from the right."""
    return not text.isascii() and _LEFTWARDS.search(text) is not None


def joined(text: str) -> str:
    """Return a printable text with its Arabic letters in the shapes they have side by side."""
    shaped: str = _SHAPES.reshape(text) if _ARABIC.search(text) else text
    return shaped


def as_seen(line: str, text: str) -> str:
    """Return one line of a joined text in the order in which it is seen, left to right.

    text: all of it, whose first letter says which way it runs.
    """
    if not runs_leftwards(line):
        return line
    ways = (unicodedata.bidirectional(sign) for sign in text)
    first = next((way for way in ways if way in ("L", "R", "AL")), "L")
    seen: str = get_display(line, base_dir="L" if first == "L" else "R")
    # A sign that opens on the left closes on the right; where no face has the other one of the
    # pair, the sign stays as it was typed.
    return "".join(sign if _can_print(sign) else MIRRORED.get(sign, sign) for sign in seen)

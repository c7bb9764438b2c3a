"""What a scanned code says: plain tags, AIM prefixes, GS1 element strings, web addresses.

Zeros in front, case and length are part of a mark and are kept. What has two readings is
refused with both on offer; nothing is guessed and nothing is ever opened.
"""

import re
import unicodedata
from dataclasses import dataclass, replace
from urllib.parse import unquote, urlsplit

from registry.scanning.pure import gs1

LONGEST = 2000
GS = "\x1d"
_AIM = re.compile(r"\]([A-Za-z])([0-9A-Za-z])")
_GS1_CARRIERS = {"C1", "d2", "Q3", "e0", "e1", "e2", "J1"}
_CARRIERS = {
    "A": "Code 39",
    "C": "Code 128",
    "E": "EAN",
    "F": "Codabar",
    "G": "Code 93",
    "I": "Interleaved 2 of 5",
    "J": "DotCode",
    "L": "PDF417",
    "Q": "QR code",
    "d": "Data Matrix",
    "e": "GS1 DataBar",
    "z": "Aztec",
}
_SEPARATORS = re.compile("\u241d|<GS>|\\{GS\\}|\\^\\]", re.IGNORECASE)
_BRACKETED = re.compile(r"\([0-9]{2,4}\)")
_WEB = re.compile(r"https?://", re.IGNORECASE)
_LIKE_GS1 = re.compile(r"(?:8003|8004|01[0-9]{14})")
_HARDLY_ELSE = re.compile(r"(?:80030[0-9]{13}|01[0-9]{14}(?:21|1[01357]|$))")


@dataclass(frozen=True, slots=True)
class Scan:
    """What was read.

    text: what the code holds, without the AIM prefix and the keys a scanner adds behind.
    carrier: the kind of code by its AIM prefix, where there was one. marks: texts by which
    one item may be found, the most literal first. offers: texts that come near; they are
    shown and never taken. elements: the parts of a GS1 code. problem: why the code does not
    name one thing, as sentences; then `marks` holds no more than the text itself.
    """

    text: str
    marks: tuple[str, ...] = ()
    offers: tuple[str, ...] = ()
    elements: tuple[gs1.Element, ...] = ()
    carrier: str = ""
    problem: str = ""

    @property
    def signs(self) -> tuple[str, ...]:
        """The text character by character, those that can't be printed by their code."""
        return tuple(_sign(one) for one in self.text)

    @property
    def is_printable(self) -> bool:
        """Whether every character can be shown as it is."""
        return self.text.isprintable()


def read_code(text: str) -> Scan:
    """Return what a scanned or typed text says. It never raises and never opens anything.

    The keys a scanner sends behind (Enter, Tab, carriage return and line feed) are taken
    off, and spaces around. A text of over 2000 characters is told to be too long.
    """
    if len(text) > LONGEST:
        return Scan(text[:200], problem=f"{len(text)} characters are no tag; scan one code only.")
    bare = text.strip("\r\n\t ")
    carrier, is_gs1 = "", False
    if aim := _AIM.match(bare):
        carrier = _CARRIERS.get(aim[1], "another kind of code")
        is_gs1 = aim[1] + aim[2] in _GS1_CARRIERS
        bare = bare[3:]
    scan = _read_bare(bare, is_gs1)
    return replace(scan, carrier=carrier)


def _read_bare(bare: str, is_gs1: bool) -> Scan:
    if _WEB.match(bare):
        return _read_web(bare)
    separated = _SEPARATORS.sub(GS, bare)
    surely = is_gs1 or GS in separated or bool(_BRACKETED.match(bare))
    if bare and (surely or _LIKE_GS1.match(bare)):
        return _read_gs1(bare, separated, surely)
    return _plain(bare)


def _plain(bare: str) -> Scan:
    if bare.isprintable():
        return Scan(bare, marks=(bare,) if bare else ())
    clean = "".join(one for one in bare if one.isprintable()).strip()
    return Scan(
        bare,
        offers=(clean,) if clean else (),
        problem="The code holds characters that can't be printed, so it is no tag as it stands.",
    )


def _read_gs1(bare: str, separated: str, surely: bool) -> Scan:
    """Read an element string; one that only looks like it stays a plain tag when it is none."""
    try:
        elements = gs1.elements_of(separated)
        identity = gs1.identity_of(elements)
    except gs1.Gs1Problem as problem:
        if not surely and not problem.readings and not _HARDLY_ELSE.match(bare):
            return _plain(bare)
        literal = (bare,) if bare.isprintable() else ()
        return Scan(bare, literal, problem.readings, problem=str(problem))
    return _named(bare, elements, identity)


def _named(bare: str, elements: tuple[gs1.Element, ...], identity: gs1.Identity | None) -> Scan:
    literal = (bare,) if bare.isprintable() else ()
    if identity is None:
        said = "The code has no serial or asset number in it, so it names no single thing."
        return Scan(bare, literal, elements=elements, problem=said)
    if identity.kind_only:
        said = (
            f"The code names a kind of asset, {identity.bracketed}, and not one thing: it has no "
            "serial number. Scan the mark of the item itself."
        )
        return Scan(bare, literal, elements=elements, problem=said)
    marks = dict.fromkeys((*literal, identity.bracketed, identity.plain, *identity.values))
    return Scan(bare, tuple(marks), identity.serials, elements)


def _read_web(bare: str) -> Scan:
    """Take the identifier out of a web address. The address itself is never opened."""
    if not bare.isprintable():
        return _plain(bare)
    try:
        parts = urlsplit(bare)
    except ValueError:
        return _plain(bare)
    path = [unquote(one) for one in parts.path.split("/") if one]
    for place in range(len(path) - 1):
        if path[place] in ("01", "8003", "8004"):
            return _read_link(bare, path[place:])
    last = path[-1].strip() if path else ""
    if not last or not last.isprintable():
        return Scan(bare, (bare,), problem="The code is a web address without a mark in it.")
    return Scan(bare, (bare, last))


def _read_link(bare: str, path: list[str]) -> Scan:
    """Read the GS1 Digital Link part of an address: /01/.../21/..., /8003/..., /8004/..."""
    pairs = zip(path[::2], path[1::2], strict=False)
    bracketed = "".join(f"({ai}){value}" for ai, value in pairs)
    return _read_gs1(bare, bracketed, surely=True)


def _sign(one: str) -> str:
    if one.isprintable():
        return one
    name = {"\x1d": "group separator", "\t": "tab", "\r": "return", "\n": "line feed"}.get(one)
    said = name or unicodedata.name(one, "control character").lower()
    return f"[{said}, U+{ord(one):04X}]"

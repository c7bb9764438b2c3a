"""Tags that somebody reads or types for one another: offered and asked about, never taken.

Two tags look alike where they differ in capitals, in zeros in front of a number, in hyphens
and spaces, or in signs that are read for each other: O and 0, I, L and 1, S and 5, B and 8,
letters of other alphabets that look like Latin ones.
"""

import re
import unicodedata

LONGEST = 64
"""So many characters of a reading are kept: as many as a tag has."""

# Letters of other alphabets that look like Latin ones; O is here because zeros depend on it.
_LETTERS = str.maketrans(
    "авекмнорстухіѕј" + "αβεζηικμνορτυχ" + "o", "abekmh0pctyxisj" + "abezhikmn0ptyx" + "0"
)
_FIGURES = str.maketrans("ilsb", "1158")
_BETWEEN = str.maketrans("", "", "-_. ")
_UNSEEN_OR_DASH = ("Pd", "Pc", "Zs", "Cc", "Cf")
_IN_FRONT = re.compile(r"(?<![0-9])0+(?=[0-9])")
_AT_THE_START = re.compile("^0+(?=.)")


def readings(tag: str) -> tuple[str, str]:
    """Return what is left of a tag for somebody who misreads it, in two readings.

    The first has no zeros in front of any of its numbers (S017 and S-17 are one), the second
    only none in front of the whole (S017 and 5017 are one). Both are empty for a tag of
    nothing but hyphens and spaces.
    """
    plain = _plain(tag).translate(_LETTERS)
    short = _IN_FRONT.sub("", plain).translate(_BETWEEN).translate(_FIGURES)
    whole = _AT_THE_START.sub("", plain.translate(_BETWEEN).translate(_FIGURES))
    return short[:LONGEST], whole[:LONGEST]


def look_alike(one: str, other: str) -> bool:
    """Say whether two tags may be read or typed for one another; a tag is like itself."""
    return bool(set(readings(one)) & set(readings(other)) - {""})


def difference(read: str, tag: str) -> str:
    """Return in what a text differs from the tag it looks like, in words."""
    if read.casefold() == tag.casefold():
        return "only capitals and small letters differ"
    if not (read.isascii() and tag.isascii()):
        return "letters and figures that look alike differ"
    one, other = _plain(read), _plain(tag)
    capitals = _letters_of(read) != _letters_of(tag)
    if one.translate(_BETWEEN) == other.translate(_BETWEEN):
        return f"only a hyphen or a space{' and capitals differ' if capitals else ' differs'}"
    if _without_zeros(one) == _without_zeros(other):
        return f"only zeros in front{' and capitals' if capitals else ''} differ"
    return "letters and figures that look alike differ"


def _letters_of(tag: str) -> str:
    return "".join(filter(str.isalpha, tag))


def _plain(tag: str) -> str:
    """Return a tag in small letters, wide ones made plain, with a hyphen for any dash or space."""
    if tag.isascii():
        return tag.casefold()
    composed = unicodedata.normalize("NFKC", tag).casefold()
    odd = (unicodedata.category(one) in _UNSEEN_OR_DASH for one in composed)
    return "".join("-" if between else one for one, between in zip(composed, odd, strict=True))


def _without_zeros(plain: str) -> str:
    return _IN_FRONT.sub("", plain).translate(_BETWEEN)

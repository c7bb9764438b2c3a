"""Wrong keyboard layouts: a scanner sends key positions, and the computer makes signs of them.

What a tag could have been is a suggestion. It is looked up and offered, never taken.
"""

from dataclasses import dataclass

LONGEST = 64


@dataclass(frozen=True, slots=True)
class Guess:
    """What a text could have been, and what would explain it."""

    text: str
    because: str


# On the left what was read, on the right the key of a US layout in the same place.
_LAYOUTS: tuple[tuple[str, dict[int, int]], ...] = (
    ("a German layout", str.maketrans("ß-zyZY?_", "-/yzYZ_?")),
    ("a US layout under a German scanner", str.maketrans("/-zyZY", "-ßyzYZ")),
    ("a Swiss layout", str.maketrans("'-zyZY", "-/yzYZ")),
    ("a Spanish, Italian or Portuguese layout", str.maketrans("'-", "-/")),
    ("a Nordic layout", str.maketrans("+-", "-/")),
    ("a French layout", str.maketrans("&é\"'(-è_çà)aqzwAQZW,?", "1234567890-qawzQAWZmM")),
)


def layout_guesses(text: str) -> tuple[Guess, ...]:
    """Return what a text could have been under another layout or with Caps Lock on.

    Each differs from the text and from the others. A text of over 64 characters has none.
    """
    if not text or len(text) > LONGEST:
        return ()
    found: dict[str, str] = {}
    for name, table in _LAYOUTS:
        moved = text.translate(table)
        found.setdefault(moved, f"the scanner and the computer differ: {name}")
        found.setdefault(moved.swapcase(), f"Caps Lock was on and the layouts differ: {name}")
    found.setdefault(text.translate(str.maketrans("yzYZ", "zyZY")), "Y and Z are swapped")
    for wrong in "'/ßé)+":
        if wrong in text:
            found.setdefault(text.replace(wrong, "-"), f"{wrong} was read for -")
    found.setdefault(text.swapcase(), "Caps Lock was on")
    found.pop(text, None)
    return tuple(Guess(one, because) for one, because in found.items())

"""What the trail says, in words and in cells."""

import json
from collections.abc import Mapping
from dataclasses import dataclass

UNITS = {"bar": "bar", "l": "L", "kg": "kg", "ml": "mL", "years": "years"}
"""The last words of attributes' names, and how the unit is written."""
STARTS_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")
"""What a cell must not begin with: spreadsheets would compute it, full-width signs too."""


@dataclass(frozen=True, slots=True)
class Told:
    """One value that changed, in words; empty where there was or is none."""

    name: str
    was: str
    becomes: str


def told(before: str, after: str) -> list[Told]:
    """Return what an entry of the trail changed, value by value, in words.

    before, after: the JSON texts of the entry.
    """
    was, becomes = _read(before), _read(after)
    return [
        Told(_named(name), _worded(name, was.get(name)), _worded(name, becomes.get(name)))
        for name in dict.fromkeys([*becomes, *was])
    ]


def safe_cell(text: str) -> str:
    """Return a text that no spreadsheet computes: an apostrophe in front where it would."""
    return f"'{text}" if text.startswith(STARTS_FORMULA) else text


def _read(text: str) -> dict[str, object]:
    found: dict[str, object] = json.loads(text) if text else {}
    return found


def _named(name: str) -> str:
    if " " in name:
        return name  # words already
    words = name.replace("_", " ").replace("-", " ").split(" ")
    return " ".join(words[:-1] if len(words) > 1 and words[-1] in UNITS else words)


def _worded(name: str, value: object) -> str:
    if value is None or value == "":
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return ", ".join(_worded("", held) for held in value)
    if isinstance(value, Mapping):
        return ", ".join(f"{_named(str(n))} {_worded('', held)}" for n, held in value.items())
    unit = UNITS.get(name.rpartition("_")[2], "") if "_" in name else ""
    return f"{value} {unit}".strip()

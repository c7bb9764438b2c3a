"""What the trail says, in words and in cells."""

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from registry.wording.pure.dates import day_words

UNITS = {"bar": "bar", "l": "L", "kg": "kg", "ml": "mL", "years": "years"}
"""The last words of attributes' names, and how the unit is written."""

_DAY = re.compile(r"\b\d{4}-\d{2}-\d{2}\b")
_DIGEST = re.compile(r"\b([0-9a-f]{12})[0-9a-f]{52}\b")


@dataclass(frozen=True, slots=True)
class FieldChange:
    """One value that changed, in words; empty where there was or is none."""

    name: str
    was: str
    becomes: str


def field_changes(before: str, after: str) -> list[FieldChange]:
    """Return what an entry of the trail changed, value by value, in words.

    before, after: the JSON texts of the entry.
    """
    was, becomes = _read(before), _read(after)
    return [
        FieldChange(_named(name), _worded(name, was.get(name)), _worded(name, becomes.get(name)))
        for name in dict.fromkeys([*becomes, *was])
    ]


def for_eyes(text: str) -> str:
    """Return a text of the trail with days in words and digests cut short.

    The list (CSV) and the export keep both whole.
    """
    return _DIGEST.sub(lambda found: f"{found[1]}…", _DAY.sub(_day, text))


def _day(found: re.Match[str]) -> str:
    try:
        return day_words(date.fromisoformat(found[0]))
    except ValueError:
        return found[0]


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

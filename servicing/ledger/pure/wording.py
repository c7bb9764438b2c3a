"""How readings are said to people. What the ledger holds stays as it was entered."""

import re

from servicing.ledger.pure.entry import PASS, Reading
from servicing.rules.pure.tasks import EVENTS, STANDING_TASKS

UNIT_SUFFIXES = {
    "bar_per_min": "bar/min",
    "mbar_per_min": "mbar/min",
    "l_per_min": "L/min",
    "mg_m3": "mg/m³",
    "percent": "%",
    "mbar": "mbar",
    "bar": "bar",
    "psi": "psi",
    "ppm": "ppm",
    "ml": "mL",
    "kg": "kg",
    "s": "s",
}
"""Ends of reading names in imported lists, and the unit each stands for. The longest goes first."""

NOTED = "noted"
"""The outcome of what happened to an item or was decided about it: a blow does not pass."""

_GASES = {"co2": "CO2", "co": "CO", "o2": "O2"}
_UNITS = {"degC": "°C", "degF": "°F", "mg/m3": "mg/m³"}
_UNIT = re.compile("|".join(_UNITS))


def words(value: str) -> str:
    """Return a word of the contracts with its hyphens as spaces: periodic inspection."""
    return str(value).replace("-", " ")


def name_and_value(reading: Reading) -> tuple[str, str]:
    """Return a reading's name in words, and its value as typed with the unit.

    Lists carry the unit in the name: leak_mbar_per_min 0.3 is said as leak, 0.3 mbar/min.
    """
    name, unit = reading.name, reading.unit
    if not unit:
        ends = (end for end in UNIT_SUFFIXES if name.lower().endswith(f"_{end}"))
        if end := next(ends, ""):
            name, unit = name[: -len(end) - 1], UNIT_SUFFIXES[end]
    words = [_GASES.get(word.lower(), word) for word in re.split("[-_ ]+", name)]
    return " ".join(words), in_signs(with_unit(reading.typed, unit))


def with_unit(typed: str, unit: str) -> str:
    """Return a value as typed with its unit once: who typed `0.4 mm` said it already.

    The one place where a reading gets its unit in words.
    """
    text = typed.strip()
    says_it = any(sign.isalpha() or sign in '%°"' for sign in text)
    return text if says_it else f"{text} {unit}".rstrip()


def outcome_in_words(task: str, outcome: str) -> str:
    """Return an outcome as pages and papers say it; the ledger has pass for events too."""
    return NOTED if outcome == PASS and task in EVENTS | STANDING_TASKS else outcome


def in_signs(text: str) -> str:
    """Return a text about readings with its units as printed: °C for degC, mg/m³ for mg/m3."""
    return _UNIT.sub(lambda found: _UNITS[found[0]], text)

"""Tables that take the rows of another along, so that a row stands once and counts once."""

import re
from collections.abc import Mapping
from typing import Any

WORD = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)*")
"""How tables, rows, tasks and events are named."""


def included_faults(raw: Mapping[str, Any]) -> list[tuple[str, str, str]]:
    """Return (key, value, remedy) of what is wrong with the key `includes` of a table file."""
    if "includes" not in raw:
        return []
    names = raw["includes"]
    if not isinstance(names, list) or not names or not all(isinstance(one, str) for one in names):
        return [("includes", str(names), 'must be a list of tables such as ["us-own-cylinders"]')]
    faults = [
        ("includes", name, "is not a name; use small letters, digits and hyphens")
        for name in names
        if not WORD.fullmatch(name)
    ]
    if raw.get("table") in names:
        faults.append(("includes", str(raw["table"]), "is the table itself; take it out"))
    if twice := sorted({name for name in names if names.count(name) > 1}):
        faults.append(("includes", twice[0], "is named twice; name it once"))
    return faults

"""Tables that take the rows of another along, so that a row stands once and counts once."""

import re
from collections.abc import Iterable, Mapping
from typing import Any

from servicing.rules.pure.rule import Rule, Table

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


def with_included(tables: Iterable[Table]) -> dict[str, tuple[Rule, ...]]:
    """Return what a site that follows a table falls under, by the table's name.

    The table's own rows, then those of the tables it includes; each row keeps the name of the
    table in which it stands. Raises KeyError where an included table is not among them.
    """
    by_name = {table.name: table for table in tables}
    return {
        name: (
            *table.rules,
            *(rule for other in table.includes for rule in by_name[other].rules),
        )
        for name, table in by_name.items()
    }

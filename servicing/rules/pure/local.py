"""Rules that managers make on screen: what such a row may say so that it can only shorten.

The engine takes the earliest of all candidates (due/README 4), so one more row can only
bring a date forward. Three keys could undo that and are refused: `satisfied_by` (a lesser
task would bring a failed item back into service), `level` law or standard (nobody makes
those on screen), and `valid_until` (a rule ends by a decision of its own). A clock of its own
(`due`, `clock`) moves no other row's date.
"""

import re
from collections.abc import Mapping
from datetime import date
from enum import StrEnum
from typing import Any

from servicing.rules.pure.durations import Duration, DurationProblem
from servicing.rules.pure.rule import Level
from servicing.rules.pure.tables import RESERVED, row_faults

LEVELS = (Level.MAKER, Level.LOCAL)
KEYS = frozenset(
    {
        "id",
        "task",
        "level",
        "when",
        "every",
        "calendar",
        "after",
        "life",
        "from",
        "notice",
        "source",
        "seen",
        "edition",
        "checked_on",
        "note",
        "valid_from",
        "due",
        "clock",
        "bars",
    }
)
CAUTION = (
    "Rules made here by the fleet itself: each was asked for by one manager and approved by "
    "another. They only shorten; the published tables go on counting beside them."
)


class Act(StrEnum):
    """What a proposal asks for: a new rule, another in the place of one, or the end of one."""

    ADD = "add"
    CHANGE = "change"
    END = "end"


def table_name(site_code: str) -> str:
    """Return the name of a site's own table. No file can carry it."""
    return f"{RESERVED}{site_code}"


def rule_id(site_code: str, number: int) -> str:
    """Return the id of a local rule; the proposal's number makes it unique."""
    word = "-".join(re.findall(r"[a-z0-9]+", site_code.lower())) or "site"
    return f"{RESERVED}{word}-{number}"


def notice_for(row: Mapping[str, Any]) -> str:
    """Return how long before the date a local row gives notice, as the tables of the house do.

    A life a year; from two years on three months; up to a month a week; else a month.
    """
    if "life" in row:
        return "P1Y"
    try:
        span = Duration.parse(row.get("every", "P1M"))
    except DurationProblem:
        return "P1M"
    if span.months >= 24:
        return "P3M"
    return "P1W" if span.months <= 1 else "P1M"


def local_faults(row: Mapping[str, Any]) -> list[tuple[str, object, str]]:
    """Return (key, value, remedy) for all that keeps a row from being a local rule."""
    faults = row_faults(row)
    faults += [
        (key, row[key], "can't stand in a local rule: it could lengthen; take it out")
        for key in sorted(row.keys() - KEYS)
    ]
    if "bars" not in row:
        faults.append(("bars", "", "is missing; a local rule says for itself what it bars"))
    if row.get("level") not in LEVELS:
        faults.append(("level", row.get("level"), "must be maker or local"))
    if row.get("life") == "as-marked":
        faults.append(("life", "as-marked", "must be a number of years in a local rule"))
    faults += [
        (key, "", "is missing; a local rule needs it")
        for key in ("edition", "checked_on", "valid_from")
        if not row.get(key)
    ]
    return faults


def ended(row: Mapping[str, Any], on: date) -> dict[str, Any] | None:
    """Return the row as it stands once it ends on a day (exclusive), or None if it never began."""
    begins = row["valid_from"]
    begins = begins if isinstance(begins, date) else date.fromisoformat(begins)
    return None if on <= begins else {**row, "valid_until": on}

"""What being overdue forbids, for each row: use, filling, both, or nothing but a line on the list.

A row says it by `bars`, with `bars_by`, the text that says so; a row that doesn't say it
bars by the rank of its source.
"""

from collections.abc import Mapping
from enum import StrEnum
from typing import Any

LIFE = "service-life"
FULL_OR_NOT = "pressure-check"
"""Asks whether a cylinder is full; filling it is the answer, so it can't stand in the way."""


class Bars(StrEnum):
    """What a row forbids once it is overdue, or nobody knows its date."""

    BOTH = "use-and-filling"
    FILLING = "filling"
    USE = "use"
    NOTHING = "nothing"

    @property
    def use(self) -> bool:
        """Whether the item is not ready to be used."""
        return self in (Bars.BOTH, Bars.USE)

    @property
    def filling(self) -> bool:
        """Whether a cylinder is not filled, and none from a compressor."""
        return self in (Bars.BOTH, Bars.FILLING)

    def __or__(self, other: object) -> "Bars":
        if not isinstance(other, Bars):
            return NotImplemented
        return _of(use=self.use or other.use, filling=self.filling or other.filling)


def _of(*, use: bool, filling: bool) -> Bars:
    if use:
        return Bars.BOTH if filling else Bars.USE
    return Bars.FILLING if filling else Bars.NOTHING


_WORDS = {
    Bars.BOTH: "bars use and filling",
    Bars.FILLING: "bars filling, not use",
    Bars.USE: "bars use, not filling",
    Bars.NOTHING: "bars nothing: it warns",
}


def bars_words(bars: Bars) -> str:
    """Return what a row bars, in words."""
    return _WORDS[bars]


def bars_by_rank(row: Mapping[str, Any]) -> Bars:
    """Return what a row bars that does not say it.

    The end of a life bars everything, whoever tells it: it drops all tasks that would fall
    due after it. What happened bars everything until it is dealt with: somebody saw it, so
    it does not hang on how far the row's source was read. Else a text that was read bars,
    what is known second-hand or from memory takes readiness and closes no filling point, and
    practice warns. Who wrote a row at level local bars by it, unless it says otherwise.
    """
    if row["task"] == LIFE or "after" in row:
        return Bars.BOTH
    if row["task"] == FULL_OR_NOT:
        return Bars.USE
    if row["seen"] == "text" or row["level"] == "local":
        return Bars.BOTH
    return Bars.NOTHING if row["seen"] == "practice" else Bars.USE


def bars_of(row: Mapping[str, Any], *, of_a_site: bool = False) -> Bars:
    """Return what a sound row bars: what it says, else by the rank of its source.

    of_a_site: made on screen. One from before such rows could say it goes on barring.
    """
    if "bars" in row:
        return Bars(row["bars"])
    return Bars.BOTH if of_a_site else bars_by_rank(row)


def bars_faults(row: Mapping[str, Any]) -> list[tuple[str, object, str]]:
    """Return (key, value, remedy) for what is wrong with what a row says it bars."""
    faults: list[tuple[str, object, str]] = []
    said = row.get("bars")
    by_text = row.get("level") in ("law", "standard")
    if said is not None and by_text and "bars_by" not in row:
        faults.append(("bars_by", "", "is missing; name the text that says so"))
    if said is None and "bars_by" in row:
        faults.append(("bars_by", row["bars_by"], "has no meaning without bars; write both"))
    if row.get("task") == LIFE and said not in (None, Bars.BOTH):
        faults.append(
            ("bars", said, "can't be less at the end of a life, which drops every later task")
        )
    return faults

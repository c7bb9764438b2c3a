"""When a paper is superseded: a record it rests on was corrected, or the item described anew.

What is done later supersedes nothing: a paper stays right for the day it speaks of. Nor is a
paper ever superseded that says only what was known at a moment. No database, no clock.
"""

from collections.abc import Iterable, Iterator, Mapping
from datetime import date
from decimal import Decimal
from typing import Any, Protocol, TypeVar

from servicing.rules.pure.tasks import RETEST

CONSIGNMENT = "consignment-list"
UNITS = frozenset({"bar", "l", "kg", "ml"})
MOVES_ABOUT = frozenset({"site"})
"""What of an item changes in the world, and not only in what the register says of it."""


class Correction(Protocol):
    """A record that corrects another, as `ledger.queries.records.corrections_of` gives it."""

    @property
    def item_id(self) -> int: ...
    @property
    def position(self) -> int: ...
    @property
    def corrects(self) -> int: ...
    @property
    def first_on(self) -> date: ...
    @property
    def tasks(self) -> frozenset[str]: ...


Made = TypeVar("Made", bound=Correction)


def corrected(
    kind: str, on: date, carried: Mapping[int, int], made: Iterable[Made]
) -> Iterator[Made]:
    """Yield the corrections that were entered after a paper was made and that it lacks.

    kind, on: of the paper. carried: the last place in each item's chain that it rests on. The
    list for a test house tells of retests alone.
    """
    for each in made:
        last = carried.get(each.item_id, -1)
        told = kind != CONSIGNMENT or RETEST in each.tasks
        if told and each.corrects <= last < each.position and each.first_on <= on:
            yield each


def described_anew(then: Mapping[str, Any], now: Mapping[str, Any]) -> list[str]:
    """Return in words what the register says otherwise of an item than it did, its site apart."""
    said = [
        (name.replace("_", " "), _said(name, then.get(name)), _said(name, now[name]))
        for name in now
        if name not in MOVES_ABOUT
    ]
    return [f"{name}, {was} became {becomes}" for name, was, becomes in said if was != becomes]


def _said(name: str, value: object) -> str:
    if isinstance(value, list):
        return ";".join(map(str, value)) or "nothing"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if value in (None, ""):
        return "not known"
    if name.rpartition("_")[2] in UNITS:  # a column adds places that nobody typed
        return format(Decimal(str(value)).normalize(), "f")
    return str(value)

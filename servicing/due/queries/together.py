"""To what the things happen that happen to a set: to its parts (due/README 11).

That is all that was fitted at any time of the day on which it happened: who swapped a
part on that day knows better than the register which of the two was out, and nothing that may
have been used is called unused. What can't have been there is left out, and the page says so.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from registry.items.models import Item
from registry.items.pure import Kind
from registry.sets.models import Fitting
from registry.wording.pure.dates import day_words
from servicing.away.queries import spells_away
from servicing.ledger.pure.together import key_of_part, number_named
from servicing.ledger.queries.records import (
    condemned_days,
    keys_back,
    records_numbered,
    records_with,
)
from servicing.rules.pure.tasks import HAPPENS_TO_PARTS

if TYPE_CHECKING:
    from servicing.ledger.models import Record


@dataclass(frozen=True, slots=True)
class Along:
    """A part that was fitted to a set when something happened to it.

    why_not: why nothing is recorded for it, in words; empty where something is.
    """

    part: Item
    why_not: str = ""


class Fitted:
    """What was fitted to some sets on any day, with what must be known to record it.

    condemned_on: the day of condemnation by tag, where a list that is brought in says more
    than the register.
    """

    def __init__(
        self, set_ids: Iterable[int], condemned_on: Mapping[str, date] | None = None
    ) -> None:
        self._fittings: dict[int, list[Fitting]] = defaultdict(list)
        rows = Fitting.objects.filter(set_id__in=list(set_ids)).order_by("part__tag", "fitted_on")
        for fitting in rows.select_related("part__type", "part__site"):
            self._fittings[fitting.set_id].append(fitting)
        parts = {each.part_id for found in self._fittings.values() for each in found}
        self._away = spells_away(parts)
        self._condemned = {**condemned_days(), **(condemned_on or {})}

    def along(self, set_id: int, task: str, on: date) -> list[Along]:
        """Return the parts to which it happened on a day, by tag; none for other tasks."""
        if task not in HAPPENS_TO_PARTS:
            return []
        then = {
            each.part_id: each.part for each in self._fittings[set_id] if each.was_in_during(on)
        }
        return [Along(part, self._why_not(part, on)) for part in then.values()]

    def _why_not(self, part: Item, on: date) -> str:
        condemned = self._condemned.get(part.tag)
        if condemned is not None and condemned < on:
            return f"condemned on {day_words(condemned)}, before that day"
        if part.made_on is not None and part.made_on > on:
            return f"made on {day_words(part.made_on)}, after that day"
        for away, back_on in self._away.get(part.pk, ()):
            if away.since < on and (back_on is None or on < back_on):
                return f"{away.words} on that day"
        return ""


def along(item: Item, task: str, on: date) -> list[Along]:
    """Return the parts of a set to which an event of a day happened; none for anything else."""
    if item.type.kind != Kind.SET or task not in HAPPENS_TO_PARTS:
        return []
    return Fitted([item.pk]).along(item.pk, task, on)


def ever_fitted(set_item: Item) -> dict[int, Item]:
    """Return every part that was ever fitted to a set, by id."""
    rows = Fitting.objects.filter(set=set_item).select_related("part__type", "part__site")
    return {each.part_id: each.part for each in rows.order_by("part__tag")}


def recorded_along(record: "Record") -> "list[Record]":
    """Return the latest records of parts that were entered with a set's record, by tag.

    Each is the last of its own line of corrections. With those entered with what the set's
    record corrects, as far as that correction left them as they were.
    """
    parts = ever_fitted(record.item) if record.item.type.kind == Kind.SET else {}
    if not parts:
        return []
    keys = [key_of_part(key, pk) for key in keys_back(record) for pk in parts]
    latest = {row.item_id: row for row in records_with(keys)}
    for row in latest.values():
        row.item = parts[row.item_id]
    return sorted(latest.values(), key=lambda row: row.item.tag)


def set_record_of(record: "Record") -> "Record | None":
    """Return the set's record that a part's record names; None where it names none."""
    number = number_named(record.entry.checks)
    return next(iter(records_numbered([number] if number else [])), None)

"""What a failed calibration puts in doubt: measured with an instrument since its last good one."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import groupby
from typing import TYPE_CHECKING

from registry.items.models import Item
from registry.items.pure import Kind
from servicing.due.queries.instruments import CALIBRATION, made_with
from servicing.ledger.pure.entry import PASS
from servicing.ledger.queries.records import condemned_days, done_since, history_of, records_of_task

if TYPE_CHECKING:
    from servicing.ledger.models import Record

ASKED_FOR = timedelta(days=366)
"""So long the first pages name what a failed calibration left to be tested again."""


@dataclass(frozen=True, slots=True)
class Doubtful:
    """A record in doubt. again: the record of the same task that has taken its place since.

    condemned: whether the item will never be used again.
    """

    record: "Record"
    again: "Record | None"
    condemned: bool

    @property
    def is_open(self) -> bool:
        """Whether the item still relies on what is in doubt."""
        return self.again is None and not self.condemned


@dataclass(frozen=True, slots=True)
class Doubt:
    """What was measured with an instrument before a calibration found it bad.

    failures: that calibration, and those after it until a good one. since: the day of the
    last good calibration before, None where there is none. rows: what was measured from that
    day up to the failure, both days included. later: what was measured with it after the
    failure and before the next good calibration.
    """

    instrument: Item
    failures: "tuple[Record, ...]"
    since: date | None
    rows: tuple[Doubtful, ...]
    later: tuple[Doubtful, ...]

    @property
    def failure(self) -> "Record":
        """The calibration that failed first."""
        return self.failures[0]

    @property
    def every_row(self) -> tuple[Doubtful, ...]:
        """All that was measured with it and is in doubt."""
        return (*self.rows, *self.later)

    @property
    def open_rows(self) -> tuple[Doubtful, ...]:
        """What is still to be tested again."""
        return tuple(row for row in self.every_row if row.is_open)

    @property
    def items_to_test(self) -> int:
        """How many items are still to be tested again."""
        return len({row.record.item_id for row in self.open_rows})


def doubts_of(instrument: Item) -> list[Doubt]:
    """Return what failed calibrations put in doubt, the latest first.

    A good calibration afterwards settles nothing: it says that the instrument is good again,
    not that what it showed before was. A doubt is settled record by record, as each item is
    tested again.
    """
    done = history_of(instrument).in_force().filter(task=CALIBRATION)
    runs = [
        (good, tuple(run))
        for good, run in groupby(
            done.order_by("done_on", "position"), key=lambda record: record.outcome == PASS
        )
    ]
    return [
        _doubt(
            instrument,
            run,
            before=runs[place - 1][1][-1] if place else None,
            after=runs[place + 1][1] if place + 1 < len(runs) else (),
        )
        for place, (good, run) in reversed(list(enumerate(runs)))
        if not good
    ]


def doubt_by(failure: "Record") -> Doubt | None:
    """Return the doubt that a calibration which failed has its part in."""
    doubts = doubts_of(failure.item)
    return next((doubt for doubt in doubts if failure in doubt.failures), None)


def doubts_since(day: date) -> list[Doubt]:
    """Return the doubts of all instruments whose calibration failed on a day or after it."""
    failed = records_of_task(CALIBRATION, since=day).exclude(outcome=PASS)
    items = Item.objects.select_related("type", "site").filter(type__kind=Kind.INSTRUMENT)
    found = items.filter(pk__in=set(failed.values_list("item_id", flat=True))).order_by("tag")
    return [d for item in found for d in doubts_of(item) if d.failure.done_on >= day]


def open_doubts(today: date) -> list[Doubt]:
    """Return the doubts of the last year in which something is still to be tested again."""
    return [doubt for doubt in doubts_since(today - ASKED_FOR) if doubt.open_rows]


def doubt_about(record: "Record") -> Doubt | None:
    """Return the doubt that a record stands in, because of what it was measured with."""
    found = doubts_since(record.done_on) if record.instruments else []
    return next((d for d in found if any(r.record.pk == record.pk for r in d.every_row)), None)


def in_doubt_at(item: Item, today: date) -> list[tuple[Doubt, Doubtful]]:
    """Return what was measured of an item and has still to be tested again: of each task the
    latest."""
    rows = ((doubt, row) for doubt in open_doubts(today) for row in doubt.open_rows)
    latest = {row.record.task: (doubt, row) for doubt, row in rows if row.record.item_id == item.pk}
    return list(latest.values())


def _doubt(
    instrument: Item,
    failures: "tuple[Record, ...]",
    before: "Record | None",
    after: "tuple[Record, ...]",
) -> Doubt:
    since, failed_on = before.done_on if before else None, failures[0].done_on
    until, good_again = (after[0].done_on if after else None), {record.hash for record in after}
    made = [
        record
        for record in made_with(instrument, since, until)
        # On the day it was good again, those that relied on that are not in doubt.
        if not any(stood["calibration_hash"] in good_again for stood in record.instruments)
    ]
    rows = list(_looked_at_again(made))
    return Doubt(
        instrument,
        failures,
        since,
        tuple(row for row in rows if row.record.done_on <= failed_on),
        tuple(row for row in rows if row.record.done_on > failed_on),
    )


def _looked_at_again(records: "Sequence[Record]") -> "Iterator[Doubtful]":
    """Yield each record with what has taken its place: a later one that is not in doubt."""
    later, condemned = done_since(records), condemned_days()
    for record in records:
        yield Doubtful(record, later.get(record.pk), record.item.tag in condemned)

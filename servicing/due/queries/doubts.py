"""What a failed calibration puts in doubt: measured with an instrument since its last good one.

A doubt is settled record by record: where the item was tested again since, was condemned,
or a manager ruled that the record stands. All of it is read from the ledger, nothing stored.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from itertools import groupby
from typing import TYPE_CHECKING

from django.db.models import Q

from registry.items.models import Item
from registry.items.pure import Kind
from registry.wording.pure.dates import day_words
from servicing.due.queries.instruments import CALIBRATION
from servicing.ledger.pure.chain import marked_as
from servicing.ledger.pure.entry import CONDEMNED, NOT_PASSED, PASS, marks_of
from servicing.ledger.queries.records import borne_by, by_marks, counting
from servicing.rules.pure.tasks import RULING

if TYPE_CHECKING:
    from servicing.ledger.models import Record, RecordQuerySet


@dataclass(frozen=True, slots=True)
class Doubtful:
    """A record in doubt. again: the record of the same task that has taken its place since.

    condemned: whether the item will never be used again. ruling: the record by which a
    manager let it stand.
    """

    record: "Record"
    again: "Record | None"
    condemned: bool
    ruling: "Record | None" = None

    @property
    def is_open(self) -> bool:
        """Whether the item still relies on what is in doubt."""
        return self.again is None and not self.condemned and self.ruling is None


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
        """What is still to be settled."""
        return tuple(row for row in self.every_row if row.is_open)

    @property
    def ruled(self) -> bool:
        """Whether a manager let some of it stand."""
        return any(row.ruling for row in self.every_row)

    @property
    def items_to_test(self) -> int:
        """How many items are still to be tested again."""
        return len({row.record.item_id for row in self.open_rows})


def doubts_of(instrument: Item) -> list[Doubt]:
    """Return what failed calibrations put in doubt, the latest first.

    A good calibration afterwards settles nothing: it says that the instrument is good again,
    not that what it showed before was.
    """
    return _doubts([instrument.pk])


def doubt_by(failure: "Record") -> Doubt | None:
    """Return the doubt that a calibration which failed has its part in."""
    doubts = doubts_of(failure.item)
    return next((doubt for doubt in doubts if failure in doubt.failures), None)


def put_in_doubt_by(record: "Record") -> Doubt | None:
    """Return what a failed calibration puts in doubt; None for other records."""
    failed = record.task == CALIBRATION and record.outcome != PASS
    return doubt_by(record) if failed and record.item.kind == Kind.INSTRUMENT else None


def open_doubts() -> list[Doubt]:
    """Return the doubts, of whatever instrument, in which something is still to be settled."""
    return [doubt for doubt in _doubts() if doubt.open_rows]


def doubt_about(record: "Record") -> tuple[Doubt, Doubtful] | None:
    """Return the doubt that a record stands in, because of what it was measured with.

    Of several the one that is still open.
    """
    if not record.instruments:
        return None
    found = [
        (doubt, row)
        for doubt in _doubts(of=Q(item=record.item_id))
        for row in doubt.every_row
        if row.record.pk == record.pk
    ]
    return min(found, key=lambda pair: not pair[1].is_open, default=None)


def in_doubt(
    of: Q, on: date | None = None, known_by: datetime | None = None
) -> dict[int, list[tuple[Doubt, Doubtful]]]:
    """Return what is in doubt of items and has still to be settled, by item id.

    Of each task the latest record. of: the items, as a condition on their records. on,
    known_by: as it was at the end of a day, by what was entered up to a moment. The number
    of queries is the same for however many items.
    """
    found: dict[int, dict[str, tuple[Doubt, Doubtful]]] = defaultdict(dict)
    for doubt in _doubts(of=of, on=on, known_by=known_by):
        for row in doubt.open_rows:
            item, task = row.record.item_id, row.record.task
            held = found[item].get(task)
            if held is None or held[1].record.done_on <= row.record.done_on:
                found[item][task] = doubt, row
    return {item: list(by_task.values()) for item, by_task in found.items()}


def in_doubt_at(
    item: Item, on: date | None = None, known_by: datetime | None = None
) -> tuple[tuple[Doubt, Doubtful], ...]:
    """Return what `in_doubt` does of one item: of each task the latest record."""
    return tuple(in_doubt(Q(item=item.pk), on, known_by).get(item.pk, ()))


def doubt_words(rows: Iterable[tuple[Doubt, Doubtful]]) -> str:
    """Return why an item is in doubt, as the rest of a sentence about it; or nothing."""
    first = next(iter(rows), None)
    if first is None:
        return ""
    (doubt, row), task = first, first[1].record.task.replace("-", " ")
    return (
        f"in doubt: its {task} of {day_words(row.record.done_on)} was measured with "
        f"{doubt.instrument.tag}, which failed its calibration on "
        f"{day_words(doubt.failure.done_on)}"
    )


def ruling_step(record: "Record", failure: "Record") -> str:
    """Return what a ruling is known by: the record that stands, and the failed calibration."""
    return f"stands {record.hash} {failure.hash}"


@dataclass(frozen=True, slots=True)
class _Run:
    """Failed calibrations in a row, and the good ones before and after them."""

    instrument: Item
    failures: "tuple[Record, ...]"
    before: "Record | None"
    after: "tuple[Record, ...]"

    def covers(self, done_on: date, stood: "Sequence[Mapping[str, str]]") -> bool:
        """Whether what was measured on a day is in doubt by these failures."""
        if self.before is not None and done_on < self.before.done_on:
            return False
        if not self.after:
            return True
        # On the day it was good again, those that relied on that are not in doubt.
        good_again = {record.hash for record in self.after}
        relied = any(each["calibration_hash"] in good_again for each in stood)
        return done_on <= self.after[0].done_on and not relied


def _doubts(
    instruments: Iterable[int] | None = None,
    *,
    of: Q | None = None,
    on: date | None = None,
    known_by: datetime | None = None,
) -> list[Doubt]:
    """Return the doubts by instrument, the latest first.

    of: only what was measured of such items; a doubt without any is left out then.
    """
    runs = _failing(instruments, on, known_by)
    if not runs:
        return []
    records = counting(on, known_by)
    made = _made_with(runs, records.filter(of) if of is not None else records)
    rows = _settled(runs, made, on, known_by)
    return [
        Doubt(
            run.instrument,
            run.failures,
            run.before.done_on if run.before else None,
            tuple(r for r in found if r.record.done_on <= run.failures[0].done_on),
            tuple(r for r in found if r.record.done_on > run.failures[0].done_on),
        )
        for run, found in zip(runs, rows, strict=True)
        if found or of is None
    ]


def _failing(
    instruments: Iterable[int] | None, on: date | None, known_by: datetime | None
) -> list[_Run]:
    done = counting(on, known_by).filter(task=CALIBRATION, item__type__kind=Kind.INSTRUMENT)
    if instruments is not None:
        done = done.filter(item_id__in=list(instruments))
    # By what failed first, which is little: neither all instruments nor all records are read.
    failed = set(done.filter(outcome__in=NOT_PASSED).order_by().values_list("item_id", flat=True))
    if not failed:
        return []
    rows = done.filter(item_id__in=failed).select_related("item__type", "item__site")
    found = []
    for _, of_one in groupby(rows.order_by("item__tag", "done_on", "position"), _item_id):
        spells = [(ok, tuple(spell)) for ok, spell in groupby(of_one, lambda r: r.outcome == PASS)]
        for place, (good, spell) in reversed(list(enumerate(spells))):
            if not good:
                before = spells[place - 1][1][-1] if place else None
                after = spells[place + 1][1] if place + 1 < len(spells) else ()
                found.append(_Run(spell[0].item, spell, before, after))
    return found


def _item_id(record: "Record") -> int:
    return record.item_id


def _made_with(runs: Sequence[_Run], records: "RecordQuerySet") -> "list[list[Record]]":
    """Return for each run the records that it puts in doubt, by day and number.

    Found by the instrument's calibrations as they stood and by its marking, so that a new
    tag hides none.
    """
    by_mark: dict[str, list[int]] = defaultdict(list)
    names = borne_by({run.instrument.pk for run in runs}, CALIBRATION)
    for number, run in enumerate(runs):
        item = run.instrument
        marks, hashes = names[item.pk]
        for mark in {*marks, *hashes, marked_as(item.tag, item.maker, item.serial)}:
            by_mark[mark].append(number)
    # A record can't be of a day before the first good calibration of all that failed since.
    starts = [run.before.done_on if run.before else date.min for run in runs]
    measured = by_marks(records, by_mark).filter(done_on__gte=min(starts)).order_by()
    held: list[list[int]] = [[] for _ in runs]
    for pk, done_on, stood in measured.values_list("pk", "done_on", "instruments"):
        numbers = {number for mark in marks_of(stood) for number in by_mark.get(mark, ())}
        for number in numbers:
            if runs[number].covers(done_on, stood):
                held[number].append(pk)
    pks = {pk for run in held for pk in run}
    whole = records.select_related("item__type", "item__site").in_bulk(pks) if pks else {}
    return [
        sorted((whole[pk] for pk in run), key=lambda record: (record.done_on, record.number))
        for run in held
    ]


def _settled(
    runs: Sequence[_Run],
    made: "Sequence[Sequence[Record]]",
    on: date | None,
    known_by: datetime | None,
) -> list[list[Doubtful]]:
    """Return the records of each run with what has settled their doubt."""
    items = {record.item_id for run in made for record in run}
    if not items:
        return [[] for _ in made]
    tasks = {record.task for run in made for record in run}
    since = counting(on, known_by).filter(item_id__in=items)
    later: dict[tuple[int, str], list[Record]] = defaultdict(list)
    for row in since.filter(task__in=tasks).order_by("-done_on", "-position"):
        later[row.item_id, row.task].append(row)
    ended = set(since.filter(outcome=CONDEMNED).order_by().values_list("item_id", flat=True))
    rulings = {
        check["step"]: row
        for row in since.filter(task=RULING).order_by("position")
        for check in row.checks
    }
    return [
        list(_rows(records, run.failures[0], later, ended, rulings))
        for run, records in zip(runs, made, strict=True)
    ]


def _rows(
    records: "Sequence[Record]",
    failure: "Record",
    later: "Mapping[tuple[int, str], Sequence[Record]]",
    ended: set[int],
    rulings: "Mapping[str, Record]",
) -> Iterator[Doubtful]:
    ruled = {r.pk: by for r in records if (by := rulings.get(ruling_step(r, failure)))}
    doubted = {record.pk for record in records} - ruled.keys()
    for record in records:
        after = (record.done_on, record.position)
        again = (
            row
            for row in later[record.item_id, record.task]
            if row.pk not in doubted and (row.done_on, row.position) > after
        )
        yield Doubtful(record, next(again, None), record.item_id in ended, ruled.get(record.pk))

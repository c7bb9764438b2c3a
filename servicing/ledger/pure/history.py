"""A list of what was done before: services, tests and events, one a row."""

import sys
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cached_property, partial

from registry.cells.pure.codes import code, name, note
from registry.cells.pure.days import day
from registry.cells.pure.values import ValueProblem, Vocabulary, remembered
from registry.lists.pure.problems import Problem
from registry.lists.pure.raw import fault
from registry.lists.pure.reading import RowReader
from registry.lists.pure.tables import Row, each_row
from registry.scanning.pure.likeness import readings
from servicing.ledger.pure.meter import HOURS_RUN, meter_faults
from servicing.ledger.pure.shoulder import COLUMNS as SHOULDER
from servicing.ledger.pure.shoulder import LONGEST, NAMES, shoulder_faults, shoulder_of
from servicing.rules.pure.tasks import RETEST

REQUIRED = frozenset({"tag", "task", "done_on", "outcome", "by"})
COLUMNS = REQUIRED | {"note", "part_made_on", *SHOULDER.values()}
READING = "reading:"
LONGEST_READING = 64
LAST_LINE = sys.maxsize
"""Stands for the register, which comes after every line of a file on the same day."""

PASS, FAIL, CONDEMNED = "pass", "fail", "condemned"
person = partial(name, longest=120)
mark = partial(name, longest=LONGEST)


@dataclass(frozen=True, slots=True)
class KnownItem:
    """What a record must fit. today: what day it is at the item's site."""

    made_on: date | None
    today: date
    condemned_on: date | None


@dataclass(frozen=True, slots=True)
class HistoryRow:
    """One thing that happened to an item.

    by: who did it. readings: name and text as typed, for each that has one.
    """

    line: int
    tag: str
    task: str
    done_on: date
    outcome: str
    by: str
    note: str
    part_made_on: date | None
    readings: tuple[tuple[str, str], ...]


def read_history(
    file: str,
    content: bytes,
    *,
    items: Mapping[str, KnownItem],
    tasks: frozenset[str],
) -> tuple[list[HistoryRow], list[Problem]]:
    """Return the records of a list in its order, and every problem in it by line.

    items: what is registered, by tag. tasks: the tasks and events that records may name.
    Rows with a problem are not among the records.
    """
    problems: list[Problem] = []
    rows = each_row(
        file, content, problems, columns=COLUMNS, required=REQUIRED, extra_prefix=READING
    )
    reader = _RecordReader(file, items, tasks)
    drafts = [draft for row in rows if (draft := reader.draft(row)) is not None]
    records = reader.before_the_end(drafts)
    return records, sorted(problems + reader.problems)


class _RecordReader:
    """Reads row by row; `problems` grows. Columns that repeat themselves are read once a value."""

    def __init__(self, file: str, items: Mapping[str, KnownItem], tasks: frozenset[str]) -> None:
        self.problems: list[Problem] = []
        self._file = file
        self._items = items
        self._bad_lines: set[int] = set()
        self._readings: dict[str, str] | None = None
        self._tag = remembered(self._registered)
        self._day = remembered(day)
        self._person = remembered(person)
        self._task = remembered(Vocabulary(tasks, "a task").pick)
        self._outcome = remembered(Vocabulary((PASS, FAIL, CONDEMNED), "an outcome").pick)

    def draft(self, row: Row) -> HistoryRow | None:
        """Return what a row says, also if a part of it is refused; nothing without a day."""
        reader = RowReader(self._file, row)
        reader.keep("tag")
        tag = reader.need("tag", self._tag, "")
        done_on = reader.need("done_on", self._day, None)
        draft = HistoryRow(
            line=row.line,
            tag=tag,
            task=reader.need("task", self._task, ""),
            done_on=done_on or date.min,
            outcome=reader.need("outcome", self._outcome, ""),
            by=reader.need("by", self._person, ""),
            note=reader.read("note", note, ""),
            part_made_on=reader.read("part_made_on", self._day, None),
            readings=(*self._read_readings(reader), *_read_shoulder(reader)),
        )
        if done_on and tag:
            _check_days(reader, draft, self._items[tag])
            _check_shoulder(reader, draft)
            if remedy := meter_faults(draft.readings):
                reader.refuse(f"{READING}{HOURS_RUN}", remedy)
        if not reader.faultless:
            self.problems += reader.problems
            self._bad_lines.add(row.line)
        return draft if done_on else None

    def _read_readings(self, reader: RowReader) -> tuple[tuple[str, str], ...]:
        if self._readings is None:  # the columns are those of the first row
            columns = [column for column in reader.row.cells if column.startswith(READING)]
            self._readings = {column: column.removeprefix(READING) for column in columns}
        reader.keep(*self._readings)
        typed = [
            (reading, text)
            for column, reading in self._readings.items()
            if (text := reader.read(column, as_typed, ""))
        ]
        return tuple(typed)

    def before_the_end(self, drafts: Sequence[HistoryRow]) -> list[HistoryRow]:
        """Return the good records, having refused those of items that were condemned before."""
        ends = self._ends(drafts)
        records = []
        for draft in drafts:
            end = ends.get(draft.tag)
            if end and (draft.done_on, draft.line) > end:
                day_text = draft.done_on.isoformat()
                self.problems.append(
                    fault(self._file, draft.line, "done_on", day_text, _too_late(*end))
                )
            elif draft.line not in self._bad_lines:
                records.append(draft)
        return records

    def _ends(self, drafts: Sequence[HistoryRow]) -> dict[str, tuple[date, int]]:
        """Return the day and line of each item's first condemnation, in register or file.

        Records of the day on which the register has it condemned are let through: they may be
        those that led to it, in a file that is brought in again.
        """
        ends = {
            tag: (item.condemned_on, LAST_LINE)
            for tag, item in self._items.items()
            if item.condemned_on
        }
        for draft in drafts:
            if draft.outcome == CONDEMNED:
                here = (draft.done_on, draft.line)
                ends[draft.tag] = min(ends.get(draft.tag, here), here)
        return ends

    def _registered(self, text: str) -> str:
        """Return a registered tag; one that only looks like it is offered and not taken."""
        if text in self._items:
            return text
        if (tag := code(text)) in self._items:
            return tag
        if near := next((self._read_as[one] for one in readings(tag) if one in self._read_as), ""):
            raise ValueProblem(f"is not in the register; {near} is: write that if it is meant")
        raise ValueProblem("is not in the register; correct it, or bring the item in first")

    @cached_property
    def _read_as(self) -> dict[str, str]:
        return {one: tag for tag in self._items for one in readings(tag) if one}


def _too_late(condemned_on: date, line: int) -> str:
    where = "in the register" if line == LAST_LINE else f"in line {line}"
    return (
        f"is after the item was condemned {where}, on {condemned_on.isoformat()}; nothing can "
        "follow that: correct the day or the tag"
    )


def as_typed(text: str) -> str:
    """Return a reading as somebody typed it: digits, decimal mark and all."""
    if len(text) > LONGEST_READING or not text.isprintable():
        raise ValueProblem(
            f"is no reading; write it in one line of {LONGEST_READING} characters at most"
        )
    return text


def _read_shoulder(reader: RowReader) -> Iterator[tuple[str, str]]:
    """Yield the readings of what was marked on the cylinder at a retest."""
    reader.keep(*SHOULDER.values())
    for field, column in SHOULDER.items():
        if text := reader.read(column, mark, ""):
            yield NAMES[field], text


def _check_shoulder(reader: RowReader, draft: HistoryRow) -> None:
    shoulder = shoulder_of(draft.readings)
    for field in shoulder.said:
        if (draft.task, draft.outcome) != (RETEST, PASS):
            remedy = f"is marked only at a {RETEST} that was passed; leave it empty"
            reader.refuse(SHOULDER[field], remedy)
            return
    for field, remedy in shoulder_faults(shoulder, draft.done_on):
        reader.refuse(SHOULDER[field], remedy)


def _check_days(reader: RowReader, draft: HistoryRow, item: KnownItem) -> None:
    done_on, made_on, part = draft.done_on, item.made_on, draft.part_made_on
    if done_on > item.today:
        reader.refuse(
            "done_on",
            f"is in the future; at the item's site today is {item.today.isoformat()}. Where a "
            "cylinder carries the day it falls due, write the day of the test",
        )
    if made_on and done_on < made_on:
        reader.refuse(
            "done_on", f"is before the item was made, {made_on.isoformat()}; correct the day or tag"
        )
    if part and part > done_on:
        reader.refuse(
            "part_made_on",
            f"is after the part was fitted, {done_on.isoformat()}; correct one of the two days",
        )

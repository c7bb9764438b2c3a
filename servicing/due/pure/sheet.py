"""What is said of due dates on a day, alike on screen, on paper and in JSON.

The engine's `Candidate` and `Obligation` hold for any day and `Owed` is what is stored of them;
these hold the day's answer, and nobody who draws one works out a state again.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from servicing.due.pure.explain import Explained, arithmetic, difference, how_often
from servicing.due.pure.obligations import Candidate, State
from servicing.due.pure.owed import BADNESS, Clock, over_by
from servicing.ledger.pure.shoulder import Marked
from servicing.rules.pure.bars import Bars, bars_words

GENERAL_CAUTION = (
    "The rule tables are a working copy of published rules. Somebody competent must check them "
    "against the current edition, the maker's instructions and the local authority.",
    "A retest is done and marked only by an approved body.",
    "A pass here never overrules a doubt at the bench.",
)
"""Stands wherever a computed date or a verdict does (design: the cautions of the program)."""

IF_DONE = "if-done"
"""What a date of the work ahead is counted from: the day on which the task is taken to be done."""


@dataclass(frozen=True, slots=True)
class Stamp:
    """A date as it is drawn: in large figures, with its state under it.

    of: the tag of whose task it is, where several items stand together.
    """

    task: str
    due_on: date | None
    state: State
    of: str = ""


@dataclass(frozen=True, slots=True)
class Because:
    """One rule's answer to when a task is due, in words. arithmetic: step by step.

    bars: what it forbids once it is overdue; bars_by: the text that says so, if it names one.
    counted_from: empty where there is no date, and then `basis_on` is None.
    """

    rule: str
    table: str
    level: str
    source: str
    seen: str
    note: str
    asks: str
    bars: Bars
    bars_by: str
    due_on: date | None
    counted_from: str
    basis_on: date | None
    arithmetic: str

    @property
    def barring(self) -> str:
        """What it forbids once it is overdue, in words, and by which text."""
        by = f", by {self.bars_by}" if self.bars_by else ""
        return f"overdue it {bars_words(self.bars)}{by}"


@dataclass(frozen=True, slots=True)
class TaskLine:
    """A task that is asked of an item, as it stands on a day.

    late: how long it is overdue, in words, or empty. dropped: the end of service life comes
    first. reasons: every rule's answer; the first one governs. stamp: what is marked on the item
    of it; difference: that and what the rules alone say, where they are not the same. bars: what
    the rules forbid between them.
    """

    task: str
    due_on: date | None
    state: State
    late: str
    dropped: bool
    reasons: tuple[Because, ...]
    stamp: Marked | None = None
    difference: str = ""
    bars: Bars = Bars.BOTH

    @property
    def governing(self) -> Because:
        """The answer that decides the date."""
        return self.reasons[0]


@dataclass(frozen=True, slots=True)
class DueRow:
    """One obligation with all that lists and papers show of it.

    state: None for one that comes only once another is done, `counted_from` then IF_DONE.
    late: how long it is overdue, in words; empty where it is not. bars: what the rules of the
    task forbid between them.
    """

    item_id: int
    tag: str
    serial: str
    maker: str
    kind: str
    site: str
    site_name: str
    task: str
    due_on: date | None
    state: State | None
    rule: str
    level: str
    source: str
    table: str
    counted_from: str
    basis_on: date | None
    event: str = ""
    late: str = ""
    bars: str = Bars.BOTH

    @property
    def warning(self) -> str:
        """Words for a task of which no rule forbids anything, so that it is only a line."""
        return "warns only" if self.bars == Bars.NOTHING else ""

    @property
    def order(self) -> tuple[date, str, str, str]:
        """By due date, those that can't be determined first; then site, tag and task."""
        return self.due_on or date.min, self.site, self.tag, self.task


def stamp_of(owed: Clock, on: date, of: str = "") -> Stamp:
    """Return the stamp of what is owed, as it stands on a day."""
    return Stamp(owed.task, owed.due_on, owed.state(on), of)


def worst_stamps(stamps: Iterable[Stamp]) -> tuple[Stamp, ...]:
    """Return stamps in the order in which the first line speaks: the worst first, then by date."""
    return tuple(sorted(stamps, key=lambda s: (BADNESS.index(s.state), s.due_on or date.min)))


def task_line(task: Explained, on: date) -> TaskLine:
    """Return a task as it stands on a day, with every rule's answer in words."""
    owed = task.obligation
    return TaskLine(
        task=owed.task,
        due_on=owed.due_on,
        state=owed.state(on),
        late=over_by(owed.due_on, owed.counted_from or "", on),
        dropped=task.dropped,
        reasons=tuple(_because(candidate) for candidate in owed.candidates),
        stamp=owed.stamp,
        difference=difference(owed),
        bars=owed.bars,
    )


def task_json(line: TaskLine) -> dict[str, object]:
    """Return a task as the contract of `explain --format json` has it."""
    return {
        "task": line.task,
        "due_on": iso(line.due_on),
        "state": line.state,
        "dropped_by_service_life": line.dropped,
        "stamped": line.stamp.text if line.stamp else None,
        "difference": line.difference or None,
        "bars": line.bars,
        "candidates": [_because_json(each) for each in line.reasons],
    }


def iso(day: date | None) -> str | None:
    """Return a day, or a moment, as machines read it."""
    return day.isoformat() if day else None


def _because(candidate: Candidate) -> Because:
    rule = candidate.rule
    return Because(
        rule=rule.id,
        table=rule.table,
        level=rule.level,
        source=rule.source,
        seen=rule.seen,
        note=rule.note,
        asks=how_often(rule),
        bars=candidate.bars,
        bars_by=rule.bars_by,
        due_on=candidate.due_on,
        counted_from=candidate.counted_from or "",
        basis_on=candidate.basis_on,
        arithmetic=arithmetic(candidate),
    )


def _because_json(each: Because) -> dict[str, object]:
    return {
        "rule": each.rule,
        "table": each.table,
        "level": each.level,
        "source": each.source,
        "seen": each.seen,
        "asks": each.asks,
        "bars": each.bars,
        "bars_by": each.bars_by or None,
        "due_on": iso(each.due_on),
        "counted_from": each.counted_from or None,
        "basis_on": iso(each.basis_on),
        "arithmetic": each.arithmetic,
    }

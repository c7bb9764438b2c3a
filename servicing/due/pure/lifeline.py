"""An item's life as one line for each task: records as ticks, the periods as arcs.

A task that no rule asks for at the moment keeps its line, with the records on it.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from registry.wording.pure.dates import day_words, month_words
from servicing.due.pure.obligations import PASS, Candidate, CountedFrom, How, Obligation, Record
from servicing.rules.pure.rule import SERVICE_LIFE

WIDTH = 1000
"""The line's length in its own units; places run from 0 to WIDTH."""
LEGEND = (
    "A tick is a passed record, a cross one that was not passed; the bracket runs from the day "
    "counted from to the due date, a thin one is another rule's; the dashed line is the day asked "
    "about, a heavy one the end of its life."
)


_BESIDE = {
    How.LATE: ", the due date it was late for,",
    How.EARLY: ", the due date it was early for,",
}


@dataclass(frozen=True, slots=True)
class Arc:
    """The period of a rule that is asked too but doesn't govern, from its basis to its date."""

    rule: str
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class Track:
    """One task's line. `words` says all of it in a sentence.

    ticks: places of passed records; crosses: of others. arc_from, arc_to: the period that
    runs, None where none does; then `rule` and `state` may be empty.
    """

    task: str
    rule: str
    state: str
    ticks: tuple[int, ...]
    arc_from: int | None
    arc_to: int | None
    words: str
    crosses: tuple[int, ...] = ()
    others: tuple[Arc, ...] = ()


@dataclass(frozen=True, slots=True)
class LifeLine:
    """All lines on one scale. `made` and `ends` are the words for its two ends.

    in_service, life: the places of the day it was put in service and of the end of its
    life; None where nobody knows or none is set. `today_words` names the day asked about.
    """

    made: str
    ends: str
    today: int
    tracks: tuple[Track, ...]
    today_words: str = ""
    in_service: int | None = None
    in_service_words: str = ""
    life: int | None = None
    life_words: str = ""

    @property
    def marks_in_words(self) -> str:
        """What the two ends of the line and the marks between them are, in words."""
        day = f"{self.today_words} (dashed)"
        between = ", ".join(part for part in (self.in_service_words, self.life_words, day) if part)
        return f"Left: {self.made}. Right: {self.ends}. Between: {between}."


@dataclass(frozen=True, slots=True)
class _Scale:
    start: date
    end: date

    def place(self, day: date) -> int:
        share = (day - self.start).days / (self.end - self.start).days
        return round(WIDTH * min(1.0, max(0.0, share)))


def lifeline(
    made_on: date | None,
    records: Sequence[Record],
    owed: Sequence[Obligation],
    on: date,
    in_service_on: date | None = None,
    *,
    made_to_month: bool = False,
) -> LifeLine | None:
    """Return the life lines of an item on a day, or None where nothing is known to place.

    It runs from the made date, or the first day known, to the last due date or the day.
    made_to_month: only the month of the made date is known; its first day is drawn.
    """
    past = [record for record in records if record.done_on <= on]
    candidates = [c for o in owed for c in o.candidates]
    known = {made_on, in_service_on, *(r.done_on for r in past), *(c.basis_on for c in candidates)}
    days = sorted(day for day in known if day is not None)
    if not days:
        return None
    governing = [o.due_on for o in owed if o.due_on]
    scale = _Scale(days[0], max([*governing, *days, on, days[0] + timedelta(days=1)]))
    life = next((o.due_on for o in owed if o.task == SERVICE_LIFE), None)
    return LifeLine(
        made=_made(made_on, made_to_month) or f"first known {day_words(scale.start)}",
        ends=f"{'end of life' if life == scale.end else 'last date'} {day_words(scale.end)}",
        today=scale.place(on),
        tracks=tuple(_tracks(owed, past, on, scale)),
        today_words=day_words(on),
        in_service=None if in_service_on is None else scale.place(in_service_on),
        in_service_words=f"in service {day_words(in_service_on)}" if in_service_on else "",
        life=None if life is None else scale.place(life),
        life_words=f"end of life {day_words(life)} (heavy)" if life and life < scale.end else "",
    )


def _made(made_on: date | None, made_to_month: bool) -> str:
    if made_on is None:
        return ""
    return f"made {month_words(made_on)}" if made_to_month else f"made {day_words(made_on)}"


def _tracks(
    owed: Sequence[Obligation], past: Sequence[Record], on: date, scale: _Scale
) -> Iterator[Track]:
    for obligation in owed:
        yield _running(obligation, past, on, scale)
    asked = {obligation.task for obligation in owed}
    for task in sorted({record.task for record in past} - asked):
        yield _still(task, past, scale)


def _running(o: Obligation, past: Sequence[Record], on: date, scale: _Scale) -> Track:
    state, due, basis = o.state(on), o.due_on, o.basis_on
    if due is None or basis is None:
        period = f"no date by {o.rule.id}"
    else:
        stamped = o.counted_from is CountedFrom.STAMP
        said = ", as stamped on it," if stamped else _BESIDE.get(o.governing.how, "")
        period = f"from {day_words(basis)}{said} to {day_words(due)} by {o.rule.id}"
    others = [c for c in o.candidates[1:] if c.due_on and c.basis_on]
    ticks, crosses, times = _marks(o.task, o.rule.passes, past, scale)
    return Track(
        task=o.task,
        rule=o.rule.id,
        state=state,
        ticks=ticks,
        arc_from=None if due is None or basis is None else scale.place(basis),
        arc_to=None if due is None or basis is None else scale.place(due),
        words=f"{_words(o.task)}: {times}; {period}: {_words(state)}{_also(others)}",
        crosses=crosses,
        others=tuple(
            Arc(c.rule.id, scale.place(c.basis_on), scale.place(c.due_on))
            for c in others
            if c.basis_on and c.due_on
        ),
    )


def _still(task: str, past: Sequence[Record], scale: _Scale) -> Track:
    """Return the line of a task that no rule asks for: its records alone."""
    ticks, crosses, times = _marks(task, frozenset({task}), past, scale)
    return Track(
        task=task,
        rule="",
        state="",
        ticks=ticks,
        arc_from=None,
        arc_to=None,
        words=f"{_words(task)}: {times}; no period runs",
        crosses=crosses,
    )


def _marks(
    task: str, passes: frozenset[str], past: Sequence[Record], scale: _Scale
) -> tuple[tuple[int, ...], tuple[int, ...], str]:
    """Return the places of passed records and of others, and how often, in words."""
    done = [r.done_on for r in past if r.task in passes and r.outcome == PASS]
    not_passed = [r for r in past if r.task == task and r.outcome != PASS]
    times = "no record" if not done else f"{len(done)} passed, the last {day_words(done[-1])}"
    if not_passed:
        last = not_passed[-1]
        said = f"{len(not_passed)} not, the last on {day_words(last.done_on)}: {last.outcome}"
        said = said if done else said.replace(" not,", " not passed,", 1)
        times = f"{times}; {said}" if done else said
    return _places(done, scale), _places([r.done_on for r in not_passed], scale), times


def _places(days: Iterable[date], scale: _Scale) -> tuple[int, ...]:
    return tuple(sorted({scale.place(day) for day in days}))


def _also(others: Sequence[Candidate]) -> str:
    said = [f"{day_words(c.due_on)} by {c.rule.id}" for c in others if c.due_on]
    return f"; asked too: {', '.join(said)}" if said else ""


def _words(text: str) -> str:
    return text.replace("-", " ")

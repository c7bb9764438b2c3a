"""An item's life as one line for each task: records as ticks, the running period as an arc."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from servicing.due.pure.explain import day_words
from servicing.due.pure.obligations import PASS, Obligation, Record

WIDTH = 1000
"""The line's length in its own units; places run from 0 to WIDTH."""


@dataclass(frozen=True, slots=True)
class Track:
    """One task's line. `words` says all of it in a sentence."""

    task: str
    rule: str
    state: str
    ticks: tuple[int, ...]
    arc_from: int
    arc_to: int
    words: str


@dataclass(frozen=True, slots=True)
class LifeLine:
    """All lines on one scale. `made` and `ends` are the words for its two ends."""

    made: str
    ends: str
    today: int
    tracks: tuple[Track, ...]


def lifeline(
    made_on: date | None, records: Sequence[Record], owed: Sequence[Obligation], on: date
) -> LifeLine | None:
    """Return the life lines of an item on a day, or None where nothing can be placed.

    It runs from the made date, or the first day known, to the last due date or today.
    """
    dated = [o for o in owed if o.due_on is not None and o.basis_on is not None]
    if not dated:
        return None
    past = [record for record in records if record.done_on <= on]
    bases = [o.basis_on for o in dated if o.basis_on]
    start = min([*([made_on] if made_on else []), *(r.done_on for r in past), *bases])
    last = max(o.due_on for o in dated if o.due_on)
    end = max(last, on, start + timedelta(days=1))
    life = next((o.due_on for o in dated if o.task == "service-life"), None)
    return LifeLine(
        made=f"made {day_words(made_on)}" if made_on else f"first known {day_words(start)}",
        ends=f"end of life {day_words(life)}" if life else f"last date {day_words(end)}",
        today=_place(on, start, end),
        tracks=tuple(_track(o, past, on, start, end) for o in dated),
    )


def _place(day: date, start: date, end: date) -> int:
    share = (day - start).days / (end - start).days
    return round(WIDTH * min(1.0, max(0.0, share)))


def _track(o: Obligation, past: Sequence[Record], on: date, start: date, end: date) -> Track:
    done = [r.done_on for r in past if r.task in o.rule.passes and r.outcome == PASS]
    assert o.basis_on is not None and o.due_on is not None  # noqa: S101, PT018 (dated)
    times = "no record" if not done else f"{len(done)} passed, the last {day_words(done[-1])}"
    task, state = o.task.replace("-", " "), o.state(on)
    period = f"from {day_words(o.basis_on)} to {day_words(o.due_on)} by {o.rule.id}"
    return Track(
        task=o.task,
        rule=o.rule.id,
        state=state,
        ticks=tuple(sorted({_place(day, start, end) for day in done})),
        arc_from=_place(o.basis_on, start, end),
        arc_to=_place(o.due_on, start, end),
        words=f"{task}: {times}; {period}: {state.replace('-', ' ')}",
    )

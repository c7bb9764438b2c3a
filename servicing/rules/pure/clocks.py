"""The forms in which a law counts time, where it says more than due/README 2 and 3 do.

A row writes them as `clock.FORM = { ..., clause = "..." }`; each form names the clause that
asks for it, and the explanation of a date names it again. A row without any of them counts
as that page says: from the last pass, to the day or to the end of the month.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from servicing.rules.pure.durations import Duration, DurationProblem

Fault = tuple[str, object, str]
"""(key, value, remedy) of something wrong with a row."""

LONGEST_RUN = 99_999
"""As many hours as a meter of five figures shows."""
DUE_DATE, TEST, MONTH_BEFORE, COUNTS = "due-date", "test", "end-of-month-before", "counts"


class Start(StrEnum):
    """What the second of two clocks counts from: the last pass, or in the first period only."""

    RECORD = "record"
    MADE = "made"
    IN_SERVICE = "in-service"


@dataclass(frozen=True, slots=True)
class Late:
    """A pass after the due date counts from that date.

    within: only up to the end of the month so long after it; None: however late it is.
    unless_out: not where the item was out of service on that date and until the pass.
    """

    within: Duration | None = None
    unless_out: bool = False
    clause: str = ""


@dataclass(frozen=True, slots=True)
class Early:
    """A pass up to `within` (whole months) before the due date counts from that date."""

    within: Duration
    clause: str = ""


@dataclass(frozen=True, slots=True)
class MonthBefore:
    """The period runs from the last day of the month before the one that is stamped.

    counted: that day is the first of the period, so the period ends a day sooner.
    """

    counted: bool = False
    clause: str = ""


@dataclass(frozen=True, slots=True)
class Other:
    """A second clock beside the row's own; the sooner or the later of the two governs.

    From the made or the in-service day it stands beside the first period alone: once something
    was passed, no date goes on counting from the item's birth but the end of its life.
    """

    every: Duration
    start: Start
    later: bool
    clause: str = ""


@dataclass(frozen=True, slots=True)
class Hours:
    """Due at once when so many hours were run since the last pass, if that comes first.

    By the meter, as records have it: servicing/due/pure/hours.py.
    """

    limit: int
    clause: str = ""


@dataclass(frozen=True, slots=True)
class Clock:
    """The forms of one row; the empty one is that of due/README. due_clause: who says the month."""

    due_clause: str = ""
    late: Late | None = None
    early: Early | None = None
    start: MonthBefore | None = None
    other: Other | None = None
    hours: Hours | None = None

    @property
    def chained(self) -> bool:
        """Whether each date may rest on the one before, so that all passes must be gone through."""
        return self.late is not None or self.early is not None


PLAIN = Clock()

COUNT = ("whole number",)
_KEYS: dict[str, dict[str, tuple[str, ...] | None]] = {
    "due": {"by": ("month",)},
    "late": {"counts_from": (DUE_DATE,), "within": None, "out_of_service": (TEST,)},
    "early": {"within": None},
    "start": {"at": (MONTH_BEFORE,), "first_day": (COUNTS,)},
    "other": {"every": None, "from": tuple(Start), "governs": ("sooner", "later")},
    "hours": {"limit": COUNT},
}
"""By form: its keys beside the clause, and their words; None is a duration, COUNT a number."""
_MAY_LACK = {("late", "within"), ("late", "out_of_service"), ("start", "first_day")}


def clock_of(row: Mapping[str, Any]) -> Clock:
    """Return the clock that a sound row means; its old key `late_counts_back` is read too."""
    said = row.get("clock", {})
    late, early, start = said.get("late"), said.get("early"), said.get("start")
    other, old = said.get("other"), row.get("late_counts_back")
    hours = said.get("hours")
    if not said and old is None:
        return PLAIN
    within = late.get("within") if late else old
    return Clock(
        due_clause=said.get("due", {}).get("clause", ""),
        late=None
        if within is None and late is None
        else Late(
            Duration.parse(within) if within else None,
            "out_of_service" in (late or {}),
            (late or {}).get("clause", ""),
        ),
        early=early and Early(Duration.parse(early["within"]), early["clause"]),
        start=start and MonthBefore("first_day" in start, start["clause"]),
        other=other
        and Other(
            Duration.parse(other["every"]),
            Start(other["from"]),
            other["governs"] == "later",
            other["clause"],
        ),
        hours=hours and Hours(int(hours["limit"]), hours["clause"]),
    )


def by_month(row: Mapping[str, Any]) -> bool:
    """Say whether a row's dates are months: good through the last day."""
    return row.get("due") == "month-end" or "due" in row.get("clock", {})


def clock_faults(row: Mapping[str, Any]) -> list[Fault]:
    """Return everything wrong with the clock of a row, and with its old key."""
    said = row.get("clock")
    if said is None:
        return list(_of_the_old_key(row))
    if not isinstance(said, Mapping) or not said:
        return [
            ("clock", said, 'must be forms such as clock.due = { by = "month", clause = ".." }')
        ]
    faults = [fault for form, keys in said.items() for fault in _of_form(str(form), keys)]
    return faults or list(_together(row, said))


def _of_the_old_key(row: Mapping[str, Any]) -> Iterator[Fault]:
    key = "late_counts_back"
    if key not in row:
        return
    yield from ((key, value, remedy) for _, value, remedy in _months("", row[key]))
    if "every" not in row or row.get("from") == "part-made":
        yield key, "", "needs every, and not from part-made; take it out"


def _of_form(form: str, keys: Any) -> Iterator[Fault]:
    """Yield what is wrong with one form by itself."""
    name = f"clock.{form}"
    if form not in _KEYS:
        yield name, "", f"is no form of a clock; write one of {', '.join(_KEYS)}"
        return
    if not isinstance(keys, Mapping) or not str(keys.get("clause") or "").strip():
        yield name, "", 'names no clause; write clause = "section 14(5), sentence 2"'
        return
    known = _KEYS[form]
    for key in keys.keys() - known.keys() - {"clause"}:
        yield f"{name}.{key}", "", f"is not a key of this form; it has {', '.join(known)}, clause"
    for key, words in known.items():
        if key not in keys:
            if (form, key) not in _MAY_LACK:
                yield f"{name}.{key}", "", "is missing; this form needs it"
        elif words is COUNT:
            yield from _count(f"{name}.{key}", keys[key])
        elif words is not None and keys[key] not in words:
            yield f"{name}.{key}", keys[key], f"must be {' or '.join(words)}"
        elif words is None:
            yield from _months(f"{name}.{key}", keys[key], whole=key == "within")


def _count(key: str, value: Any) -> Iterator[Fault]:
    if type(value) is not int or not 1 <= value <= LONGEST_RUN:
        yield key, value, f"must be a whole number of hours, 1 to {LONGEST_RUN}"


def _months(key: str, value: Any, *, whole: bool = True) -> Iterator[Fault]:
    try:
        span = Duration.parse(value if isinstance(value, str) else "")
    except DurationProblem as problem:
        yield key, value, str(problem)
        return
    if whole and span.days:
        yield key, value, "must be whole months, such as P2M; it runs to a month's end"


def _together(row: Mapping[str, Any], said: Mapping[str, Any]) -> Iterator[Fault]:
    """Yield what is wrong between the forms, and between them and the row's other keys."""
    chained = [form for form in ("late", "early") if form in said]
    if "every" not in row and said.keys() - ({"due"} if "life" in row else set()):
        yield "clock", "", "needs every (clock.due: every or life); take it out"
    if "due" in said and "due" in row:
        yield "due", row["due"], "and clock.due say the same twice; take one out"
    if "late_counts_back" in row:
        yield "late_counts_back", "", "is the old word for clock.late; take it out"
    if chained and row.get("from") == "part-made":
        yield f"clock.{chained[0]}", "", "can't stand with from part-made; take it out"
    for form in ("start", "other", "hours"):
        if form in said and said.keys() - {form, "due"}:
            yield f"clock.{form}", "", "stands alone, or beside clock.due; take the others out"
    if "other" in said and row.get("from") not in ("made", "in-service"):
        yield "clock.other", "", "needs from made or in-service in the row; take it out"
    if "every" in row:
        yield from _beside_the_period(row["every"], said)


def _beside_the_period(every: Any, said: Mapping[str, Any]) -> Iterator[Fault]:
    """Refuse an early pass that could be followed by another one at once, and so on for ever."""
    try:
        period = Duration.parse(every)
    except (DurationProblem, TypeError):
        return  # told of `every` itself
    within = said.get("early", {}).get("within")
    if within and Duration.parse(within).months * 2 > period.months:
        yield "clock.early.within", within, "must be at most half of every"
    if "start" in said and period.days:
        yield "clock.start", "", "needs every in years or months; take it out"

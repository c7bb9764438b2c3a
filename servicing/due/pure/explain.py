"""Why a date is what it is: every candidate, in words a person can check with a calendar."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from servicing.due.pure.obligations import (
    Candidate,
    CountedFrom,
    Item,
    Obligation,
    Record,
    Standing,
    StandingWord,
    State,
    asked,
    capped,
)
from servicing.rules.pure.durations import Duration
from servicing.rules.pure.rule import Rule
from servicing.rules.pure.tasks import QUARANTINE, WITHDRAWAL

_WORDS = {
    CountedFrom.RECORD: "last passed",
    CountedFrom.MADE: "made",
    CountedFrom.IN_SERVICE: "in service",
    CountedFrom.PART_MADE: "part made",
}


@dataclass(frozen=True, slots=True)
class Explained:
    """A task with all its candidates; `dropped` where the end of service life comes first."""

    obligation: Obligation
    dropped: bool


def explain(
    item: Item, records: Iterable[Record], rules: Iterable[Rule], on: date
) -> tuple[Explained, ...]:
    """Return every task the rules ask of an item on a day, the dropped ones too."""
    owed = asked(item, records, rules, on)
    kept = capped(owed)
    return tuple(Explained(obligation, obligation not in kept) for obligation in owed)


def day_words(day: date) -> str:
    """Return a day as people read it without doubt, such as 5 Mar 2026."""
    return f"{day.day} {day:%b %Y}"


def duration_words(span: Duration) -> str:
    """Return a span in words, such as 2 years 6 months or 14 days."""
    years, months = divmod(span.months, 12)
    weeks, days = divmod(span.days, 7)
    if days:
        weeks, days = 0, span.days
    parts = ((years, "year"), (months, "month"), (weeks, "week"), (days, "day"))
    return " ".join(f"{n} {word}{'s' if n != 1 else ''}" for n, word in parts if n)


def how_often(rule: Rule) -> str:
    """Return what a rule asks, in words."""
    if rule.every:
        back = " (a late pass: from the due date)" if rule.late_counts_back else ""
        return f"every {duration_words(rule.every)}{back}"
    if rule.calendar:
        return f"once in each calendar {rule.calendar}"
    if rule.after:
        return f"after {' or '.join(rule.after)}"
    if rule.counts:
        return f"at the {_ordinal(rule.limit)} {rule.counts}"
    if rule.life:
        return f"service life {duration_words(rule.life)}"
    return "service life as marked on the item"


def arithmetic(candidate: Candidate) -> str:
    """Return how a candidate's date came about, step by step."""
    rule, due, basis = candidate.rule, candidate.due_on, candidate.basis_on
    if due is None or basis is None or candidate.counted_from is None:
        return f"{how_often(rule)}: nothing to count from, no record and no made date"
    if candidate.counted_from is CountedFrom.FAILURE:
        return f"failed on {day_words(basis)}: due since that day"
    if candidate.counted_from is CountedFrom.EVENT:
        what = how_often(rule)
        return f"{what}: happened on {day_words(basis)}, due since that day"
    if candidate.counted_from is CountedFrom.AT_ONCE:
        return f"no record yet: due from the first day, {day_words(basis)}"
    if candidate.late_on is not None:
        late = day_words(candidate.late_on)
        start = f"passed late on {late}: from the due date {day_words(basis)}"
    else:
        start = f"{_WORDS[candidate.counted_from]} {day_words(basis)}"
    if rule.calendar:
        return f"{start}, due by the end of the next calendar {rule.calendar}: {day_words(due)}"
    span = rule.every or rule.life
    plus = duration_words(span) if span else f"{due.year - basis.year} years as marked"
    end = "end of month " if rule.month_end else ""
    return f"{start} + {plus} = {end}{day_words(due)}"


@dataclass(frozen=True, slots=True)
class Answer:
    """The first line of an item's sheet: its worst state, a sentence, and the reason."""

    state: str
    sentence: str
    reason: str


def answer(tag: str, standing: Standing, owed: Sequence[Obligation], on: date) -> Answer:
    """Say whether an item is ready on a day, by the worst of its standing and obligations.

    An item that no rule asks anything of is not ready either: nobody has looked.
    """
    if standing.word is not StandingWord.IN_SERVICE:
        since = f" since {day_words(standing.since_on)}" if standing.since_on else ""
        word = standing.word.replace("-", " ")
        return Answer(standing.word, f"{tag} is not ready: {word}{since}.", _held_back(standing))
    if not owed:
        why = "No rule asks anything of it on this day. Check the rule tables its site follows."
        return Answer(State.UNDETERMINED, f"{tag} is not known to be ready.", why)
    first = owed[0]
    state = first.state(on)
    if first.due_on is None:
        why = "There is no record and no made date to count from."
        return Answer(state, f"{tag} is not known to be ready: {_task(first.task)}.", why)
    if state is State.OVERDUE:
        late = (on - first.due_on).days
        days = "1 day" if late == 1 else f"{late} days"
        others = sum(1 for o in owed[1:] if o.state(on) is State.OVERDUE)
        more = f" {others} more overdue." if others else ""
        why = f"It was due on {day_words(first.due_on)}, {days} before.{more}"
        return Answer(state, f"{tag} is not ready: {_task(first.task)} is overdue.", why)
    left = (first.due_on - on).days
    days = "the last good day" if left == 0 else f"in {left} day{'s' * (left > 1)}"
    why = f"Next: {_task(first.task)}, due {day_words(first.due_on)} ({days})."
    today = f", but its {_task(first.task)} is due this very day" if left == 0 else ""
    return Answer(state, f"{tag} has nothing overdue{today}.", why)


def _held_back(standing: Standing) -> str:
    """Return why an item is not in service."""
    if standing.word is StandingWord.CONDEMNED:
        return "It can't come back."
    if standing.task == WITHDRAWAL:
        return "It was taken out of service and has not been returned since."
    if standing.task == QUARANTINE:
        return "It is kept back until it has been investigated, and has not been returned since."
    return f"{_task(standing.task).capitalize()} failed and has not passed since."


def _ordinal(number: int) -> str:
    teens = number % 100 in (11, 12, 13)
    return f"{number}{'th' if teens else {1: 'st', 2: 'nd', 3: 'rd'}.get(number % 10, 'th')}"


def _task(task: str) -> str:
    return task.replace("-", " ")

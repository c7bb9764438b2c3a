"""Why a date is what it is: every candidate, in words a person can check with a calendar."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from registry.wording.pure.dates import day_words
from registry.wording.pure.spans import how_many
from servicing.due.pure.event_words import event_words
from servicing.due.pure.obligations import (
    Candidate,
    CountedFrom,
    Item,
    Obligation,
    Record,
    asked,
    capped,
)
from servicing.rules.pure.durations import Duration
from servicing.rules.pure.rule import Rule

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


def duration_words(span: Duration) -> str:
    """Return a span in words, such as 2 years 6 months or 14 days."""
    years, months = divmod(span.months, 12)
    weeks, days = divmod(span.days, 7)
    if days:
        weeks, days = 0, span.days
    parts = ((years, "year"), (months, "month"), (weeks, "week"), (days, "day"))
    return " ".join(how_many(n, word) for n, word in parts if n)


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
        said = f"{event_words(candidate.event)} on {day_words(basis)}"
        return f"{what}: {said}, due since that day"
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


def _ordinal(number: int) -> str:
    teens = number % 100 in (11, 12, 13)
    return f"{number}{'th' if teens else {1: 'st', 2: 'nd', 3: 'rd'}.get(number % 10, 'th')}"

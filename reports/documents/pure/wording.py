"""How documents say what a date was counted from, by which rule, and how many."""

from datetime import date

from registry.wording.pure.dates import day_words

COUNTED_FROM = {
    "record": "the last pass",
    "made": "the day it was made",
    "in-service": "the day it was put in service",
    "at-once": "the day it was put in service",
    "part-made": "the day the part was made",
    "event": "the event",
    "failure": "the failure",
    "due-date": "the due date that the last pass was late or early for",
    "stamp": "what was stamped on it when it was tested",
    "if-done": "the day on which it is taken to be done",
}


def rule_words(rule_id: str, level: str, source: str) -> str:
    """Return a rule with its level and its source."""
    named = f"{rule_id} ({level})" if level else rule_id
    return ", ".join(part for part in (named, source) if part)


def basis_words(due_on: date | None, counted_from: str, basis_on: date | None) -> str:
    """Return what a due date was counted from; where there is none, that nothing was there."""
    if due_on is None:
        return "nothing to count from: no record and no date"
    words = COUNTED_FROM.get(counted_from, counted_from) or "a day not given"
    return f"counted from {words}, {day_words(basis_on)}" if basis_on else f"counted from {words}"

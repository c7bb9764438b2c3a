"""What happened to an item, and what it must be taken through before it is used again.

In the words of the trade, from the words of events and tasks: used today, not yet cleaned
and tested.
"""

from collections.abc import Iterable, Sequence
from datetime import date, timedelta

from registry.wording.pure.dates import day_words
from servicing.due.pure.event_words import DONE, event_words
from servicing.due.pure.obligations import CountedFrom
from servicing.due.pure.owed import Owed
from servicing.rules.pure.rule import SERVICE_LIFE


def when(day: date | None, today: date | None) -> str:
    """Return when something happened: today, yesterday, or the day.

    today: the day on which the words are read; None where they are kept, as on paper.
    """
    if day is None:
        return "on a day not known"
    if today is not None and today - timedelta(days=1) <= day <= today:
        return "today" if day == today else "yesterday"
    return f"on {day_words(day)}"


def what_happened(owed: Owed, today: date | None) -> str:
    """Return the event or the failure that asks for a task, such as used today."""
    if owed.counted_from == CountedFrom.FAILURE:
        return f"{_plain(owed.task)} failed {when(owed.due_on, today)}"
    return f"{event_words(owed.event)} {when(owed.due_on, today)}"


def not_yet(owed: Iterable[Owed], today: date | None) -> str:
    """Return what happened with what has not been done since, of tasks that an event asks for.

    Tasks that wait for the same are said together, in the order given.
    """
    waiting: dict[str, list[Owed]] = {}
    for each in owed:
        waiting.setdefault(what_happened(each, today), []).append(each)
    return "; ".join(f"{said}, {_undone(tasks)}" for said, tasks in waiting.items())


def must_be(owed: Iterable[Owed]) -> str:
    """Return what an item must be before it is used again, such as cleaned and tested."""
    return listed([DONE.get(each.task, f"through its {_plain(each.task)}") for each in owed])


def listed(words: Sequence[str]) -> str:
    """Return words as people list them, each once: a, b and c."""
    once = list(dict.fromkeys(words))
    return " and ".join([*([", ".join(once[:-1])] if once[1:] else []), *once[-1:]])


def _undone(tasks: Sequence[Owed]) -> str:
    if all(each.counted_from == CountedFrom.FAILURE for each in tasks):
        return "not passed since"
    if any(each.task == SERVICE_LIFE for each in tasks):
        return "which ends its service life"
    return f"not yet {must_be(tasks)}"


def _plain(task: str) -> str:
    return task.replace("-", " ")

"""Hours run since the last pass, by the meter of the item, as far as its records tell.

Nothing is reckoned between two readings or after the last one. What the meter showed at a pass
is said by its own record, else by the last reading before, which makes it run longer and so is
safe. Before anything was passed it is nought: a meter counts from new.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from servicing.due.pure.history import History, Record


@dataclass(frozen=True, slots=True)
class Run:
    """How many hours were run, and the day on which the meter was read.

    hours: None where nobody knows. back: for the meter showed less on that day than before it.
    """

    hours: Decimal | None = None
    read_on: date | None = None
    back: bool = False


def run_since(history: History, last: int, limit: int) -> Run:
    """Return what was run since a pass up to the first reading that reaches a limit, or the last.

    last: the position of the pass, -1 for none. A meter that goes back was changed or misread:
    from then on nobody knows.
    """
    readings = list(_readings(history))
    until_pass = [record for place, record in readings if place <= last]
    since = [record for place, record in readings if place > last]
    if (last >= 0 and not until_pass) or not readings:
        return Run()
    first = until_pass[-1].hours if until_pass else Decimal(0)
    read_on = until_pass[-1].done_on if until_pass else since[0].done_on
    begun = shown = first or Decimal(0)
    for record in since:
        hours, read_on = record.hours or Decimal(0), record.done_on
        if hours < shown:
            return Run(None, read_on, back=True)
        shown = hours
        if shown - begun >= limit:
            break
    return Run(shown - begun, read_on)


def _readings(history: History) -> Iterator[tuple[int, Record]]:
    for place, record in enumerate(history.records):
        if record.hours is not None:
            yield place, record

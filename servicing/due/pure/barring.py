"""Which of the rules behind a task can bar, and how long a look that nobody wrote down is excused.

A register into which only the retests were carried over knows nothing of the looks at a
cylinder. Their dates, counted from the made date or from a retest, were over long ago, though
somebody may have looked last month. That excuses them at the filling point for one period
from the day on which the item came into the register: had it been done on that very day, it
would be due again then, so from then on it is overdue whatever was done before. A pressure
test, a life, and what an event or a failure asks for are never excused.
"""

from collections.abc import Sequence
from datetime import date

from servicing.due.pure.counting import Candidate, CountedFrom, periodic
from servicing.rules.pure.rule import Rule


def deciding(candidates: Sequence[Candidate]) -> tuple[Candidate, ...]:
    """Return the first candidate, then those behind it that can bar what the others don't.

    What may be excused hides nothing: a later one may not be.
    """
    found: list[Candidate] = []
    use = filling = False
    for each in candidates:
        more = (each.bars.use and not use) or (each.bars.filling and not filling)
        if more or not found:
            found.append(each)
        use = use or each.bars.use
        filling = filling or (each.bars.filling and not each.unwritten)
    return tuple(found)


def excused_until(
    rule: Rule, due_on: date | None, entered_on: date | None, *, unwritten: bool
) -> date | None:
    """Return the last day on which a look that nobody wrote down doesn't bar filling, or None.

    entered_on: the day on which the item came into the register; None where that is not known,
    which excuses nothing. What fell due later than that could have been written down.
    """
    if not unwritten or entered_on is None or (due_on is not None and due_on >= entered_on):
        return None
    return periodic(rule, CountedFrom.RECORD, entered_on).due_on

"""What may become of the air in a cylinder once something it owes has fallen due.

Overdue is not one state: filling is barred, the way to the retest house is open, and the
air that was filled in time may be used up (49 CFR 180.205(c)). How far it may differs by
country; what is said here names its source.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date

from registry.wording.pure.dates import day_words
from servicing.due.pure.barring import excused_until
from servicing.due.pure.obligations import CountedFrom, Obligation
from servicing.due.pure.owed import Owed, answers_of
from servicing.rules.pure.bars import Bars
from servicing.rules.pure.rule import SERVICE_LIFE
from servicing.rules.pure.tasks import RETEST

FILL, LETS_AIR_OUT = "fill", frozenset({"use", "emptied"})
OPENED_FOR = frozenset({RETEST, "internal-inspection", "overhaul"})
"""Work for which the valve of a cylinder comes out, whatever it found: the air is gone."""
MAY_BE_USED_UP, ASK_FIRST = "may be used up", "ask before it is used up"
NOT_TO_BE_USED = "not to be used"
USE_UP_BY = {
    "US": "49 CFR 180.205(c): a cylinder filled before it fell due may stay in service until empty",
    "Australia": (
        "AS 2337.3:2020 clause 4: due when a filler first receives it after the date; air in "
        "part-used cylinders need not be given back"
    ),
}
USE_UP_ELSEWHERE = "ADR 4.1.6.10 bars the filling and not the use; the local authority decides"


@dataclass(frozen=True, slots=True)
class Debt(Owed):
    """One obligation as far as the air in the cylinder depends on it.

    jurisdiction: of the rule table that decides its date. excused_until: the last day on which a
    look that nobody wrote down doesn't bar filling; None where nothing excuses it.
    """

    jurisdiction: str = ""
    excused_until: date | None = None

    @property
    def never_done(self) -> bool:
        """Whether it is asked for at once and nothing of it is on record."""
        return self.counted_from == CountedFrom.AT_ONCE

    @property
    def last_good_on(self) -> date | None:
        """The last day on which it doesn't bar filling; None where nobody knows one."""
        return self.excused_until or self.due_on

    def closes(self, on: date) -> bool:
        """Say whether nothing may be filled: it is overdue, or wanted before the first time.

        What was never done has a last good day like any date (due/README 7), but none on
        which anybody may breathe on trust. What nobody can date is wanted before, too.
        """
        if not Bars(self.bars).filling:
            return False
        if self.excused_until is not None:
            return on > self.excused_until
        if self.due_on is None:
            return True
        return (self.never_done and self.due_on <= on) or self.overdue(on)


@dataclass(frozen=True, slots=True)
class ChargeState:
    """What may be done with the air inside: a few words, the sentence, and its source."""

    word: str
    sentence: str
    source: str


def filled_on(past: Iterable[tuple[str, date, str]]) -> date | None:
    """Return the day of the last filling that nothing has let out since, or None.

    The one place that says whether a cylinder holds air, as far as records can: the gauge
    has the last word. past: (task, day, outcome) of one item in the order entered, in which
    records of one day count. A filling that failed filled nothing.
    """
    filled: date | None = None
    for task, done_on, outcome in sorted(past, key=lambda row: row[1]):
        if task == FILL and outcome == "pass":
            filled = done_on
        elif task in OPENED_FOR or (task in LETS_AIR_OUT and outcome == "pass"):
            filled = None
    return filled


def debts_of(
    obligations: Iterable[Obligation], places: Mapping[str, str], entered_on: date | None
) -> list[Debt]:
    """Return obligations as the air depends on them.

    places: where each rule table holds. entered_on: the day it came into the register.
    """
    return [
        Debt(
            **asdict(owed),
            jurisdiction=places.get(each.rule.table, ""),
            excused_until=excused_until(
                each.rule, each.due_on, entered_on, unwritten=each.unwritten
            ),
        )
        for obligation in obligations
        for owed, each in answers_of(obligation)
    ]


def charge_state(filled: date | None, owed: Sequence[Debt], on: date) -> ChargeState | None:
    """Return what may become of a charge on a day, or None where nothing overdue bars filling.

    Nothing is said either of a cylinder without a charge, and of one that waits for an
    inspection after an event or a failure: that one is not to be used at all.
    """
    late = [debt for debt in owed if debt.overdue(on) and debt.closes(on)]
    if filled is None or not late or any(debt.happened and debt.overdue(on) for debt in owed):
        return None
    first = min(late, key=lambda debt: debt.last_good_on or date.min)
    due_on = first.last_good_on or date.min
    life = next((debt for debt in late if debt.task == SERVICE_LIFE), None)
    if life is not None and life.due_on:
        return ChargeState(
            NOT_TO_BE_USED,
            f"Filled on {day_words(filled)}. Its service life ended on {day_words(life.due_on)}: "
            "take it out of service, neither use nor refill it.",
            "49 CFR 180.205(c); AS 2337.3:2020 clause 4; Tukes, release of 16 February 2015",
        )
    what = first.task.replace("-", " ")
    if filled > due_on:
        return ChargeState(
            NOT_TO_BE_USED,
            f"Filled on {day_words(filled)}, after its {what} fell due on {day_words(due_on)}: "
            "it should not have been filled. Let the air out.",
            "49 CFR 180.205(c); ADR 4.1.6.10",
        )
    settled = first.jurisdiction in USE_UP_BY
    asks = "" if settled else ", if the local authority agrees"
    return ChargeState(
        MAY_BE_USED_UP if settled else ASK_FIRST,
        f"Filled on {day_words(filled)}, before its {what} fell due on {day_words(due_on)}: "
        f"may be used up{asks}, not refilled or topped up.",
        USE_UP_BY.get(first.jurisdiction, USE_UP_ELSEWHERE),
    )

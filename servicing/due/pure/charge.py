"""What may become of the air in a cylinder once something it owes has fallen due.

Overdue is not one state: filling is barred, the way to the retest house is open, and the
air that was filled in time may be used up (49 CFR 180.205(c)). How far it may differs by
country; what is said here names its source.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date

from registry.wording.pure.dates import day_words
from servicing.due.pure.obligations import Obligation
from servicing.due.pure.owed import Owed, owed_of
from servicing.rules.pure.rule import SERVICE_LIFE

FILL, LETS_AIR_OUT = "fill", frozenset({"use", "emptied"})
OPENED_FOR = frozenset({"hydrostatic-retest", "internal-inspection", "overhaul"})
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

    jurisdiction: of the rule table that decides its date.
    """

    jurisdiction: str = ""


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


def debts_of(owed: Iterable[Obligation], places: Mapping[str, str]) -> list[Debt]:
    """Return obligations as the air depends on them. places: where each rule table holds."""
    kept = list(owed)
    return [
        Debt(**asdict(each), jurisdiction=places.get(o.rule.table, ""))
        for each, o in zip(owed_of(kept), kept, strict=True)
    ]


def charge_state(filled: date | None, owed: Sequence[Debt], on: date) -> ChargeState | None:
    """Return what may become of a charge on a day, or None where nothing is overdue.

    Nothing is said either of a cylinder without a charge, and of one that waits for an
    inspection after an event or a failure: that one is not to be used at all.
    """
    late = [debt for debt in owed if debt.overdue(on)]
    if filled is None or not late or any(debt.happened for debt in late):
        return None
    first = min(late, key=lambda debt: debt.due_on or date.min)
    due_on = first.due_on or date.min
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

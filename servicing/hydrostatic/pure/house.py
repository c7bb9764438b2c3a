"""What a test house says of a cylinder, and what we make of the same figures."""

from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from fractions import Fraction

from servicing.hydrostatic.pure.amounts import HydroProblem, Pressure, figure_text
from servicing.hydrostatic.pure.expansion import Expansion, expansion
from servicing.hydrostatic.pure.limits import Limits, least_test_pressure
from servicing.hydrostatic.pure.verdict import (
    HOLD,
    HOLD_SECONDS,
    Run,
    Subject,
    TestVerdict,
    Word,
    judge,
)
from servicing.ledger.pure.entry import Reading
from servicing.ledger.pure.shoulder import BLANK, COLUMNS, Shoulder

HOUSE_WORDS = (Word.PASS, Word.REJECT, Word.CONDEMN)
"""What a house can say; a repeat is its own affair."""


@dataclass(frozen=True, slots=True)
class Known:
    """What the register knows of a cylinder, where a test is judged by it. None: not known.

    end_stamped: the last good day of the final date that was stamped on it last.
    """

    specification: str
    working: Pressure | None
    test_pressure: Pressure | None
    ree_ml: Decimal | None
    marks: frozenset[str]
    made_on: date | None
    design_life_years: int | None
    fills: int
    end_stamped: date | None = None

    def marked(self, shoulder: Shoulder) -> "Known":
        """Return the same where a test marks another final date: a permit may extend a life."""
        end = shoulder.dates[1]
        return replace(self, end_stamped=end.last) if end else self


@dataclass(frozen=True, slots=True)
class HouseResult:
    """One cylinder's result as the house gives it; figures only where there was a test.

    reached: the test pressure; total_ml, permanent_ml: as the house has corrected them.
    """

    tag: str
    tested_on: date
    method: str
    word: Word
    by: str
    reached: Pressure | None = None
    held_s: int | None = None
    total_ml: Decimal | None = None
    permanent_ml: Decimal | None = None
    limit_percent: Decimal | None = None
    reason: str = ""
    mark: str = ""
    shoulder: Shoulder = BLANK

    def said(self) -> dict[str, str]:
        """Return all of it as text, to keep and to compare: twice the same is one result."""
        numbers = {
            "held_s": self.held_s,
            "total_ml": self.total_ml,
            "permanent_ml": self.permanent_ml,
            "limit_percent": self.limit_percent,
        }
        return {
            "tested_on": self.tested_on.isoformat(),
            "method": self.method,
            "word": str(self.word),
            "by": self.by,
            "reached": str(self.reached or ""),
            "reason": self.reason,
            "mark": self.mark,
            **{COLUMNS[name]: text for name, text in self.shoulder.said.items()},
            **{
                name: "" if value is None else figure_text(value, 6)
                for name, value in numbers.items()
            },
        }

    @property
    def expansion(self) -> Expansion | None:
        """The expansion, where both figures are there. Raises HydroProblem for impossible ones."""
        if self.total_ml is None or self.permanent_ml is None:
            return None
        return expansion(self.total_ml, self.permanent_ml)


@dataclass(frozen=True, slots=True)
class Opinion:
    """Our verdict on somebody's figures. verdict is None where we can't judge; says: why.

    subject: the cylinder as it was judged.
    """

    verdict: TestVerdict | None
    says: str
    subject: Subject | None = None

    @property
    def word(self) -> Word | None:
        """The verdict's word; None where there is none."""
        return None if self.verdict is None else self.verdict.word


def subject_of(known: Known, on: date, limit_percent: Decimal | None, limits: Limits) -> Subject:
    """Return a cylinder as it is judged on the day of a test.

    The test pressure is the registered one, else the least by its working pressure, exact.
    Raises HydroProblem where neither is known, or the specification isn't.
    """
    return Subject(
        test_pressure=least_pressure(known, limits),
        acceptance=limits.acceptance(known.specification),
        permit_percent=None if limit_percent is None else Fraction(limit_percent),
        ree_ml=None if known.ree_ml is None else Fraction(known.ree_ml),
        plus="plus" in known.marks,
        years=None if known.made_on is None else whole_years(known.made_on, on),
        fills=known.fills,
        life_over=_life_over(known, on),
    )


def asked_pressure(known: Known, limits: Limits) -> Pressure:
    """Return the test pressure to set: as registered, else the least sum, rounded up.

    Raises HydroProblem where it can't be told.
    """
    if known.test_pressure is not None:
        return known.test_pressure
    return least_pressure(known, limits).rounded_up()


def least_pressure(known: Known, limits: Limits) -> Pressure:
    """Return the test pressure to judge by, never rounded: as registered, else the least sum.

    Raises HydroProblem where it can't be told.
    """
    if known.test_pressure is not None:
        return known.test_pressure
    if known.working is None:
        raise HydroProblem(
            "Neither test pressure nor working pressure is registered; read them off the "
            "cylinder and edit the item."
        )
    return least_test_pressure(limits, known.specification, known.working).minimum


def opinion_on(result: HouseResult, known: Known, limits: Limits) -> Opinion:
    """Return our verdict on a house's figures. Where we can't judge, it says why."""
    if result.reached is None:
        return Opinion(None, "No figures of a pressure test were given, so none were judged.")
    try:
        known = known.marked(result.shoulder)
        subject = subject_of(known, result.tested_on, result.limit_percent, limits)
        run = Run(result.method, result.reached, result.held_s or 0, result.expansion)
        verdict = judge(subject, run)
    except HydroProblem as problem:
        return Opinion(None, f"Not judged: {problem}")
    return Opinion(verdict, verdict_words(verdict), subject)


def verdict_words(verdict: TestVerdict) -> str:
    """Return a verdict with its reasons and clauses in one line."""
    reasons = "; ".join(f"{reason.says} [{reason.clause}]" for reason in verdict.reasons)
    again = f"; repeat at {verdict.next_pressure}" if verdict.next_pressure else ""
    return f"{verdict.word}: {reasons}{again}"


def whole_years(made_on: date, on: date) -> int:
    """Return the full years from one day to another."""
    return on.year - made_on.year - ((on.month, on.day) < (made_on.month, made_on.day))


def _life_over(known: Known, on: date) -> bool:
    """Say whether the life has ended: from the anniversary of the made date on (CHANGELOG).

    By a stamped final date, after its last good day (due/README 14).
    """
    if known.end_stamped is not None and on > known.end_stamped:
        return True
    if known.made_on is None or known.design_life_years is None:
        return False
    return whole_years(known.made_on, on) >= known.design_life_years


def readings_of(
    *,
    method: str,
    reached: Pressure | None,
    held_s: int | None,
    found: Expansion | None,
    subject: Subject | None,
    limit_percent: Fraction | None,
) -> tuple[Reading, ...]:
    """Return a test's figures as a record's readings, judged where we can; unknown left out.

    subject: the cylinder as judged; None where it can't be.
    """
    readings = [Reading("method", method)] if method else []
    if reached is not None:
        readings.append(_pressure(reached, subject))
    if held_s is not None:
        held = _verdict(held_s >= HOLD_SECONDS)
        least = f"at least {HOLD_SECONDS} s"
        text = str(held_s)
        readings.append(Reading("held", text, "s", text, "s", least, HOLD, held))
    if found is not None:
        readings += _expansions(found, subject, limit_percent)
    return tuple(readings)


def _pressure(reached: Pressure, subject: Subject | None) -> Reading:
    text, value = figure_text(reached.value, 4), figure_text(reached.bar, 4)
    if subject is None:
        return Reading("test pressure", text, reached.unit, value, "bar")
    asked = subject.test_pressure
    verdict = _verdict(reached >= asked)
    return Reading(
        "test pressure", text, reached.unit, value, "bar", f"at least {asked}", "", verdict
    )


def _expansions(found: Expansion, subject: Subject | None, limit: Fraction | None) -> list[Reading]:
    """Return the three expansions and the permanent share, against its limit and the REE."""
    ree = None if subject is None else subject.ree_ml
    percent = figure_text(found.percent, 4)
    share = Reading("permanent of total", percent, "%", percent, "%")
    if limit is not None and subject is not None:
        kept = _verdict(100 * found.permanent_ml <= limit * found.total_ml)
        most, source = f"at most {figure_text(limit, 4)} %", subject.acceptance.source
        share = replace(share, limit=most, source=source, verdict=kept)
    elastic = _ml("elastic expansion", found.elastic_ml)
    if ree is not None:
        most, kept = f"at most {figure_text(ree, 3)} mL (REE)", _verdict(found.elastic_ml <= ree)
        elastic = replace(elastic, limit=most, source="marked on the cylinder", verdict=kept)
    total = _ml("total expansion", found.total_ml)
    return [total, elastic, _ml("permanent expansion", found.permanent_ml), share]


def _ml(name: str, amount: Fraction) -> Reading:
    text = figure_text(amount, 3)
    return Reading(name, text, "mL", text, "mL")


def _verdict(good: bool) -> str:
    return "pass" if good else "fail"

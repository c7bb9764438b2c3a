"""What a hydrostatic test says of a cylinder: pass, repeat, reject or condemn, and by which text.

Clauses are those of 49 CFR 180.205 in the edition of 2015; since 2021 its paragraph (i) is (j).
"""

from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction

from servicing.hydrostatic.pure.amounts import HydroProblem, Pressure, figure_text
from servicing.hydrostatic.pure.expansion import Expansion
from servicing.hydrostatic.pure.limits import Acceptance

HOLD_SECONDS = 30
PRE_CHECK_PERCENT = 90
REPEAT_PERCENT = 10
REPEAT_PSI = 100
HIGHEST_PERCENT = 110
"""More than this of the test pressure is somebody's mistake: a repeat never goes over it."""
MOST_RUNS = 3
"""The first test and two repeats; handbook lore, from memory."""

G5 = "49 CFR 180.205(g)(5)"
G5_ELSEWHERE = f"{G5}, followed for want of an ISO text that was read"
HOLD = "49 CFR 180.205(g)(5); ISO 18119, ISO 10461, ISO 11623 (30 s, secondary)"


class Word(StrEnum):
    """The four verdicts. The later one is the stricter one."""

    PASS = "pass"  # noqa: S105 (no password: a verdict)
    REPEAT = "repeat"
    REJECT = "reject"
    CONDEMN = "condemn"


STRICTNESS = {word: place for place, word in enumerate(Word)}
MEANS = {
    Word.PASS: "the cylinder may go back into service until its next retest",
    Word.REPEAT: "the test doesn't count; test again",
    Word.REJECT: "not to be used; it may be repaired or tested anew",
    Word.CONDEMN: "never to be used again, and made unusable",
}


@dataclass(frozen=True, slots=True)
class Reason:
    """Why a verdict is what it is. seen: how the clause was checked."""

    word: Word
    says: str
    clause: str
    seen: str = "text"


@dataclass(frozen=True, slots=True)
class TestVerdict:
    """The strictest word of all reasons, with those reasons first.

    limit_percent: what the permanent share was held against; None at a proof test.
    next_pressure: at which pressure to repeat, where it is to be repeated.
    """

    word: Word
    reasons: tuple[Reason, ...]
    limit_percent: Fraction | None = None
    next_pressure: Pressure | None = None

    @property
    def governing(self) -> Reason:
        """The reason that decides."""
        return self.reasons[0]


@dataclass(frozen=True, slots=True)
class Subject:
    """What is known of the cylinder. test_pressure: the least its test must reach.

    permit_percent: a limit given by its permit or design standard. ree_ml: as marked.
    years: whole years from manufacture or original test; fills: pressurisations counted.
    life_over: its own service life has ended. Each None where it is not known.
    """

    test_pressure: Pressure
    acceptance: Acceptance
    permit_percent: Fraction | None = None
    ree_ml: Fraction | None = None
    plus: bool = False
    years: int | None = None
    fills: int | None = None
    life_over: bool = False
    no_volumetric: bool = False


@dataclass(frozen=True, slots=True)
class Run:
    """One go of a test, as it was done.

    reached: the highest pressure held. held_s: seconds at it. dropped: pressure fell during
    the hold. before: the highest pressure put on beforehand. expansion: None at a proof test.
    malfunction: what of the rig failed, in words; empty if nothing did. number: 1 for the first
    run of this test. seen_with_eyes: the verdict of the visual part, with its words.
    """

    method: str
    reached: Pressure
    held_s: int
    expansion: Expansion | None = None
    dropped: bool = False
    before: Pressure | None = None
    malfunction: str = ""
    leaks: bool = False
    number: int = 1
    by_eye: Word = Word.PASS
    by_eye_words: str = ""


def is_very_small(outside_in: Fraction, length_in: Fraction) -> bool:
    """Say whether no volumetric test is asked: outside 2 in at most and length under 2 ft.

    49 CFR 180.209(a), Table 1, footnote 1.
    """
    return outside_in <= 2 and length_in < 24


def pre_check_pressure(test_pressure: Pressure) -> Pressure:
    """Return the most that may be put on before the test: 90 % of test pressure (g)(5)."""
    return test_pressure.times(Fraction(PRE_CHECK_PERCENT, 100))


def repeat_pressure(test_pressure: Pressure) -> Pressure:
    """Return the pressure of a repeat after a failure of the rig, unrounded.

    Raised by 10 % or 100 psig, whichever is less (49 CFR 180.205(g)(5)).
    """
    tenth = test_pressure.times(Fraction(REPEAT_PERCENT, 100))
    return test_pressure.plus(min(tenth, Pressure.of(REPEAT_PSI, "psi")))


def judge(subject: Subject, run: Run) -> TestVerdict:
    """Return the verdict on a run: the strictest of all reasons, so nothing excuses another.

    A run that was broken off is judged by what it measured all the same: (g)(5) gives no repeat
    to what must be condemned.

    Raises HydroProblem where a limit is needed that nobody gave, or a volumetric run has no
    expansion.
    """
    volumetric = run.method != "proof"
    if volumetric and run.expansion is None:
        raise HydroProblem("Give total and permanent expansion; only a proof test has none.")
    limit = subject.acceptance.limit_percent(subject.permit_percent) if volumetric else None
    broken_off = _not_complete(subject, run)
    reasons = [
        *_of_the_cylinder(subject, run),
        *_of_the_method(subject, run),
        *_of_the_pressure(subject, run),
    ]
    if run.expansion is not None and limit is not None:
        reasons += _of_the_expansion(subject, run.expansion, limit)
    reasons += [] if broken_off is None else [broken_off]
    reasons += _of_the_rig(run, broken_off)
    if not reasons:
        return TestVerdict(Word.PASS, (_good(subject, run, limit),), limit)
    reasons.sort(key=lambda reason: -STRICTNESS[reason.word])
    word = reasons[0].word
    again = _next_pressure(subject, run) if word is Word.REPEAT else None
    return TestVerdict(word, tuple(reasons), limit, again)


def _of_the_cylinder(subject: Subject, run: Run) -> list[Reason]:
    """What condemns or rejects whatever the pressure test measured."""
    row, found = subject.acceptance, []
    if run.by_eye is not Word.PASS:
        says = run.by_eye_words or "found by the visual inspection"
        found.append(Reason(run.by_eye, says, "49 CFR 180.205(f)(1), (i)(1)(i)"))
    if run.leaks:
        says = "leaks through the wall"
        found.append(Reason(Word.CONDEMN, says, "49 CFR 180.205(i)(1)(ii)"))
    if subject.life_over:
        clause = "49 CFR 180.205(j)(1)(x), letter 24-0033R; AS 2337.3 cl. 4"
        found.append(Reason(Word.CONDEMN, "its service life is over", clause))
    years, fills = subject.years, subject.fills
    if row.life_years is not None and years is not None and years >= row.life_years:
        says = f"{years} years old; {row.life_years} is the end"
        found.append(Reason(Word.CONDEMN, says, row.source, row.seen))
    if row.fills is not None and fills is not None and fills >= row.fills:
        says = f"pressurised {fills} times; {row.fills} is the end"
        found.append(Reason(Word.CONDEMN, says, row.source, row.seen))
    return found


def _of_the_method(subject: Subject, run: Run) -> list[Reason]:
    allowed = (*subject.acceptance.methods, *(["proof"] if subject.no_volumetric else []))
    if run.method in allowed:
        return []
    says = f"the method {run.method} does not count here; use {' or '.join(allowed)}"
    return [Reason(Word.REJECT, says, "49 CFR 180.209(a), Table 1", "memory")]


def _of_the_expansion(subject: Subject, found: Expansion, limit: Fraction) -> list[Reason]:
    row = subject.acceptance
    if found.elastic_ml <= 0:
        says = (
            "everything stayed and nothing came back, which no cylinder does: look for the fault "
            "in the rig before anything is concluded"
        )
        return [Reason(Word.REPEAT, says, "letter 12-0176 (question)")]
    reasons = []
    # Multiplied out and exact: 10.03 % is over 10 %, and 10 % is not.
    if 100 * found.permanent_ml > limit * found.total_ml:
        says = f"permanent {percent_words(found, limit)} of total; {_most(limit)}"
        reasons.append(Reason(Word(row.over), says, row.source, row.seen))
    return [*reasons, *_of_the_elastic(subject, found.elastic_ml)]


def _of_the_elastic(subject: Subject, elastic_ml: Fraction) -> list[Reason]:
    """Hold the elastic expansion against the one marked on the cylinder (REE)."""
    row, ree = subject.acceptance, subject.ree_ml
    if ree is None:
        if row.elastic == "marked":
            says = "its rejection elastic expansion (REE) is not known; read it off the cylinder"
            return [Reason(Word.REJECT, says, row.source, row.seen)]
        return []
    if elastic_ml <= ree or not row.elastic or (row.elastic == "plus" and not subject.plus):
        return []
    says = (
        f"elastic {figure_text(elastic_ml, 3)} mL is over the marked {figure_text(ree, 3)} mL (REE)"
    )
    if row.elastic == "plus":
        says += "; no plus mark, and whether it may serve without one no text that was read settles"
        return [Reason(Word.REJECT, says, "49 CFR 173.302a(b); letter 13-0042 (question)")]
    seen = row.seen if row.elastic == "marked" else "memory"
    return [Reason(Word.CONDEMN, says, row.source, seen)]


def _not_complete(subject: Subject, run: Run) -> Reason | None:
    """Return why a run is no whole test at test pressure, or nothing."""
    says = ""
    if run.reached < subject.test_pressure:
        says = f"only {run.reached} of {subject.test_pressure} was reached"
    elif run.dropped:
        says = "the pressure fell during the hold"
    elif run.held_s < HOLD_SECONDS:
        says = f"held for {run.held_s} s; {HOLD_SECONDS} s is the least"
    if not says:
        return None
    clause = G5 if subject.acceptance.source.startswith("49 CFR") else G5_ELSEWHERE
    if run.malfunction:
        if run.number >= MOST_RUNS:
            says += f"; run {run.number} failed again, and two repeats are the most"
            return Reason(Word.REJECT, says, "handbook practice", "memory")
        return Reason(Word.REPEAT, f"{says}: {run.malfunction}", clause)
    if run.reached <= pre_check_pressure(subject.test_pressure) and not run.dropped:
        return Reason(Word.REPEAT, f"{says}; at or below 90 % nothing is lost", clause)
    says += "; a repeat is allowed only after a failure of the rig: say what failed"
    return Reason(Word.REJECT, says, clause)


def _of_the_rig(run: Run, broken_off: Reason | None) -> list[Reason]:
    reasons = []
    if run.malfunction and broken_off is None:
        says = f"the rig failed although the pressure was held ({run.malfunction}): settle it first"
        reasons.append(Reason(Word.REPEAT, says, G5))
    return reasons


def _of_the_pressure(subject: Subject, run: Run) -> list[Reason]:
    """What was put on before the test, and whether far too much was put on in it."""
    reasons = []
    most = pre_check_pressure(subject.test_pressure)
    if run.before is not None and run.before > most and run.number == 1:
        says = f"{run.before} was put on before the test; {most} at most, for more hides expansion"
        reasons.append(Reason(Word.REJECT, says, G5))
    highest = subject.test_pressure.times(Fraction(HIGHEST_PERCENT, 100))
    if run.reached > highest:
        says = (
            f"{run.reached} is over {HIGHEST_PERCENT} % of {subject.test_pressure}: find out "
            "whether the right cylinder was tested, and whether it was strained"
        )
        reasons.append(Reason(Word.REJECT, says, "common practice", "practice"))
    return reasons


def _next_pressure(subject: Subject, run: Run) -> Pressure:
    """Return the pressure of the repeat: raised where the run went over 90 % of test pressure."""
    if run.reached <= pre_check_pressure(subject.test_pressure):
        return subject.test_pressure
    return repeat_pressure(subject.test_pressure)


def _good(subject: Subject, run: Run, limit: Fraction | None) -> Reason:
    row = subject.acceptance
    if run.expansion is None or limit is None:
        says = f"{run.reached} held for {run.held_s} s without a drop or a leak"
        return Reason(Word.PASS, says, HOLD, "secondary")
    says = f"permanent {percent_words(run.expansion, limit)} of total; {_most(limit)}"
    return Reason(Word.PASS, says, row.source, row.seen)


def _most(limit: Fraction) -> str:
    return f"{figure_text(limit, 4)} % is the most"


def percent_words(found: Expansion, limit: Fraction) -> str:
    """Return the permanent share in words that show on which side of the limit it lies."""
    text = figure_text(found.percent, 4)
    if text == figure_text(limit, 4) and found.percent != limit:
        text = f"just {'over' if found.percent > limit else 'under'} {text}"
    return f"{text} %"

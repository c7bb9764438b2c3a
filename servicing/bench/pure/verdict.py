"""From the answers at the bench to the outcome of one attempt."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from servicing.bench.pure.limits import Limit, LimitProblem, Nominal, ReadingVerdict, judge
from servicing.bench.pure.procedure import Form, Procedure, Step
from servicing.bench.pure.typed import Typed


class Word(StrEnum):
    """What somebody answers to a step that is not measured."""

    GOOD = "good"
    NOT_GOOD = "not-good"
    NOT_APPLICABLE = "not-applicable"
    DONE = "done"
    LEVEL_1 = "level-1"
    LEVEL_2 = "level-2"
    LEVEL_3 = "level-3"


_BY_EYE = (Word.GOOD, Word.NOT_GOOD, Word.NOT_APPLICABLE)
_LEVELS = (Word.LEVEL_1, Word.LEVEL_2, Word.LEVEL_3)
WORDS: dict[Form, tuple[Word, ...]] = {
    Form.CHECK: _BY_EYE,
    Form.DAMAGE: (*_LEVELS, Word.NOT_APPLICABLE),
    Form.MEASURE: (Word.NOT_APPLICABLE,),
    Form.RENEW: (Word.DONE, Word.NOT_APPLICABLE),
    Form.ACT: (Word.DONE, Word.NOT_APPLICABLE),
}
"""The words a step may be answered with; "not applicable" to an act, a measure or a renewal
only where the step is optional, or nobody knows whether it applies."""
NOTE_NEEDED = (Word.NOT_GOOD, Word.LEVEL_2, Word.LEVEL_3)


class NotAnAnswer(ValueError):
    """An answer that belongs to no step, or a word that the step does not know."""


@dataclass(frozen=True, slots=True)
class Answer:
    """What was found or done in one step; a step not yet answered has none.

    typed: the reading of a measure. batch, made_on: of the part renewed, made_on the day it
    was made, None where the part does not say.
    """

    step: str
    word: Word | None = None
    note: str = ""
    typed: Typed | None = None
    batch: str = ""
    made_on: date | None = None


@dataclass(frozen=True, slots=True)
class Missing:
    """A step that still needs something, and what.

    begun: whether it was answered in part, such as "not good" without a note.
    """

    step: str
    remedy: str
    begun: bool


@dataclass(frozen=True, slots=True)
class Outcome:
    """What an attempt comes to.

    outcome: "pass", "fail", or "" while something is missing and nothing is wrong so far.
    A mask that is torn fails at once, with the later steps missing and listed as such.
    reasons: why it fails, in the order of the steps. verdicts: of every reading that could
    be judged, by step. condemn: damage of level 3 was found; condemning is proposed, a
    person decides.
    """

    outcome: str
    reasons: tuple[str, ...]
    missing: tuple[Missing, ...]
    verdicts: Mapping[str, ReadingVerdict]
    condemn: bool

    @property
    def may_sign(self) -> bool:
        """Whether the attempt can be signed as it stands: decided, and no answer half given."""
        return bool(self.outcome) and not any(lack.begun for lack in self.missing)


def outcome_of(
    procedure: Procedure, answers: Iterable[Answer], limits: Mapping[str, Limit]
) -> Outcome:
    """Return what an attempt comes to.

    limits: by step id, what each measure is judged by (`Measure.limit_for`); a measure without
    one can't be judged and stays missing. A pass needs every step answered and nothing found.
    Raises NotAnAnswer for an answer to no step of it, or twice to one, or a strange word.
    """
    given = _by_step(procedure, answers)
    verdicts: dict[str, ReadingVerdict] = {}
    missing: list[Missing] = []
    reasons: list[str] = []
    for step in procedure.steps:
        answer = given.get(step.id) or Answer(step.id)
        if answer.typed is not None and step.id in limits:
            verdicts[step.id] = judge(answer.typed.value, answer.typed.unit, limits[step.id])
        if lacking := _lacking(step, answer, limits):
            missing.append(Missing(step.id, lacking, answer.word is not None))
        if fault := _fault(step, answer, verdicts.get(step.id)):
            reasons.append(fault)
    word = "fail" if reasons else "" if missing else "pass"
    condemn = any(answer.word is Word.LEVEL_3 for answer in given.values())
    return Outcome(word, tuple(reasons), tuple(missing), verdicts, condemn)


def next_attempt(numbers: Iterable[int]) -> int:
    """Return the number of the next attempt; the first is 1. Failed ones keep theirs."""
    return max(numbers, default=0) + 1


def _by_step(procedure: Procedure, answers: Iterable[Answer]) -> dict[str, Answer]:
    steps = {step.id: step for step in procedure.steps}
    given: dict[str, Answer] = {}
    for answer in answers:
        step = steps.get(answer.step)
        if step is None or answer.step in given:
            said = "twice answered" if step else f"no step of {procedure.id}"
            raise NotAnAnswer(f"{answer.step} is {said}.")
        _refuse_strange(step, answer)
        given[answer.step] = answer
    return given


def _refuse_strange(step: Step, answer: Answer) -> None:
    if answer.word is not None and answer.word not in WORDS[step.form]:
        words = ", ".join(WORDS[step.form])
        raise NotAnAnswer(f"{step.id} is answered with one of {words}, not {answer.word}.")
    if answer.typed is not None and step.form is not Form.MEASURE:
        raise NotAnAnswer(f"{step.id} measures nothing.")
    if answer.word is Word.NOT_APPLICABLE and not step.may_be_left:
        raise NotAnAnswer(f"{step.id} always applies.")
    if (
        step.measure
        and answer.typed
        and answer.typed.unit.quantity is not step.measure.unit.quantity
    ):
        raise NotAnAnswer(f"{step.id} is measured in {step.measure.unit.name}.")


def _lacking(step: Step, answer: Answer, limits: Mapping[str, Limit]) -> str:
    """Return what a step still needs, or nothing."""
    if answer.word is Word.NOT_APPLICABLE:
        return ""
    if step.form is Form.MEASURE:
        return _lacking_reading(step, answer, limits)
    if answer.word is None:
        return "Confirm that it was done." if step.form is Form.ACT else "Choose what was found."
    if answer.word in NOTE_NEEDED and not answer.note.strip():
        return "Write what is not good."
    if step.form is Form.RENEW and not answer.batch.strip():
        return "Write the batch number of the new part."
    return ""


def _lacking_reading(step: Step, answer: Answer, limits: Mapping[str, Limit]) -> str:
    if answer.typed is None:
        return "Enter the reading."
    if step.id not in limits:
        return "The limit is not known, so the reading can't be judged; it has to be set first."
    return ""


def _fault(step: Step, answer: Answer, verdict: ReadingVerdict | None) -> str:
    """Return why a step makes the attempt fail, or nothing."""
    if verdict is not None and not verdict.passed:
        return f"{step.text} {verdict.reason}"
    if answer.word is Word.NOT_GOOD:
        return f"{step.text} Not good: {answer.note.strip()}"
    if answer.word in (Word.LEVEL_2, Word.LEVEL_3):
        said = "repair or assess" if answer.word is Word.LEVEL_2 else "condemn"
        level = answer.word.removeprefix("level-")
        return f"{step.text} Damage of level {level} ({said}): {answer.note.strip()}"
    return ""


def limits_for(
    procedure: Procedure, marked: Mapping[str, Nominal], special: Mapping[str, Limit]
) -> tuple[dict[str, Limit], dict[str, str]]:
    """Return what each measure is judged by, and why some can't be, both by step id.

    marked: what shares are taken of, by the register's names. special: the limits of the
    item's type by the reading's name. Where one turned out looser
    than the procedure's (a newer edition is stricter) nothing is judged until it is set right.
    """
    limits: dict[str, Limit] = {}
    unset: dict[str, str] = {}
    for step in procedure.steps:
        if (measure := step.measure) is None:
            continue
        try:
            limits[step.id] = measure.limit_for(marked, special.get(measure.reading))
        except LimitProblem as problem:
            unset[step.id] = str(problem)
    return limits, unset

"""Where an attempt stands: its steps in order, what was answered, what comes next."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from registry.wording.pure.dates import day_words
from servicing.bench.pure.limits import Limit
from servicing.bench.pure.procedure import Procedure, Step
from servicing.bench.pure.units import Unit, quantity_text
from servicing.bench.pure.verdict import Answer, Outcome, Word, outcome_of
from servicing.ledger.pure.wording import with_unit

TO_DO, GOOD, NOT_GOOD, LEFT = "to-do", "good", "not-good", "left"
"""How a step on the rail stands. left: not applicable."""
_FOUND = {
    Word.GOOD: "good",
    Word.NOT_GOOD: "not good",
    Word.NOT_APPLICABLE: "not applicable",
    Word.DONE: "done",
    Word.LEVEL_1: "level 1, accept",
    Word.LEVEL_2: "level 2, repair or assess",
    Word.LEVEL_3: "level 3, condemn",
}


class OutOfOrder(ValueError):
    """A step was answered before those that come first; the text names the one to do."""


@dataclass(frozen=True, slots=True)
class Place:
    """A step, where it stands in the procedure, and how.

    finding: the answer in words, with the reading as typed. why: the verdict's reason, or what
    is missing. limit: what a measure is judged by, None where it is not known.
    """

    step: Step
    number: int
    state: str
    finding: str
    why: str
    answer: Answer | None
    limit: Limit | None

    @property
    def name(self) -> str:
        """The step's short name, for the rail."""
        return self.step.id.replace("-", " ")

    @property
    def judged(self) -> str:
        """pass or fail where a reading was judged, else nothing."""
        if self.answer is None or self.answer.typed is None:
            return ""
        return {GOOD: "pass", NOT_GOOD: "fail"}.get(self.state, "")


@dataclass(frozen=True, slots=True)
class Course:
    """An attempt as it stands. unset: why a measure has no limit, by step id."""

    procedure: Procedure
    places: tuple[Place, ...]
    outcome: Outcome
    unset: Mapping[str, str]

    @property
    def next_open(self) -> Place | None:
        """The first step that still needs something, or None."""
        return next((place for place in self.places if place.state == TO_DO), None)

    def place(self, step: str) -> Place | None:
        """Return a step by its id."""
        return next((place for place in self.places if place.step.id == step), None)

    def after(self, step: str) -> Place | None:
        """Return the next step that needs something, those behind `step` first."""
        names = [place.step.id for place in self.places]
        start = names.index(step) + 1 if step in names else 0
        behind = (place for place in self.places[start:] if place.state == TO_DO)
        return next(behind, None) or self.next_open

    def answerable(self, step: str) -> Place:
        """Return a step that may be answered now. Raises OutOfOrder where others come first."""
        place, first = self.place(step), self.next_open
        if place is None:
            raise OutOfOrder(f"{step or 'That'} is no step of this procedure; do the one below.")
        if first is not None and first.number < place.number:
            raise OutOfOrder(
                f"Step {place.number} comes after step {first.number}; nothing was saved. "
                f"Do this first: {first.step.text}"
            )
        return place


def course_of(
    procedure: Procedure,
    answers: Iterable[Answer],
    limits: Mapping[str, Limit],
    unset: Mapping[str, str],
) -> Course:
    """Return how an attempt stands; see `outcome_of` for the arguments."""
    given = {answer.step: answer for answer in answers}
    outcome = outcome_of(procedure, given.values(), limits)
    missing = {lack.step: unset.get(lack.step, lack.remedy) for lack in outcome.missing}
    places = tuple(
        _place(step, number, given.get(step.id), outcome, missing, limits.get(step.id))
        for number, step in enumerate(procedure.steps, 1)
    )
    return Course(procedure, places, outcome, unset)


def _place(  # noqa: PLR0917
    step: Step,
    number: int,
    answer: Answer | None,
    outcome: Outcome,
    missing: Mapping[str, str],
    limit: Limit | None,
) -> Place:
    found = found_words(answer)
    verdict = outcome.verdicts.get(step.id)
    if step.id in missing:
        return Place(step, number, TO_DO, found, missing[step.id], answer, limit)
    bad = answer is not None and answer.word in (Word.NOT_GOOD, Word.LEVEL_2, Word.LEVEL_3)
    if bad or (verdict is not None and not verdict.passed):
        why = verdict.reason if verdict else ""
        return Place(step, number, NOT_GOOD, found, why, answer, limit)
    left = answer is not None and answer.word is Word.NOT_APPLICABLE
    why = verdict.reason if verdict else ""
    return Place(step, number, LEFT if left else GOOD, found, why, answer, limit)


def found_words(answer: Answer | None) -> str:
    """Return an answer in words: the reading as typed with its unit, or what was found."""
    if answer is None:
        return ""
    if answer.typed is not None:
        return f"{as_typed(answer)}{f' ({answer.note})' if answer.note else ''}"
    said = _FOUND.get(answer.word, "") if answer.word else ""
    if answer.batch:
        said += f", batch {answer.batch}"
    if answer.made_on:
        said += f", made {day_words(answer.made_on)}"
    return f"{said}: {answer.note}" if answer.note else said


def as_typed(answer: Answer) -> str:
    """Return a reading's digits exactly as typed, with its unit once."""
    if answer.typed is None:
        return ""
    return with_unit(answer.typed.text, answer.typed.unit.name)


def limit_about(limit: Limit, unit: Unit) -> str:
    """Return a limit's edges in the unit a field stands in, where that is another one.

    Rounded, and said so: verdicts are never worked out from them.
    """
    if unit == limit.unit or unit.quantity is not limit.unit.quantity:
        return ""
    edges = [edge for edge in (limit.low, limit.high) if edge is not None]
    return "; ".join(
        f"{quantity_text(edge, limit.unit)} is about {quantity_text(edge, limit.unit, unit)}"
        for edge in edges
    )

"""Which instruments a procedure needs, and for which of its readings."""

from collections.abc import Iterable

from servicing.bench.pure.answers import SHOWN_AS
from servicing.bench.pure.procedure import Measure, Procedure, Step
from servicing.bench.pure.verdict import Answer

PLAIN = frozenset({"timer", "inspection-lamp"})
"""Things that must be at hand and that no calibration belongs to: common practice."""


def calibrated(procedure: Procedure) -> tuple[str, ...]:
    """Return the words of the instruments that must be in calibration, in order."""
    return tuple(word for word in procedure.needs if word not in PLAIN)


def plain(procedure: Procedure) -> tuple[str, ...]:
    """Return the words of what must only be at hand."""
    return tuple(word for word in procedure.needs if word in PLAIN)


def word_for(procedure: Procedure, step: Step) -> str:
    """Return the word of the instrument that a step's reading is made with, or nothing.

    A step that names none is measured with what the procedure names for no step by itself.
    """
    if step.measure is None:
        return ""
    named = {each.instrument for each in procedure.steps}
    loose = [word for word in calibrated(procedure) if word not in named]
    return step.instrument or (loose[0] if loose else "")


def measured_with(procedure: Procedure, word: str) -> tuple[Measure, ...]:
    """Return what a procedure measures with the instrument that a word stands for."""
    steps = (step for step in procedure.steps if word_for(procedure, step) == word)
    return tuple(step.measure for step in steps if step.measure is not None)


def used(procedure: Procedure, answers: Iterable[Answer]) -> tuple[str, ...]:
    """Return the words of the instruments that the readings given were made with."""
    measured = {answer.step for answer in answers if answer.typed is not None}
    words = (word_for(procedure, step) for step in procedure.steps if step.id in measured)
    return tuple(dict.fromkeys(word for word in words if word))


def has_other_units(procedure: Procedure) -> bool:
    """Say whether a reading stands in a unit that some places read otherwise: bar, L."""
    return any(step.measure and step.measure.unit.name in SHOWN_AS for step in procedure.steps)

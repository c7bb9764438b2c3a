"""Answers as a draft keeps them: plain text that survives until they are signed.

A reading is kept as typed, with the unit its field stood in, and read again each time it is
needed, so that a draft never says anything but what was typed.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from servicing.bench.pure.procedure import Form, Measure, Procedure, Step
from servicing.bench.pure.ranges import Scale
from servicing.bench.pure.typed import Typed, TypedProblem, question, read_typed
from servicing.bench.pure.units import UNITS, Quantity, Unit
from servicing.bench.pure.verdict import WORDS, Answer, Word

StoredAnswer = dict[str, str]
"""One step's answer: word, note, typed, unit, sure, batch, made_on, and the readings typed
`before`; what is empty is left out."""

SHOWN_AS = {"bar": "psi", "L": "ft3"}
"""Units some places read instead of ours. Small pressures stay in mbar everywhere."""


class AnswerProblem(ValueError):
    """An answer that can't be kept as given; the text says what to do. field: where."""

    def __init__(self, text: str, field: str) -> None:
        super().__init__(text)
        self.field = field


class Unusual(AnswerProblem):
    """A reading outside what is plausible: asked about, kept once it is confirmed."""


@dataclass(frozen=True, slots=True)
class Given:
    """What somebody sent for one step, as it came. sure: the reading they confirmed."""

    word: str = ""
    note: str = ""
    typed: str = ""
    unit: str = ""
    sure: str = ""
    batch: str = ""
    made_on: date | None = None


def display_unit(unit: Unit, imperial: bool) -> Unit:
    """Return the unit a field stands in: our own, or the one that a place reads."""
    return UNITS[SHOWN_AS[unit.name]] if imperial and unit.name in SHOWN_AS else unit


def stored_answer(step: Step, given: Given, scale: Scale | None = None) -> StoredAnswer:
    """Return an answer as it is kept.

    scale: of the instrument that a reading is made with. Raises AnswerProblem where something
    is missing or can't be read, or the instrument can't show it; Unusual where a reading
    lies outside the plausible span or the instrument's range and was not confirmed.
    """
    if given.typed.strip() and step.measure is not None:
        sure = _sure(step.measure, given, scale)
        return _filled(typed=given.typed, unit=given.unit, sure=sure, note=given.note)
    if given.word not in WORDS[step.form]:
        raise _unanswered(step, given)
    word = Word(given.word)
    if word in (Word.NOT_GOOD, Word.LEVEL_2, Word.LEVEL_3) and not given.note.strip():
        raise AnswerProblem("Write what is not good: what, where, how bad.", "note")
    if word is Word.NOT_APPLICABLE and not step.may_be_left:
        raise AnswerProblem("This step always applies; do it, then confirm it.", "word")
    if step.form is Form.RENEW and word is Word.DONE and not given.batch.strip():
        raise AnswerProblem("Write the batch number of the new part.", "batch")
    made_on = given.made_on.isoformat() if given.made_on else ""
    return _filled(word=word.value, note=given.note, batch=given.batch, made_on=made_on)


def for_all(
    procedure: Procedure, left: Iterable[str], forms: Iterable[Form]
) -> dict[str, dict[str, str]]:
    """Return the answers that one word for a whole batch stands for, by step.

    forms: the steps that may be said so; a renewal that is optional counts as not done.
    left: measures that apply to none of the items; where one does apply to an item, no
    answer of it is made from that.
    """
    word = {Form.CHECK: Word.GOOD, Form.DAMAGE: Word.LEVEL_1, Form.ACT: Word.DONE}
    said = {s.id: word[s.form] for s in procedure.steps if s.form in forms and s.form in word}
    not_done = {s.id for s in procedure.steps if s.form is Form.RENEW and s.optional}
    not_done |= {s.id for s in procedure.steps if s.measure and s.id in set(left)}
    said |= dict.fromkeys(not_done, Word.NOT_APPLICABLE)
    return {step: {"word": each.value} for step, each in said.items()}


def retyped(answer: StoredAnswer, before: Mapping[str, str]) -> StoredAnswer:
    """Return an answer that keeps the readings it takes the place of, so that none is lost."""
    earlier = [before.get("before", ""), before.get("typed", "")]
    if before.get("typed") and before["typed"] != answer.get("typed"):
        return {**answer, "before": "; ".join(text for text in earlier if text)}
    return {**answer, "before": earlier[0]} if earlier[0] else answer


def typed_before(draft: Mapping[str, Any]) -> dict[str, str]:
    """Return the readings that were typed first and then corrected, by step."""
    return {step: held["before"] for step, held in draft.items() if held.get("before")}


def answers(procedure: Procedure, draft: Mapping[str, Any]) -> list[Answer]:
    """Return what a draft holds as answers to a procedure's steps.

    What belongs to no step of it, or no longer fits its step, is left out and so asked anew.
    """
    found = []
    for step in procedure.steps:
        held = draft.get(step.id)
        answer = _answer(step, held) if held else None
        if answer is not None:
            found.append(answer)
    return found


def carried_over(procedure: Procedure, draft: Mapping[str, Any]) -> dict[str, Any]:
    """Return what the next attempt may take over: steps that were found good by eye or done.

    Nothing that is measured is carried over, and nothing that was not good.
    """
    by_eye = {step.id for step in procedure.steps if step.form in (Form.CHECK, Form.DAMAGE)}
    good = (Word.GOOD, Word.LEVEL_1, Word.NOT_APPLICABLE)
    return {name: held for name, held in draft.items() if name in by_eye and _word(held) in good}


def reading_of(step: Step, held: Mapping[str, str]) -> Typed | None:
    """Return the reading that a kept answer holds, or None."""
    if step.measure is None or not held.get("typed"):
        return None
    unit = UNITS.get(held.get("unit", ""), step.measure.unit)
    try:
        return read_typed(held["typed"], unit, step.measure.plausible)
    except TypedProblem:
        return None


def _answer(step: Step, held: Mapping[str, str]) -> Answer | None:
    word, typed = _word(held), reading_of(step, held)
    if (word not in WORDS[step.form] and typed is None) or (
        word is Word.NOT_APPLICABLE and not step.may_be_left
    ):
        return None
    made_on = held.get("made_on", "")
    return Answer(
        step.id,
        word,
        held.get("note", ""),
        typed,
        held.get("batch", ""),
        date.fromisoformat(made_on) if made_on else None,
    )


def _word(held: Mapping[str, str]) -> Word | None:
    try:
        return Word(held.get("word", ""))
    except ValueError:
        return None


def _sure(measure: Measure, given: Given, scale: Scale | None) -> str:
    """Return the reading as confirmed, or nothing where there is nothing to confirm."""
    unit = UNITS.get(given.unit, measure.unit)
    if unit.quantity is not measure.unit.quantity:
        raise AnswerProblem(f"Write the reading in {measure.unit.name}.", "typed")
    try:
        typed = read_typed(given.typed, unit, measure.plausible)
    except TypedProblem as problem:
        raise AnswerProblem(str(problem), "typed") from problem
    if scale is not None and (why := scale.impossible(typed, measure)):
        raise AnswerProblem(why, "typed")
    asked = question(typed, measure.plausible)
    if not asked and scale is not None:
        asked = scale.question(typed, measure)
    if asked and given.sure != given.typed:
        raise Unusual(asked, "typed")
    return given.typed if asked else ""


def _unanswered(step: Step, given: Given) -> AnswerProblem:
    if step.measure is not None:
        if step.measure.unit.quantity is Quantity.PRESSURE:
            return AnswerProblem("Write the pressure that was read, such as 1.5.", "typed")
        return AnswerProblem("Write the reading, such as 1.5.", "typed")
    said = {
        Form.CHECK: "Choose good or not good.",
        Form.DAMAGE: "Choose the level of damage; level 1 where there is none.",
        Form.RENEW: "Say whether the part was renewed.",
        Form.ACT: "Confirm that it was done.",
    }
    return AnswerProblem(said[step.form], "word")


def _filled(**texts: str) -> StoredAnswer:
    """Return what is not empty. A reading keeps its spaces, for it is kept as typed."""
    return {name: text if name == "typed" else text.strip() for name, text in texts.items() if text}

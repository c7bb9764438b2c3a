"""From an attempt to what its record says: readings with verdicts, checks, parts."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from servicing.bench.pure.course import Course, Place
from servicing.bench.pure.needs import word_for
from servicing.bench.pure.procedure import Form
from servicing.bench.pure.units import CANONICAL, canonical
from servicing.bench.pure.verdict import Answer, Word
from servicing.ledger.pure.entry import Check, PartUsed, Reading


@dataclass(frozen=True, slots=True)
class Renewal:
    """A part renewed in an attempt that is a record of a task of its own.

    step: by which it was answered. task: such as disc-renewal.
    """

    step: str
    task: str
    part: PartUsed
    check: Check


@dataclass(frozen=True, slots=True)
class Said:
    """What the record of an attempt says of its steps.

    note: the notes that were written beside readings. part_made_on: the earliest made date
    of the parts renewed that have no record of their own; shelf time counts from it.
    """

    readings: tuple[Reading, ...]
    checks: tuple[Check, ...]
    parts: tuple[PartUsed, ...]
    note: str
    part_made_on: date | None


def said_of(course: Course, instruments: Mapping[str, str], before: Mapping[str, str]) -> Said:
    """Return what the record of an attempt says, in the order of its steps.

    instruments: as marked, by the procedure's word for them. before: readings typed first
    and corrected before signing, by step; the note names them.
    """
    done = [(place, place.answer) for place in course.places if place.answer is not None]
    readings = [(p, a) for p, a in done if a.typed is not None]
    notes = [f"{place.name}: {a.note}" for place, a in readings if a.note]
    notes += [
        f"{p.name}: typed as {before[p.step.id]} first" for p, _ in done if p.step.id in before
    ]
    renewed = [(p, a) for p, a in done if p.step.form is Form.RENEW and a.word is Word.DONE]
    own = {renewal.step for renewal in renewals_of(course)}
    here = [answer.made_on for place, answer in renewed if place.step.id not in own]
    return Said(
        readings=tuple(
            _reading(p, a, instruments.get(word_for(course.procedure, p.step), ""))
            for p, a in readings
        ),
        checks=tuple(
            _check(place, answer)
            for place, answer in done
            if answer.typed is None and answer.word is not None
        ),
        parts=tuple(_part(place, answer) for place, answer in renewed),
        note="; ".join(notes),
        part_made_on=min((made_on for made_on in here if made_on), default=None),
    )


def renewals_of(course: Course) -> tuple[Renewal, ...]:
    """Return the parts renewed in an attempt that are records of their own, as to be entered.

    A part is renewed whether the test passed or not. Of several parts of one task the one
    made first comes last, for the latest record is what its next date is counted from; a
    part that does not say when it was made is counted from the day of the work.
    """
    found = [
        Renewal(place.step.id, place.step.renews, _part(place, answer), _check(place, answer))
        for place in course.places
        if (answer := place.answer) is not None
        and answer.word is Word.DONE
        and place.step.renews not in ("", course.procedure.task)
    ]
    return tuple(sorted(found, key=lambda each: each.part.made_on or date.max, reverse=True))


def _part(place: Place, answer: Answer) -> PartUsed:
    return PartUsed(place.step.part, answer.batch, answer.made_on)


def _check(place: Place, answer: Answer) -> Check:
    assert answer.word is not None  # noqa: S101 (a word was given)
    return Check(place.step.id, place.step.text, answer.word.value, answer.note)


def _reading(place: Place, answer: Answer, instrument: str) -> Reading:
    typed, measure = answer.typed, place.step.measure
    assert typed is not None and measure is not None  # noqa: S101, PT018 (a reading was given)
    return Reading(
        name=measure.reading,
        typed=typed.text,
        unit=typed.unit.name,
        value=f"{canonical(typed.value, typed.unit):f}",
        canonical_unit=CANONICAL[typed.unit.quantity].name,
        limit=place.limit.words if place.limit else "",
        source=place.limit.source if place.limit else "",
        verdict=place.judged,
        instrument=instrument,
    )

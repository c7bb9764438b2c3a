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
class Said:
    """What the record of an attempt says of its steps.

    note: the notes that were written beside readings. part_made_on: the earliest made date
    of the parts renewed; shelf time counts from it.
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
    renewed = [
        PartUsed(place.step.part, answer.batch, answer.made_on)
        for place, answer in done
        if place.step.form is Form.RENEW and answer.word is Word.DONE
    ]
    return Said(
        readings=tuple(
            _reading(p, a, instruments.get(word_for(course.procedure, p.step), ""))
            for p, a in readings
        ),
        checks=tuple(
            Check(place.step.id, place.step.text, answer.word.value, answer.note)
            for place, answer in done
            if answer.typed is None and answer.word is not None
        ),
        parts=tuple(renewed),
        note="; ".join(notes),
        part_made_on=min((part.made_on for part in renewed if part.made_on), default=None),
    )


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

"""A piece of work at the bench: an item, a task, and how far one person has come with it."""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

from django.contrib.auth.models import User
from django.db.models import QuerySet

from registry.items.models import Item
from servicing.bench.models import Draft, ProcedureVersion
from servicing.bench.pure.answers import answers
from servicing.bench.pure.course import Course, course_of
from servicing.bench.pure.needs import calibrated, used, word_for
from servicing.bench.pure.procedure import Procedure
from servicing.bench.pure.ranges import Scale
from servicing.bench.queries import procedures
from servicing.bench.queries.facts import Adopted
from servicing.bench.queries.serving import refusal_for
from servicing.due.queries.instruments import Calibration, calibration_of
from servicing.ledger.pure.entry import FAIL
from servicing.ledger.queries.records import last_of_the_day, last_position


@dataclass(frozen=True, slots=True)
class Stood:
    """What many drafts have in common, once it was looked up.

    calibrations: by instrument and day. adopted: rule tables by site and day.
    """

    calibrations: dict[tuple[int, date], Calibration] = field(default_factory=dict)
    adopted: Adopted = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Work:
    """One attempt at one task on one item, as it stands.

    draft: what is kept of it; None before the first answer. instruments: by the procedure's
    word, those chosen, each as its calibration stood on `done_on`.
    """

    item: Item
    task: str
    at_hand: ProcedureVersion
    done_on: date
    attempt: int
    draft: Draft | None
    course: Course
    instruments: Mapping[str, Calibration]

    @property
    def procedure(self) -> Procedure:
        """The procedure with the steps that apply to the item, or may."""
        return self.course.procedure

    @property
    def needed(self) -> tuple[str, ...]:
        """The words of the instruments that must be in calibration."""
        return calibrated(self.procedure)

    @property
    def not_chosen(self) -> tuple[str, ...]:
        """The words for which no instrument is chosen yet."""
        return tuple(word for word in self.needed if word not in self.instruments)

    @property
    def used(self) -> tuple[str, ...]:
        """The words of the instruments that readings were made with."""
        given = [place.answer for place in self.course.places if place.answer is not None]
        return used(self.procedure, given)

    @property
    def refusals(self) -> tuple[str, ...]:
        """Why readings can't stand: instruments not chosen, out of calibration, not fit for it."""
        said = []
        for word in self.used:
            if word not in self.instruments:
                said.append(f"The {word.replace('-', ' ')} used is not chosen yet.")
            elif refusal := self.refusal_for(word):
                said.append(f"{refusal[0].upper()}{refusal[1:]}.")
        for place in self.course.places:
            scale = self.scale_for(word_for(self.procedure, place.step))
            if scale and place.step.measure and place.answer and place.answer.typed:
                said.append(scale.impossible(place.answer.typed, place.step.measure))
        return tuple(text for text in said if text)

    def refusal_for(self, word: str) -> str:
        """Return why nothing may be judged with the instrument chosen for a word, or nothing."""
        chosen = self.instruments.get(word)
        return refusal_for(chosen, word, [self.procedure]) if chosen else ""

    def scale_for(self, word: str) -> Scale | None:
        """Return how far the instrument chosen for a word shows; None where none is chosen."""
        chosen = self.instruments.get(word)
        called = f"{chosen.item.tag}, {chosen.item.type}" if chosen else ""
        return Scale(called, chosen.serving.ranges) if chosen else None

    @property
    def procedure_words(self) -> str:
        """The procedure as a record names it: id, version and content hash."""
        return f"{self.at_hand} {self.at_hand.content_hash}"

    @property
    def procedure_moved(self) -> bool:
        """Whether another version of the procedure came into force since the draft began."""
        begun = self.draft.begun_with if self.draft else ""
        return bool(begun) and begun != self.at_hand.content_hash

    def seen(self) -> str:
        """Return a short text that changes with anything the check page shows of this work."""
        chosen = sorted(
            (w, c.as_stood.calibration_hash, c.state, str(c.serving))
            for w, c in self.instruments.items()
        )
        shown = (
            last_position(self.item),
            self.done_on,
            self.attempt,
            chosen,
            self.at_hand.content_hash,
            [
                (p.step.id, p.finding, p.state, p.limit and p.limit.words)
                for p in self.course.places
            ],
        )
        return hashlib.sha256(repr(shown).encode()).hexdigest()[:32]


def draft_of(user: User, item: Item, task: str) -> Draft | None:
    """Return the open draft of a person for a task of an item. Nobody sees another's."""
    return Draft.objects.filter(user=user, item=item, task=task, closed=False).first()


def drafts_of(user: User) -> QuerySet[Draft]:
    """Return the open drafts of a person, those touched last first."""
    return Draft.objects.filter(user=user, closed=False).select_related("item__type", "item__site")


def attempts_of(user: User, item: Item, task: str) -> list[Draft]:
    """Return the attempts a person has in hand for a task of an item by itself, in order."""
    held = Draft.objects.filter(user=user, item=item, task=task, batch=None).order_by("attempt")
    return list(held) if held.filter(closed=False).exists() else []


def next_attempt(user: User, item: Item, task: str, on: date) -> int:
    """Return the number that the next attempt of a day has: one more than a failed one."""
    closed = Draft.objects.filter(user=user, item=item, task=task, closed=True)
    numbers = [*closed.values_list("attempt", flat=True)]
    last = last_of_the_day(item, task, on)
    if last is not None and last.outcome == FAIL:
        numbers.append(last.attempt)
    return max(numbers, default=0) + 1


def work_of(draft: Draft, item: Item | None = None, stood: Stood | None = None) -> Work | None:
    """Return the work that a draft stands for; None where its procedure is no more.

    stood: what was looked up before, for many drafts.
    """
    stood = stood or Stood()
    item = item or draft.item
    found = procedures.procedures_for(item, draft.task, draft.done_on)
    at_hand = next((each for each in found if each.procedure_id == draft.procedure), None)
    if at_hand is None:
        return None
    procedure = procedures.applied_to(item, at_hand.procedure, draft.done_on, stood.adopted)
    given = answers(procedure, draft.answers)
    judging = procedures.judging_of(item, procedure, draft.done_on)
    return Work(
        item=item,
        task=draft.task,
        at_hand=at_hand,
        done_on=draft.done_on,
        attempt=draft.attempt,
        draft=draft if draft.pk else None,
        course=course_of(procedure, given, judging.limits, judging.unset),
        instruments=_chosen(draft.instruments, draft.done_on, stood),
    )


def _chosen(chosen: Mapping[str, int], on: date, stood: Stood) -> dict[str, Calibration]:
    known = stood.calibrations
    fresh = {pk for pk in chosen.values() if (pk, on) not in known}
    for pk, item in Item.objects.select_related("type", "site").in_bulk(fresh).items():
        known[pk, on] = calibration_of(item, on)
    return {word: known[pk, on] for word, pk in chosen.items() if (pk, on) in known}

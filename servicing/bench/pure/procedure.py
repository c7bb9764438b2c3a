"""What a procedure is: the steps of one task in the trade's order, and what each asks for."""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from enum import StrEnum

from servicing.bench.pure.applying import Applies, Facts
from servicing.bench.pure.limits import Limit, NoLimit, Nominal, share_of, tighten
from servicing.bench.pure.typed import Plausible
from servicing.bench.pure.units import UNITS, Unit


class Form(StrEnum):
    """What a step asks of the person at the bench."""

    CHECK = "check"  # by eye: good, not good, not applicable
    DAMAGE = "damage"  # by eye: level 1 accept, 2 repair or assess, 3 condemn
    MEASURE = "measure"  # a number, judged by a limit
    RENEW = "renew"  # a part renewed, with its batch number and the day it was made
    ACT = "act"  # something done, confirmed


ALWAYS = Applies()
_NOT_SAID = Nominal(None, "What it is a share of is not known; register it first.")


@dataclass(frozen=True, slots=True)
class Measure:
    """What is measured in a step.

    reading: its name, under which readings are kept. limit: what it is judged by; None where
    the limit belongs to the type (`by_type`). share_of: a marked value of which the limit is
    a share in %, such as working_pressure_bar; it is always in bar. seconds: how long a
    timer runs. resolution: how finely the instrument must show it, in the unit.
    may_tighten: whether a type's own limit may make it stricter; never looser.
    """

    reading: str
    unit: Unit
    limit: Limit | None
    by_type: bool = False
    share_of: str = ""
    plausible: Plausible | None = None
    seconds: int = 0
    resolution: Decimal | None = None
    may_tighten: bool = False

    def limit_for(self, marked: Mapping[str, Nominal], special: Limit | None = None) -> Limit:
        """Return what a reading of this item is judged by.

        marked: what shares are taken of, by the register's names. special: its type's own limit.
        Raises NoLimit where none is known: then nothing is judged, and so nothing passes.
        LooserThanBase where the special one is looser than the procedure's.
        """
        limit = self.limit
        if limit is not None and self.share_of:
            limit = share_of(limit, marked.get(self.share_of, _NOT_SAID), UNITS["bar"])
        if limit is None and special is None:
            raise NoLimit(
                f"The maker's limit for {self.reading} is not set for this type; ask a manager "
                "to enter it with its source. Until then it can't be judged."
            )
        if limit is None or special is None:
            return limit or special  # type: ignore[return-value]  # one of them is there
        return tighten(limit, special)


@dataclass(frozen=True, slots=True)
class Step:
    """One step of a procedure. text says what to do and when it is good.

    optional: may be answered "not applicable" where a measure has no other way out.
    renews: the task that renewing the part is a record of, such as disc-renewal; empty where
    no date waits for it. applies: when it is asked at all. not_known: the facts of the item
    that would decide that and nobody has stated; then "not applicable" is an answer.
    source, seen: of this step where they differ from the procedure's.
    """

    id: str
    form: Form
    text: str
    instrument: str = ""
    optional: bool = False
    measure: Measure | None = None
    part: str = ""
    renews: str = ""
    source: str = ""
    seen: str = ""
    applies: Applies = ALWAYS
    not_known: tuple[str, ...] = ()

    @property
    def may_be_left(self) -> bool:
        """Whether "not applicable" is an answer to it."""
        by_eye = self.form in (Form.CHECK, Form.DAMAGE)
        return self.optional or by_eye or bool(self.not_known)


@dataclass(frozen=True, slots=True)
class Procedure:
    """How one task is done to items of some kinds.

    instruments: words for what must be at hand. second_person: whether somebody else must
    check. edition: of the source. checked_on: when somebody compared it with the source.
    valid_from is inclusive and valid_until exclusive. applies: to which items of its kinds
    and at which sites it is done at all. text: the canonical form, of which
    `content_hash` is the SHA-256.
    """

    id: str
    table: str
    title: str
    task: str
    kinds: tuple[str, ...]
    source: str
    edition: str
    seen: str
    checked_on: date
    steps: tuple[Step, ...]
    instruments: tuple[str, ...] = ()
    second_person: bool = False
    outcomes: tuple[str, ...] = ("pass", "fail")
    valid_from: date | None = None
    valid_until: date | None = None
    note: str = ""
    text: str = ""
    applies: Applies = ALWAYS

    def in_force(self, on: date) -> bool:
        """Say whether the procedure is valid on the day."""
        after_start = self.valid_from is None or self.valid_from <= on
        return after_start and (self.valid_until is None or on < self.valid_until)

    @property
    def content_hash(self) -> str:
        """SHA-256 over the canonical text, as 64 hexadecimal digits."""
        return hashlib.sha256(self.text.encode()).hexdigest()

    @property
    def asks(self) -> frozenset[str]:
        """The facts of an item that decide which of its steps apply."""
        return frozenset(name for step in self.steps for name in step.applies.asks)

    @property
    def may_be_left_out(self) -> tuple[Step, ...]:
        """The measures that need not apply to every item."""
        steps = (step for step in self.steps if step.measure)
        return tuple(step for step in steps if step.optional or step.applies.asks)

    def for_item(self, facts: Facts) -> "Procedure":
        """Return the procedure with the steps that apply to an item, or may.

        What is measured with in none of them is not needed either.
        """
        steps = tuple(
            replace(step, not_known=step.applies.not_known(facts) if applies is None else ())
            for step in self.steps
            if (applies := step.applies.to(facts)) is not False
        )
        left = {step.instrument for step in self.steps} - {step.instrument for step in steps}
        at_hand = tuple(word for word in self.instruments if word not in left)
        return replace(self, steps=steps, instruments=at_hand)

    @property
    def needs(self) -> tuple[str, ...]:
        """Every instrument word of the procedure and its steps, each once, in order."""
        words = (*self.instruments, *(step.instrument for step in self.steps))
        return tuple(dict.fromkeys(word for word in words if word))


@dataclass(frozen=True, slots=True)
class ProcedureTable:
    """A file of procedures: its name, title, the caution it is shown with."""

    name: str
    title: str
    caution: str
    procedures: tuple[Procedure, ...]

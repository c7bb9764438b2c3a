"""What a record says, in plain frozen values: the record itself and what stands in it.

Form 1 is that of records entered before checks, instruments and corrections were kept;
it has no field of theirs. Every record entered since is of form 2.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime

FORM = 2
"""The form of new records."""
PASS, FAIL, CONDEMNED, VOID = "pass", "fail", "condemned", "void"
NOT_PASSED = (FAIL, CONDEMNED, VOID)
"""The outcomes. void is that of a correction: the record it corrects never happened."""


@dataclass(frozen=True, slots=True)
class Reading:
    """A measured value, as typed and as judged. Empty texts where there is nothing to say.

    typed: exactly as typed ("1,10"), with the unit in `unit` where a procedure asks for
    it. value: decimal text in `canonical_unit`. limit: in words, saying whether it is
    inclusive ("at most 1.0 mbar"). source: of the limit. verdict: pass or fail.
    instrument: as it was marked.
    """

    name: str
    typed: str
    unit: str = ""
    value: str = ""
    canonical_unit: str = ""
    limit: str = ""
    source: str = ""
    verdict: str = ""
    instrument: str = ""


CONDEMNATION_WAITS = Reading("condemnation", "waits for a fleet manager")
"""What a failed test carries whose verdict is a condemnation that nobody has confirmed yet."""


@dataclass(frozen=True, slots=True)
class Check:
    """A step looked at or done. answer: good, not-good, not-applicable or done."""

    step: str
    text: str
    answer: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class InstrumentAsStood:
    """An instrument as its calibration stood on the day. calibration_hash: of that record."""

    marked_as: str
    calibrated_on: date | None = None
    calibration_due_on: date | None = None
    calibration_hash: str = ""


@dataclass(frozen=True, slots=True)
class PartUsed:
    """A part that was put in, with what stands on it."""

    name: str
    batch: str = ""
    made_on: date | None = None


@dataclass(frozen=True, slots=True)
class Entry:
    """Everything a record says, as it is hashed.

    position: counted from 1 within the item. number: counted from 1 over the register.
    marked_as: the item's tag, maker and serial as they stood. carried_over_from: the file
    an imported record came from, with that file's SHA-256, else empty. attempt: counted
    from 1 within one piece of work. corrects: the hash of the record it takes the place
    of, else empty; `reason` says why. procedure: its name, version and content hash.
    rule: the name and version of the rule that asked. authorised: the performer's
    authorisation as it stood.
    """

    position: int
    marked_as: str
    task: str
    done_on: date
    outcome: str
    performed_by: str
    entered_by: str
    entered_at: datetime
    note: str
    readings: tuple[Reading, ...]
    part_made_on: date | None
    carried_over_from: str
    entry_key: str
    form: int = FORM
    number: int = 0
    attempt: int = 1
    corrects: str = ""
    reason: str = ""
    procedure: str = ""
    rule: str = ""
    authorised: str = ""
    checks: tuple[Check, ...] = ()
    instruments: tuple[InstrumentAsStood, ...] = ()
    parts: tuple[PartUsed, ...] = ()


def marks_of(stood: Iterable[Mapping[str, str | None]]) -> set[str]:
    """Return what instruments are known by, as a record keeps them: marking and calibration."""
    names = ("marked_as", "calibration_hash")
    return {mark for each in stood for name in names if (mark := each[name])}

"""What the body that retested a cylinder marked on it, as the record of the retest has it.

Each in a reading of its own, and only where something was marked: so the record's hash covers it,
pages and papers show it with the other readings, and a correction can put it right.
"""

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date

from registry.cells.pure.days import month_or_day
from registry.cells.pure.values import ValueProblem
from registry.wording.pure.dates import day_words
from servicing.ledger.pure.entry import Reading
from servicing.rules.pure.durations import Duration, add, month_end

NAMES = {
    "next_test": "stamped next test",
    "life_end": "stamped end of life",
    "permit": "stamped permit",
    "body": "stamped body",
}
"""The reading that holds each; the keys are the fields of `Shoulder`."""
COLUMNS = {
    "next_test": "stamped_next",
    "life_end": "stamped_end",
    "permit": "stamped_permit",
    "body": "stamped_body",
}
"""The column that holds each in lists of the past and of results, and the field of forms."""
FIRST_WORD = "stamped "
"""How all of these begin: what is looked for in the ledger."""
LONGEST = 40
"""Signs of a permit or of a body's number; as much as fits on a shoulder."""
LONGEST_PERIOD, LONGEST_LIFE = Duration(12 * 20), Duration(12 * 60)
"""No period that was read is longer than 15 years, no life than 30 (practice: with room)."""
_ON_METAL = (
    re.compile(r"(?P<month>\d{1,2})[/ -](?P<year>\d{4})", re.ASCII),
    re.compile(r"(?P<year>\d{4})[/ ](?P<month>\d{1,2})", re.ASCII),
)


@dataclass(frozen=True, slots=True)
class Marked:
    """A date as it is marked: a day, or a month, which is good through its last day.

    last: the last good day.
    """

    last: date
    to_month: bool = False

    @property
    def text(self) -> str:
        """As machines read it: 2029-06, or 2029-06-15."""
        return f"{self.last:%Y-%m}" if self.to_month else self.last.isoformat()

    @property
    def words(self) -> str:
        """As it can be read on the metal: 06/2029; a day as people read it without doubt."""
        return f"{self.last:%m/%Y}" if self.to_month else day_words(self.last)

    def means(self, day: date) -> bool:
        """Say whether a due date is the one that is marked, as finely as it is marked."""
        return month_end(day) == self.last if self.to_month else day == self.last


@dataclass(frozen=True, slots=True)
class Shoulder:
    """What was marked at a retest, as typed; empty where nothing was.

    next_test: by when the next test is due; life_end: the final date; each a month or a day.
    permit: under which it was tested or its life extended. body: the number of who tested.
    """

    next_test: str = ""
    life_end: str = ""
    permit: str = ""
    body: str = ""

    @property
    def said(self) -> dict[str, str]:
        """What is marked, by field, what is not left out."""
        return {name: text for name in NAMES if (text := getattr(self, name))}

    @property
    def readings(self) -> tuple[Reading, ...]:
        """The same as a record keeps it."""
        return tuple(Reading(NAMES[name], text) for name, text in self.said.items())

    @property
    def words(self) -> str:
        """All of it in a line: next test 06/2029, permit SP-7; or nothing."""
        said = self.said.items()
        return ", ".join(f"{NAMES[name].removeprefix(FIRST_WORD)} {text}" for name, text in said)

    @property
    def dates(self) -> tuple[Marked | None, Marked | None]:
        """The next test and the end of life, where they are marked and can be read."""
        return _read(self.next_test), _read(self.life_end)


BLANK = Shoulder()
NOT_PASSED = "is marked only on what passed; leave it empty"


def marked(text: str) -> Marked:
    """Return a date as typed: YYYY-MM-DD, YYYY-MM, or the month as it stands on the metal.

    06/2029 and 2029/06 can mean one month only. Raises ValueProblem for anything else.
    """
    text = text.strip()
    for form in _ON_METAL:
        if found := form.fullmatch(text):
            text = f"{found['year']}-{int(found['month']):02}"
    try:
        day, to_month = month_or_day(text)
    except ValueProblem as problem:
        if text[:1].isdigit() and len(text) > len("06/29"):
            raise
        raise ValueProblem(
            "is neither a month nor a day; write 06/2029, with all four figures of the year, or a "
            "day as 2029-06-15"
        ) from problem
    return Marked(month_end(day) if to_month else day, to_month)


def marked_in(kept: str) -> Marked | None:
    """Return a date as `Marked.text` wrote it; None for nothing."""
    return marked(kept) if kept else None


def shoulder_of(readings: Iterable[tuple[str, str] | Reading]) -> Shoulder:
    """Return what a record's readings say was marked."""
    pairs = ((r.name, r.typed) if isinstance(r, Reading) else r for r in readings)
    fields = {reading: name for name, reading in NAMES.items()}
    return Shoulder(**{fields[name]: text for name, text in pairs if name in fields})


def shoulder_faults(shoulder: Shoulder, done_on: date) -> Iterator[tuple[str, str]]:
    """Yield (field, remedy) of what nobody can have marked at a retest of that day."""
    yield from _date_fault("next_test", shoulder.next_test, done_on, LONGEST_PERIOD)
    yield from _date_fault("life_end", shoulder.life_end, done_on, LONGEST_LIFE)
    for name in ("permit", "body"):
        if len(getattr(shoulder, name)) > LONGEST:
            yield name, f"is longer than {LONGEST} signs; write it as it is marked"


def _date_fault(
    name: str, text: str, done_on: date, longest: Duration
) -> Iterator[tuple[str, str]]:
    if not text:
        return
    try:
        what = marked(text)
    except ValueProblem as problem:
        yield name, problem.remedy
        return
    tested = day_words(done_on)
    if what.last < done_on:
        yield name, f"is before the test itself, {tested}; read the mark again"
    elif name == "next_test" and what.means(done_on):
        yield name, f"is when it was tested, {tested}; write what is marked for the next test"
    elif what.last > month_end(add(done_on, longest)):
        years = longest.months // 12
        yield name, f"is more than {years} years after the test, {tested}; read the mark again"


def _read(text: str) -> Marked | None:
    """Return a date, or None where it can't be read: lists of earlier releases took any text."""
    try:
        return marked(text) if text else None
    except ValueProblem:
        return None

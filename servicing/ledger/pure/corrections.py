"""Which records count once some were corrected, and in which order; attempts at one task."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Generic, TypeVar

from servicing.ledger.pure.entry import VOID

T = TypeVar("T")
_LETTERS, _DIFFERENT = 3, 2


@dataclass(frozen=True, slots=True)
class Entered(Generic[T]):
    """A record as corrections see it. corrects: hash of the record it replaces, or empty."""

    hash: str
    corrects: str
    outcome: str
    what: T


def in_force(records: Iterable[Entered[T]]) -> list[T]:
    """Return what counts of an item's records, given in the order entered.

    A corrected record does not count, nor one that says that nothing happened; the
    correction stands in the place of the first record it replaces, so that it comes
    among the records of its day where the first one came.
    """
    places: dict[str, int] = {}
    standing: dict[int, Entered[T]] = {}
    for number, record in enumerate(records):
        place = places.get(record.corrects, number)
        places[record.hash] = place
        standing[place] = record
    return [standing[place].what for place in sorted(standing) if standing[place].outcome != VOID]


def is_a_reason(text: str) -> bool:
    """Whether a text can be a reason: three letters or digits, not all the same."""
    letters = [sign for sign in text.casefold() if sign.isalnum()]
    return len(letters) >= _LETTERS and len(set(letters)) >= _DIFFERENT


def attempts(work: Sequence[tuple[str, int]]) -> list[int]:
    """Return how many attempts each record's piece of work took, for records in order.

    work: (what the work is, attempt) of each record, such as its task and day. A first
    attempt begins another piece of the same work.
    """
    totals = [attempt for _, attempt in work]
    last: dict[str, int] = {}
    for place in reversed(range(len(work))):
        what, attempt = work[place]
        totals[place] = max(attempt, last.get(what, 0))
        last[what] = 0 if attempt == 1 else totals[place]
    return totals

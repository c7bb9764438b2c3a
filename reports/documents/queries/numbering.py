"""The number of a paper, and the words for the moment that its knowledge is limited to."""

import hashlib
from collections.abc import Iterable
from datetime import date, datetime

from registry.wording.pure.dates import moment_and_zone


def as_known(known_by: datetime) -> str:
    """Return the words that say which entries an answer rests on."""
    return f"as known by {moment_and_zone(known_by)}"


def paper_number(kind: str, on: date, printed_at: datetime, content: Iterable[str]) -> str:
    """Return a number that no other print shares: the day, and a digest of print and moment."""
    text = "\n".join([printed_at.isoformat(), *content])
    return f"{kind}-{on:%Y%m%d}-{hashlib.sha256(text.encode()).hexdigest()[:8].upper()}"

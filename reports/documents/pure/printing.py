"""One making of a paper: for which day, when, for whom."""

from dataclasses import dataclass
from datetime import date, datetime


@dataclass(frozen=True, slots=True)
class Printing:
    """One making of a paper, as whoever gathers it is told.

    on: the day it speaks of. at: the moment of printing, with its zone. by: for whom, as
    printed. known_by: the moment its knowledge is limited to, if any. replaces: sentences on
    the superseded papers it stands for.
    """

    on: date
    at: datetime
    by: str
    known_by: datetime | None = None
    replaces: tuple[str, ...] = ()

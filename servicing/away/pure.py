"""Where something is that is not at its site, as plain values and in words."""

from dataclasses import dataclass
from datetime import date

from registry.wording.pure.dates import day_words

RECEIVE_FIRST = "If it is here, receive it first, on its page."


@dataclass(frozen=True, slots=True)
class Away:
    """An item that went to a test house. since: the day on which it left its site.

    number: of the consignment; consigned: the id of its row in it.
    """

    since: date
    house: str
    number: str
    consigned: int

    @property
    def words(self) -> str:
        """Where it is and since when, such as: away since 3 Nov 2026 at ..."""
        return f"away since {day_words(self.since)} at {self.house} (consignment {self.number})"

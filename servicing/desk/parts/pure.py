"""What a page offers to do, decided in one place and drawn by `parts/acts.html`."""

from dataclasses import dataclass

MAIN, QUIET, MORE, APART, IN_ROW = "act", "quiet", "more", "apart", "in-row"
"""The one thing to do first, what else is at hand, what is rarely wanted, what throws work away
and stands apart from all else, and what is done to one row of a list."""


@dataclass(frozen=True, slots=True)
class Act:
    """Something that a page offers: a link to an address.

    label: what stands on it. name, args: the address. weight: one of the words above.
    asked: what is asked of the address, encoded. about: what of, read out where other links
    of the page say the same.
    """

    label: str
    name: str
    args: tuple[object, ...] = ()
    weight: str = QUIET
    asked: str = ""
    about: str = ""

    @property
    def line(self) -> str:
        """The class of the line in which it stands."""
        return "acts" if self.weight in (MAIN, QUIET) else self.weight

    @property
    def styled(self) -> str:
        """The class of the link itself."""
        return self.weight if self.weight in (MAIN, QUIET) else ""

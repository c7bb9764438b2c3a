"""What a page offers to do, decided in one place and drawn by `parts/acts.html`."""

from dataclasses import dataclass

MAIN, QUIET, MORE = "act", "quiet", "more"
"""The one thing to do first, what else is at hand, and what is rarely wanted."""


@dataclass(frozen=True, slots=True)
class Act:
    """Something that a page offers: a link to an address.

    label: what stands on it. name, args: the address. weight: MAIN, QUIET or MORE.
    asked: what is asked of the address, encoded.
    """

    label: str
    name: str
    args: tuple[object, ...] = ()
    weight: str = QUIET
    asked: str = ""

    @property
    def rare(self) -> bool:
        """Whether it stands in the second line."""
        return self.weight == MORE

"""What a page offers to do, decided in one place and drawn by `parts/acts.html`."""

from dataclasses import dataclass

MAIN, QUIET, GRAVE, MORE, APART = "act", "quiet", "act grave", "more", "apart"
"""The one thing to do first, what else is at hand, what can't be undone, what is rarely wanted,
and what throws work away and stands apart from all else."""
IN_ROW = "in-row"
"""What is done to one row of a list, or with one sentence."""


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
        return "acts" if self.styled else self.weight

    @property
    def styled(self) -> str:
        """The class of the link itself."""
        return self.weight if self.weight in (MAIN, QUIET, GRAVE) else ""


@dataclass(frozen=True, slots=True)
class DoubtActs:
    """What settles a record in doubt: it is tested again, or ruled to stand; None where not."""

    again: Act | None = None
    stands: Act | None = None


def acts_of_doubt(
    item: int,
    position: int,
    task: str,
    *,
    tag: str,
    open_: bool,
    may_record: bool,
    may_manage: bool,
) -> DoubtActs:
    """Return what may be done about a record in doubt, by its item's id and its place there.

    open_: whether the item still relies on it.
    """
    if not open_:
        return DoubtActs()
    about = f"{tag}, {task.replace('-', ' ')}"
    again = Act("to be tested again", "bench", (item, task), IN_ROW, about=about)
    stands = Act("Rule that it stands", "let-stand", (item, position), IN_ROW, about=about)
    return DoubtActs(again if may_record else None, stands if may_manage else None)

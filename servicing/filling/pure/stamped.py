"""What whoever fills can read on the shoulder, as they can compare it with the metal."""

from collections.abc import Iterable

from registry.wording.pure.dates import day_words
from servicing.due.pure.obligations import CountedFrom
from servicing.due.pure.owed import Owed
from servicing.rules.pure.rule import SERVICE_LIFE


def stamped_lines(owed: Iterable[Owed]) -> tuple[str, ...]:
    """Return what is stamped on a cylinder, each with the date that counts where it is another."""
    return tuple(_line(each) for each in owed if each.stamped)


def _line(owed: Owed) -> str:
    what = "stamped end of life" if owed.task == SERVICE_LIFE else "stamped"
    said = f"{what}: {owed.stamp_words}"
    if not owed.stamp_differs or owed.counted_from == CountedFrom.STAMP or owed.due_on is None:
        return said
    return f"{said}, but due {day_words(owed.due_on)}"

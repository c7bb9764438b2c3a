"""What the page of a record offers to whom."""

from servicing.desk.parts.pure import MAIN, QUIET, Act
from servicing.ledger.pure.wording import words


def acts_of_record(
    *, item: int, tag: str, position: int, again: str, do_next: str, correctable: bool
) -> tuple[Act, ...]:
    """Return what the page of a record offers, in order.

    item: its id. again: the task to be tested again, because this record failed. do_next: what
    the item needs at once. Both are empty where this person may not, or nothing may be done to
    it. correctable: whether this person may correct it.
    """
    found = []
    if again:
        found.append(Act("Test again", "bench", (item, again), MAIN))
    elif do_next:
        found.append(Act(f"Do it: {words(do_next)}", "bench", (item, do_next), MAIN))
    found += [
        Act("Scan the next item", "home", (), QUIET if found else MAIN),
        Act(f"Back to {tag}", "item", (item,)),
        Act("Service record (PDF)", "record-pdf", (item,)),
    ]
    if correctable:
        found.append(Act("Correct this record", "correct-record", (item, position)))
    return tuple(found)

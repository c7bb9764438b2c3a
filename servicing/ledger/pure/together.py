"""What happens to a set happens to its parts: how a part's record names the set's (due/README 11).

It is kept as one of the record's checks, so that the form of a record did not change. The
key of a part's record follows from that of the set's: the set's record finds them by it,
and a form or a list that comes in twice makes them once.
"""

import hashlib
import re

from servicing.ledger.pure.entry import Check

STEP = "part-of-set"
_TEXT = re.compile(r"Fitted to set (.+), to which it happened: record (\d+) of the register")


def key_of_part(set_key: str, part_id: int) -> str:
    """Return the entry key of a part's record, from that of the set's record."""
    return hashlib.sha256(f"{set_key} part {part_id}".encode()).hexdigest()


def named(set_tag: str, number: int) -> Check:
    """Return the check by which a part's record names the set, and the set's record."""
    text = f"Fitted to set {set_tag}, to which it happened: record {number} of the register"
    return Check(STEP, text, "done")


def number_named(checks: tuple[Check, ...]) -> int | None:
    """Return the number of the set's record that a part's record names; None where none is."""
    for check in checks:
        if check.step == STEP and (found := _TEXT.fullmatch(check.text)):
            return int(found[2])
    return None

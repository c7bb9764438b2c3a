"""What the meter of an item showed, as a record has it: hours run since it was made.

A reading of its own, so the record's hash covers it and a correction can put it right.
"""

from collections.abc import Iterable
from decimal import Decimal, InvalidOperation

from servicing.ledger.pure.entry import Reading

HOURS_RUN = "hours-run"
"""The reading that holds it, in hours."""
_IN_HOURS = ("", "h")
MINUTES_IN_HOUR = 60


def hours_in(readings: Iterable[tuple[str, str] | Reading]) -> Decimal | None:
    """Return the hours that a record's readings say; None where they say none that can be read.

    As typed, with comma or point; of a procedure in its canonical unit, which is the minute.
    """
    for each in readings:
        reading = each if isinstance(each, Reading) else Reading(*each)
        if reading.name != HOURS_RUN:
            continue
        if reading.canonical_unit == "min":
            minutes = _number(reading.value)
            return None if minutes is None else minutes / MINUTES_IN_HOUR
        return _number(reading.typed) if reading.unit in _IN_HOURS else None
    return None


def meter_faults(readings: Iterable[tuple[str, str] | Reading]) -> str:
    """Return why the hours that were typed can't be read, as a remedy; nothing where they can."""
    said = [r if isinstance(r, Reading) else Reading(*r) for r in readings]
    typed = [each.typed for each in said if each.name == HOURS_RUN]
    if len(typed) > 1:
        return "is said twice; write what the meter shows once"
    if typed and hours_in(said) is None:
        return "must be the hours that the meter shows, such as 512 or 512.4"
    return ""


def _number(text: str) -> Decimal | None:
    """Return a number of hours that a meter can show; None for anything else."""
    try:
        number = Decimal(text.strip().replace(",", "."))
    except InvalidOperation:
        return None
    return number if number.is_finite() and number >= 0 else None

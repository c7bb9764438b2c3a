"""What was entered days after the work."""

from dataclasses import dataclass
from datetime import date, datetime

from servicing.ledger.models import Record
from servicing.ledger.queries.whole import BATCH


@dataclass(frozen=True, slots=True)
class LateRecord:
    """A record that somebody should look at: entered late, or correcting another.

    days: between the work and its entry, by the site's calendar. corrects: the position of
    the record it corrects, None where it corrects none; reason: why it does.
    """

    item_id: int
    tag: str
    position: int
    task: str
    done_on: date
    entered_at: datetime
    entered_by: str
    days: int
    corrects: int | None
    reason: str


def entered_late(*, after: datetime | None, until: datetime, days: int) -> list[LateRecord]:
    """Return records entered so many days late or more, and corrections, in order of entry.

    after, until: only what was entered after the one and up to the other. Records that were
    carried over from a list don't count: their day of entry says nothing.
    """
    rows = Record.objects.filter(entered_at__lte=until, carried_over_from="")
    if after is not None:
        rows = rows.filter(entered_at__gt=after)
    rows = rows.select_related("item__site").order_by("entered_at", "pk")
    found = (_looked_at(row) for row in rows.iterator(chunk_size=BATCH))
    return [row for row in found if row.days >= days or row.corrects]


def _looked_at(row: Record) -> LateRecord:
    corrected = Record.objects.filter(hash=row.corrects).first() if row.corrects else None
    return LateRecord(
        item_id=row.item_id,
        tag=row.item.tag,
        position=row.position,
        task=row.task,
        done_on=row.done_on,
        entered_at=row.entered_at,
        entered_by=row.entered_by,
        days=row.days_late,
        corrects=corrected.position if corrected else None,
        reason=row.reason,
    )

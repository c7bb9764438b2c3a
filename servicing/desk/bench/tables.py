"""What was measured with an instrument, as rows for other programs."""

from typing import TYPE_CHECKING

from registry.items.models import Item
from servicing.due.queries.doubts import Doubtful, doubts_of
from servicing.due.queries.instruments import made_with
from servicing.ledger.pure.wording import with_unit

if TYPE_CHECKING:
    from servicing.ledger.models import Record

MADE_WITH = (
    "number",
    "tag",
    "task",
    "done_on",
    "outcome",
    "performed_by",
    "readings",
    "serial",
    "site",
    "in_doubt_by",
    "tested_again_on",
    "again_outcome",
    "stands_since",
)
"""in_doubt_by: the day of the calibration that failed, else empty. stands_since: the day of
the ruling that it stands, else empty."""


def made_with_rows(instrument: Item, *, doubtful_only: bool) -> list[dict[str, object]]:
    """Return what was measured with an instrument, by day and number, with what is in doubt.

    doubtful_only: what its latest failed calibration puts in doubt, and nothing else.
    """
    doubts = doubts_of(instrument)
    if doubtful_only:
        return [_row(row.record, d.failure, row) for d in doubts[:1] for row in d.every_row]
    held = {row.record.pk: (d.failure, row) for d in doubts for row in d.every_row}
    return [_row(record, *held.get(record.pk, (None, None))) for record in made_with(instrument)]


def _row(record: "Record", failure: "Record | None", row: Doubtful | None) -> dict[str, object]:
    read = (f"{r.name} {with_unit(r.typed, r.unit)}" for r in record.readings_as_read)
    again, ruling = (row.again, row.ruling) if row else (None, None)
    return {
        "number": record.number,
        "tag": record.item.tag,
        "task": record.task,
        "done_on": record.done_on.isoformat(),
        "outcome": record.outcome,
        "performed_by": record.performed_by,
        "readings": "; ".join(read),
        "serial": record.item.serial,
        "site": record.item.site.code,
        "in_doubt_by": failure.done_on.isoformat() if failure else "",
        "tested_again_on": again.done_on.isoformat() if again else "",
        "again_outcome": again.outcome if again else "",
        "stands_since": ruling.done_on.isoformat() if ruling else "",
    }

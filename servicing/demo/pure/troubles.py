"""The troubles a demonstration needs to show, put into a fleet that has none."""

from collections.abc import Iterable, Iterator
from datetime import date

from servicing.demo.pure.days import ago, first_of_month
from servicing.demo.pure.records import Happening
from servicing.demo.pure.valley import Trouble

ALL = "*"


def with_trouble(
    happenings: Iterable[Happening], trouble: Trouble, on: date
) -> Iterator[Happening]:
    """Yield what stays of the history, then what the trouble puts into it."""
    for happening in happenings:
        if not _dropped(happening, trouble, on):
            yield happening
    for tag in trouble.tags:
        yield from _added(tag, trouble, on)


def _dropped(happening: Happening, trouble: Trouble, on: date) -> bool:
    if happening.tag not in trouble.tags:
        return False
    if ALL not in trouble.drop and happening.task not in trouble.drop:
        return False
    if trouble.drop_from_month is not None:
        return happening.done_on >= first_of_month(on, trouble.drop_from_month)
    return happening.done_on >= ago(on, trouble.drop_from)


def _added(tag: str, trouble: Trouble, on: date) -> Iterator[Happening]:
    for row in trouble.rows:
        part = row.get("part_made_ago")
        yield Happening(
            tag=tag,
            task=row["task"],
            done_on=ago(on, row["ago"]),
            by=row["by"],
            outcome=row["outcome"],
            note=row.get("note", ""),
            part_made_on=ago(on, part) if part else None,
            readings=row.get("readings", {}),
        )

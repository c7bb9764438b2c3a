"""What other pages show of the bench: work in hand, tasks with a procedure, doubtful records."""

from datetime import datetime
from typing import TYPE_CHECKING

from django import template
from django.contrib.auth.models import User

from registry.items.models import Item, ItemType
from registry.items.pure import Kind, Serving
from registry.items.queries import serving_known
from registry.sites.clock import today_at
from servicing.bench.models import Batch, Draft
from servicing.bench.queries.batches import batches_of
from servicing.bench.queries.procedures import procedures_for
from servicing.bench.queries.thrown import Thrown, thrown_by
from servicing.bench.queries.work import drafts_of
from servicing.due.queries.doubts import (
    Doubt,
    Doubtful,
    doubt_about,
    doubt_by,
    doubts_of,
    open_doubts,
)
from servicing.due.queries.instruments import CALIBRATION, undescribed_types
from servicing.ledger.pure.entry import PASS

if TYPE_CHECKING:
    from servicing.ledger.models import Record

register = template.Library()


@register.simple_tag
def drafts_in_hand(user: User, item: Item | None = None) -> list[Draft]:
    """Return a person's open drafts, all of them or those of one item."""
    found = drafts_of(user)
    return list(found.filter(item=item) if item is not None else found.filter(batch=None))


@register.simple_tag
def batches_in_hand(user: User) -> list[Batch]:
    """Return a person's batches that are not signed yet."""
    return list(batches_of(user))


@register.simple_tag
def thrown_away(user: User) -> list[Thrown]:
    """Return what a person threw away within a day and can bring back."""
    return thrown_by(user)


@register.simple_tag
def guided_tasks(item: Item) -> list[str]:
    """Return the tasks of an item that have a procedure today."""
    found = procedures_for(item, None, today_at(item.site))
    return sorted({version.task for version in found})


@register.simple_tag
def doubts(item: Item) -> list[Doubt]:
    """Return what failed calibrations of an instrument left to be tested again."""
    found = doubts_of(item) if item.kind == Kind.INSTRUMENT else []
    return [doubt for doubt in found if doubt.open_rows]


@register.simple_tag
def doubts_anywhere() -> list[Doubt]:
    """Return what failed calibrations of any instrument left to be tested again."""
    return open_doubts()


@register.simple_tag
def doubted_by(record: "Record") -> Doubt | None:
    """Return what a failed calibration puts in doubt; None for other records."""
    failed = record.task == CALIBRATION and record.outcome != PASS
    return doubt_by(record) if failed and record.item.kind == Kind.INSTRUMENT else None


@register.simple_tag
def doubt_of(record: "Record") -> tuple[Doubt, Doubtful] | None:
    """Return the doubt that a record stands in, because of what it was measured with."""
    return doubt_about(record)


@register.simple_tag
def to_be_described() -> list[ItemType]:
    """Return the types of instruments of which nobody has said what they serve as."""
    return list(undescribed_types())


@register.simple_tag
def serving_of(item: Item, known_by: datetime | None = None) -> Serving:
    """Return what an instrument serves as, as it was described at a moment or now."""
    return serving_known(item, known_by)

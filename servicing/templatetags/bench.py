"""What other pages show of the bench: work in hand, tasks with a procedure, doubtful records."""

from typing import TYPE_CHECKING

from django import template
from django.contrib.auth.models import User

from registry.items.models import Item
from registry.items.pure import Kind
from registry.sites.clock import today_at
from servicing.bench.models import Batch, Draft
from servicing.bench.queries.batches import batches_of
from servicing.bench.queries.instruments import CALIBRATION, in_doubt, in_doubt_by
from servicing.bench.queries.procedures import procedures_for
from servicing.bench.queries.work import drafts_of
from servicing.ledger.pure.entry import FAIL

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
def guided_tasks(item: Item) -> list[str]:
    """Return the tasks of an item that have a procedure today."""
    found = procedures_for(item, None, today_at(item.site))
    return sorted({version.task for version in found})


@register.simple_tag
def doubtful_records(item: Item) -> "list[Record]":
    """Return what was measured with an instrument whose latest calibration failed."""
    found = in_doubt(item) if item.kind == Kind.INSTRUMENT else None
    return found[1] if found else []


@register.simple_tag
def doubted_by(record: "Record") -> "list[Record]":
    """Return the records that a failed calibration puts in doubt; none for other records."""
    failed = record.task == CALIBRATION and record.outcome == FAIL
    return in_doubt_by(record) if failed and record.item.kind == Kind.INSTRUMENT else []

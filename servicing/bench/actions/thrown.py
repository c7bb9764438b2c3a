"""Bringing back what was thrown away at the bench, for a day; after that it goes for good."""

from datetime import datetime

from django.contrib.auth.models import User
from django.db import transaction
from django.db.models import Q

from registry.people.actions.rights import only
from registry.people.pure import Right
from servicing.bench.actions.hand import refuse_others
from servicing.bench.models import Batch, Draft
from servicing.bench.queries.thrown import THROWN_FOR
from servicing.due.actions.services import ServiceRefused
from servicing.ledger.actions import lock_items


@only(Right.RECORD)
@transaction.atomic
def bring_back_draft(*, user: User, draft: Draft) -> None:
    """Put a draft that was thrown away back into its owner's hand, into its batch if any.

    Raises ServiceRefused where its batch is signed or thrown away itself, or the work was
    begun anew meanwhile; NotAllowed for a draft of somebody else.
    """
    refuse_others(user, [draft])
    lock_items([draft.item_id])
    running = Batch.objects.filter(signed_at=None, drafts=draft)
    if draft.batch_id is not None and not running.exists():
        raise ServiceRefused(
            f"The batch that {draft.item.tag} was taken out of is signed or thrown away."
        )
    _refuse_begun_anew(draft)
    Draft.with_thrown.filter(pk=draft.pk).update(thrown_at=None)


@only(Right.RECORD)
@transaction.atomic
def bring_back_batch(*, user: User, batch: Batch) -> None:
    """Put a batch that was thrown away back into its owner's hand, with what was in it then.

    Raises ServiceRefused where one of its items was begun anew meanwhile, NotAllowed for a
    batch of somebody else.
    """
    refuse_others(user, [batch])
    held = Draft.with_thrown.filter(batch=batch, thrown_at=batch.thrown_at)
    lock_items(held.values_list("item_id", flat=True))
    for draft in held.select_related("item", "user"):
        _refuse_begun_anew(draft)
    held.update(thrown_at=None)
    Batch.with_thrown.filter(pk=batch.pk).update(thrown_at=None)


@only(Right.RECORD)
@transaction.atomic
def let_thrown_go(*, user: User, at: datetime) -> None:
    """Delete what a person threw away longer than a day ago."""
    gone = Q(user=user, thrown_at__lte=at - THROWN_FOR)
    Draft.with_thrown.filter(gone).delete()
    Batch.with_thrown.filter(gone).delete()


def _refuse_begun_anew(draft: Draft) -> None:
    if Draft.objects.filter(user=draft.user, item=draft.item, task=draft.task).exists():
        raise ServiceRefused(
            f"You have begun the {draft.task.replace('-', ' ')} of {draft.item.tag} anew; finish "
            "that or throw it away first."
        )

"""What a person threw away at the bench and can still bring back."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.contrib.auth.models import User
from django.db.models import Count, F

from registry.sites.clock import now
from servicing.bench.models import Batch, Draft

THROWN_FOR = timedelta(days=1)
"""How long what was thrown away can be brought back."""


@dataclass(frozen=True, slots=True)
class Thrown:
    """What was thrown away. name: the field of the form that takes its id."""

    name: str
    pk: int
    what: str
    at: datetime


def thrown_by(user: User) -> list[Thrown]:
    """Return what a person threw away within the last day, the last first."""
    mine = {"user": user, "thrown_at__gt": now() - THROWN_FOR}
    drafts = Draft.with_thrown.filter(**mine).select_related("item")
    with_its_batch = drafts.filter(batch__thrown_at=F("thrown_at"))
    counted = with_its_batch.order_by().values_list("batch")
    many = dict(counted.annotate(Count("item", distinct=True)))
    alone = drafts.exclude(pk__in=with_its_batch.values("pk"))
    found: list[tuple[str, Batch | Draft, str]] = [
        *(
            ("batch", batch, _batch_words(batch, many.get(batch.pk, 0)))
            for batch in Batch.with_thrown.filter(**mine)
        ),
        *(("draft", draft, _draft_words(draft)) for draft in alone),
    ]
    thrown = [Thrown(n, row.pk, what, row.thrown_at) for n, row, what in found if row.thrown_at]
    return sorted(thrown, key=lambda each: each.at, reverse=True)


def _batch_words(batch: Batch, items: int) -> str:
    return f"Batch: {_plain(batch.task)} of {items} {_plain(batch.kind)}{'' if items == 1 else 's'}"


def _draft_words(draft: Draft) -> str:
    out = ", taken out of a batch" if draft.batch_id is not None else ""
    return f"{draft.item.tag}: {_plain(draft.task)}{out}"


def _plain(word: str) -> str:
    return word.replace("-", " ")

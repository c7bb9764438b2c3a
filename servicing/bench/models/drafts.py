"""Work in hand at the bench: drafts and batches. Not part of the ledger; gone once signed."""

import uuid
from typing import Any, TypeVar

from django.conf import settings
from django.db import models
from django.db.models import Q

from registry.wording.pure.dates import day_words


def new_key() -> str:
    """Return a key by which a form that is sent twice makes one record."""
    return uuid.uuid4().hex


_Row = TypeVar("_Row", bound=models.Model)


class InHand(models.Manager[_Row]):
    """What is in hand: not what was thrown away, which nobody works on or signs."""

    def get_queryset(self) -> models.QuerySet[_Row]:
        """Return all rows but those thrown away."""
        return super().get_queryset().filter(thrown_at=None)


class Batch(models.Model):
    """A crate of items that go through one task together, with the same instruments.

    instruments: item ids by the procedure's word. left: steps that don't apply to any of
    them. numbers: of the records it became, once signed. Readings are never here: they
    belong to each item's draft. thrown_at: when it was thrown away; it can come back for a
    day, and is gone after it.
    """

    user = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, related_name="+")
    task = models.CharField(max_length=60)
    kind = models.CharField(max_length=20)
    procedure = models.CharField(max_length=80)
    done_on = models.DateField()
    instruments = models.JSONField(default=dict)
    left = models.JSONField(default=list)
    started_at = models.DateTimeField()
    signed_at = models.DateTimeField(null=True)
    numbers = models.JSONField(default=list)
    thrown_at = models.DateTimeField(null=True)

    objects = InHand["Batch"]()
    with_thrown = models.Manager["Batch"]()

    class Meta:
        app_label = "servicing"
        ordering = ("-started_at",)

    def __str__(self) -> str:
        return f"{self.task} of {self.kind}s, {day_words(self.done_on)}"


class Draft(models.Model):
    """One attempt at one task on one item, as far as one person has come with it.

    answers: by step id, what `pure.answers` keeps. entry_key: of the record it becomes, so
    that it is sent once. procedure, begun_with: the procedure's id, and the content hash of
    the version it was begun with. closed: the attempt failed and stays as it is; a further
    one was begun. thrown_at: as for a batch.
    """

    item = models.ForeignKey("registry.Item", models.CASCADE, related_name="+")
    task = models.CharField(max_length=60)
    user = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, related_name="+")
    batch = models.ForeignKey(Batch, models.CASCADE, null=True, related_name="drafts")
    attempt = models.PositiveIntegerField(default=1)
    closed = models.BooleanField(default=False)
    done_on = models.DateField()
    instruments = models.JSONField(default=dict)
    position = models.PositiveIntegerField(default=0)
    procedure = models.CharField(max_length=80)
    begun_with = models.CharField(max_length=64)
    answers = models.JSONField(default=dict)
    note = models.TextField(blank=True)
    entry_key = models.CharField(max_length=64, unique=True, default=new_key)
    updated_at = models.DateTimeField()
    thrown_at = models.DateTimeField(null=True)

    objects = InHand["Draft"]()
    with_thrown = models.Manager["Draft"]()

    class Meta:
        app_label = "servicing"
        ordering = ("-updated_at",)
        constraints = [
            models.UniqueConstraint(
                fields=["user", "item", "task"],
                condition=Q(closed=False, thrown_at=None),
                name="draft_one_open_for_each_work",
            ),
            models.UniqueConstraint(
                fields=["user", "item", "task", "attempt"],
                condition=Q(thrown_at=None),
                name="draft_one_for_each_attempt",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.task} of {self.item}, begun by {self.user}"

    def answer_kept(self, step: str) -> dict[str, Any]:
        """Return what is kept of one step, empty where it was not answered."""
        held: dict[str, Any] = self.answers.get(step, {})
        return held

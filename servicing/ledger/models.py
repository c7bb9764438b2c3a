"""The ledger: what happened to an item. Rows are added and never changed."""

from datetime import date, datetime
from typing import Any, NoReturn
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db import models
from django.db.models import Q

from servicing.ledger.pure.chain import Entry


class LedgerIsAppendOnly(TypeError):
    """Somebody tried to change or delete a record; a correction is a new record."""

    def __init__(self) -> None:
        super().__init__("A record is never changed or deleted; enter a correction instead.")


class RecordQuerySet(models.QuerySet["Record"]):
    """The ways to read records. The ways to change them are shut."""

    def update(self, **_fields: Any) -> NoReturn:
        raise LedgerIsAppendOnly

    def delete(self) -> NoReturn:
        raise LedgerIsAppendOnly

    def bulk_update(self, *_args: Any, **_options: Any) -> NoReturn:
        raise LedgerIsAppendOnly

    def in_order(self) -> "RecordQuerySet":
        """Records by item, and within the item in the order entered."""
        return self.order_by("item_id", "position")

    def known_by(self, moment: datetime | None) -> "RecordQuerySet":
        """Records that were entered up to a moment; None for all."""
        return self if moment is None else self.filter(entered_at__lte=moment)

    def until(self, on: date) -> "RecordQuerySet":
        """Records of things done on or before a day."""
        return self.filter(done_on__lte=on)


class Record(models.Model):
    """One thing that happened to an item, as entered. See `chain.py` for the fields' meaning.

    `entry_key` is the key of the form or row it came by: entering twice makes one record.
    """

    item = models.ForeignKey("registry.Item", models.PROTECT, related_name="records")
    position = models.PositiveIntegerField()
    marked_as = models.CharField(max_length=220)
    task = models.CharField(max_length=60)
    done_on = models.DateField()
    outcome = models.CharField(max_length=10)
    performed_by = models.CharField(max_length=120)
    entered_by = models.CharField(max_length=150)
    entered_by_user = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+"
    )
    entered_at = models.DateTimeField()
    note = models.TextField(blank=True)
    readings = models.JSONField(default=list)
    part_made_on = models.DateField(null=True)
    carried_over_from = models.CharField(max_length=400, blank=True)
    entry_key = models.CharField(max_length=64, unique=True)
    previous_hash = models.CharField(max_length=64)
    hash = models.CharField(max_length=64, unique=True)

    objects = RecordQuerySet.as_manager()

    class Meta:
        app_label = "servicing"
        ordering = ("item", "position")
        constraints = [
            # Two desks that append at once can't both have the next place.
            models.UniqueConstraint(fields=["item", "position"], name="record_one_per_place"),
            models.CheckConstraint(
                condition=Q(outcome__in=["pass", "fail", "condemned"]), name="record_outcome"
            ),
            models.CheckConstraint(condition=Q(position__gte=1), name="record_counts_from_one"),
        ]
        indexes = [
            # The history on an item's page and every recomputation read by day.
            models.Index(fields=["item", "done_on"], name="record_item_day"),
        ]

    def __str__(self) -> str:
        return f"{self.marked_as}: {self.task} {self.outcome} on {self.done_on}"

    def save(self, *args: Any, **options: Any) -> None:
        if not self._state.adding:
            raise LedgerIsAppendOnly
        super().save(*args, **options)

    def delete(self, *_args: Any, **_options: Any) -> NoReturn:
        raise LedgerIsAppendOnly

    @property
    def entry(self) -> Entry:
        """The record as it is hashed."""
        return Entry(
            position=self.position,
            marked_as=self.marked_as,
            task=self.task,
            done_on=self.done_on,
            outcome=self.outcome,
            performed_by=self.performed_by,
            entered_by=self.entered_by,
            entered_at=self.entered_at,
            note=self.note,
            readings=tuple((name, text) for name, text in self.readings),
            part_made_on=self.part_made_on,
            carried_over_from=self.carried_over_from,
            entry_key=self.entry_key,
        )

    @property
    def days_late(self) -> int:
        """Days between the work and its entry, by the calendar of the site; never below 0."""
        entered_on = self.entered_at.astimezone(ZoneInfo(self.item.site.timezone)).date()
        return max(0, (entered_on - self.done_on).days)

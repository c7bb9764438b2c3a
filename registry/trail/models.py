"""The trail: who changed what, when, from what to what, and why. Rows are only added."""

from typing import Any, NoReturn

from django.conf import settings
from django.db import models

from registry.trail.pure import Change


class TrailIsAppendOnly(TypeError):
    """Somebody tried to change or delete an entry of the trail."""

    def __init__(self) -> None:
        super().__init__("An entry of the trail is never changed or deleted.")


class TrailQuerySet(models.QuerySet["TrailEntry"]):
    """The ways to read the trail. The ways to change it are shut."""

    def update(self, **_fields: Any) -> NoReturn:
        raise TrailIsAppendOnly

    def delete(self) -> NoReturn:
        raise TrailIsAppendOnly

    def bulk_update(self, *_args: Any, **_options: Any) -> NoReturn:
        raise TrailIsAppendOnly


class TrailEntry(models.Model):
    """One change. `before` and `after` are JSON texts, kept as they were hashed."""

    number = models.PositiveBigIntegerField(unique=True)
    at = models.DateTimeField()
    by = models.CharField(max_length=200)
    by_user = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+"
    )
    what = models.CharField(max_length=40)
    subject = models.CharField(max_length=250)
    before = models.TextField(blank=True)
    after = models.TextField(blank=True)
    why = models.TextField(blank=True)
    previous_hash = models.CharField(max_length=64)
    hash = models.CharField(max_length=64, unique=True)

    objects = TrailQuerySet.as_manager()

    class Meta:
        app_label = "registry"
        ordering = ("number",)
        indexes = [
            # The trail of one item, site or person, and of one kind of change.
            models.Index(fields=["subject", "number"], name="trail_subject"),
            models.Index(fields=["what", "number"], name="trail_what"),
        ]

    def __str__(self) -> str:
        return f"{self.number}: {self.what} {self.subject}"

    def save(self, *args: Any, **options: Any) -> None:
        if not self._state.adding:
            raise TrailIsAppendOnly
        super().save(*args, **options)

    def delete(self, *_args: Any, **_options: Any) -> NoReturn:
        raise TrailIsAppendOnly

    @property
    def change(self) -> Change:
        """The entry as it is hashed."""
        return Change(
            number=self.number,
            at=self.at,
            by=self.by,
            what=self.what,
            subject=self.subject,
            before=self.before,
            after=self.after,
            why=self.why,
        )

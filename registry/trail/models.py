"""The trail: who changed what, when, from what to what, and why. Rows are only added."""

from typing import Any, ClassVar, NoReturn, TypeVar

from django.conf import settings
from django.db import models

from registry.trail.pure import Change

Row = TypeVar("Row", bound="AppendOnly")


class AppendOnly(models.Model):
    """A row that is added and never changed or deleted; the database's guards see to it too.

    refusal: what is raised where somebody tries.
    """

    refusal: ClassVar[type[TypeError]]

    class Meta:
        abstract = True

    def save(self, *args: Any, **options: Any) -> None:
        if not self._state.adding:
            raise self.refusal
        super().save(*args, **options)

    def delete(self, *_args: Any, **_options: Any) -> NoReturn:
        raise self.refusal


class AppendOnlyQuerySet(models.QuerySet[Row]):
    """The ways to read rows that are only added. The ways to change them are shut."""

    def update(self, **_fields: Any) -> NoReturn:
        raise self.model.refusal

    def delete(self) -> NoReturn:
        raise self.model.refusal

    def bulk_update(self, *_args: Any, **_options: Any) -> NoReturn:
        raise self.model.refusal


class TrailIsAppendOnly(TypeError):
    """Somebody tried to change or delete an entry of the trail."""

    def __init__(self) -> None:
        super().__init__("An entry of the trail is never changed or deleted.")


class TrailEntry(AppendOnly):
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

    objects = AppendOnlyQuerySet["TrailEntry"].as_manager()
    refusal = TrailIsAppendOnly

    class Meta:
        app_label = "registry"
        ordering = ("number",)
        indexes = [
            # The trail of one item, site or person, and of one kind of change.
            models.Index(fields=["subject", "number"], name="trail_subject"),
            models.Index(fields=["what", "number"], name="trail_what"),
            # Who changed anything, and which kinds of things.
            models.Index(fields=["by", "what"], name="trail_by"),
        ]

    def __str__(self) -> str:
        return f"{self.number}: {self.what} {self.subject}"

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

"""Procedures as loaded, every version of each, and the limits that belong to types."""

from datetime import datetime
from functools import lru_cache

from django.db import models
from django.db.models import Q

from servicing.bench.pure.limits import Limit
from servicing.bench.pure.procedure import Procedure
from servicing.bench.pure.tables import procedure_from_text
from servicing.bench.pure.units import UNITS


class VersionQuerySet(models.QuerySet["ProcedureVersion"]):
    """The ways to ask for versions."""

    def known_by(self, moment: datetime | None) -> "VersionQuerySet":
        """Versions that stood at a moment; None for now."""
        return self.filter(_standing("loaded_at", "replaced_at", moment))


class ProcedureVersion(models.Model):
    """A procedure as it stood from `loaded_at` until `replaced_at`.

    `content` is its canonical JSON and `content_hash` the SHA-256 of it; `task`, `title` and
    `source` repeat parts of it for lists, `caution` is that of its table. The one that is not
    replaced is current; old ones stay, for records name the version they were made by.
    """

    procedure_id = models.CharField(max_length=80)
    version = models.PositiveIntegerField()
    table = models.CharField(max_length=60)
    caution = models.TextField()
    title = models.CharField(max_length=200)
    task = models.CharField(max_length=60)
    source = models.TextField()
    content = models.TextField()
    content_hash = models.CharField(max_length=64)
    loaded_at = models.DateTimeField()
    replaced_at = models.DateTimeField(null=True, blank=True)

    objects = VersionQuerySet.as_manager()

    class Meta:
        app_label = "servicing"
        ordering = ("procedure_id", "version")
        constraints = [
            models.UniqueConstraint(
                fields=["procedure_id", "version"], name="procedure_version_once"
            ),
            models.UniqueConstraint(
                fields=["procedure_id"],
                condition=Q(replaced_at=None),
                name="procedure_one_current",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.procedure_id} v{self.version}"

    @property
    def procedure(self) -> Procedure:
        """The procedure as the bench takes it."""
        return _procedure_of(self.table, self.content)


@lru_cache(maxsize=2000)
def _procedure_of(table: str, content: str) -> Procedure:
    """Return the procedure a stored row means; the same text always means the same."""
    return procedure_from_text(table, content)


class LimitQuerySet(models.QuerySet["TypeLimit"]):
    """The ways to ask for limits of types."""

    def known_by(self, moment: datetime | None) -> "LimitQuerySet":
        """Limits that stood at a moment; None for now."""
        return self.filter(_standing("known_from", "ended_at", moment))


class TypeLimit(models.Model):
    """What a reading of items of one type is judged by, from its maker, with the source.

    Stricter than the procedure's own limit, or the only one where the procedure leaves it to
    the type. `low` and `high` are in `unit`, empty where open; a strict edge is itself bad.
    It stood from `known_from` until `ended_at`; a change ends one row and adds another.
    """

    type = models.ForeignKey("registry.ItemType", models.PROTECT, related_name="limits")
    reading = models.CharField(max_length=60)
    low = models.DecimalField(max_digits=16, decimal_places=6, null=True, blank=True)
    high = models.DecimalField(max_digits=16, decimal_places=6, null=True, blank=True)
    low_strict = models.BooleanField(default=False)
    high_strict = models.BooleanField(default=False)
    unit = models.CharField(max_length=12, choices=[(name, name) for name in UNITS])
    source = models.TextField()
    known_from = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)

    objects = LimitQuerySet.as_manager()

    class Meta:
        app_label = "servicing"
        ordering = ("type", "reading", "known_from")
        constraints = [
            models.UniqueConstraint(
                fields=["type", "reading"],
                condition=Q(ended_at=None),
                name="type_limit_one_current",
            ),
            models.CheckConstraint(
                condition=~Q(low=None) | ~Q(high=None), name="type_limit_has_an_edge"
            ),
            models.CheckConstraint(condition=~Q(source=""), name="type_limit_has_a_source"),
        ]

    def __str__(self) -> str:
        return f"{self.type} {self.reading}: {self.limit.words}"

    @property
    def limit(self) -> Limit:
        """The limit as readings are judged by it; its edges without the column's zeros."""
        return Limit(
            low=None if self.low is None else self.low.normalize(),
            high=None if self.high is None else self.high.normalize(),
            unit=UNITS[self.unit],
            source=self.source,
            seen="maker",
            low_strict=self.low_strict,
            high_strict=self.high_strict,
        )


def _standing(start: str, end: str, moment: datetime | None) -> Q:
    """Return the condition that a row stood at a moment, or stands now."""
    if moment is None:
        return Q(**{end: None})
    return Q(**{f"{start}__lte": moment}) & (Q(**{end: None}) | Q(**{f"{end}__gt": moment}))

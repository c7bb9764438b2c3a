"""What was fitted to which set, from when to when."""

from datetime import date, datetime
from typing import Self

from django.db import models
from django.db.models import F, Q

from registry.sets.pure.places import Place
from registry.wording.pure.dates import day_words

CLOSING = ("removed_at", "removed_by", "removal_note", "removal_key")
"""What is filled together with `removed_on`, once."""

_OPEN = {"removed_on": None}
_NOT_REMOVED = Q(removed_on=None, removed_at=None, removed_by="", removal_note="", removal_key=None)


class FittingQuerySet(models.QuerySet["Fitting"]):
    """Questions to what was fitted where."""

    def open(self) -> Self:
        """Return what is fitted now."""
        return self.filter(**_OPEN)

    def on(self, day: date) -> Self:
        """Return what was fitted at the end of a day."""
        return self.filter(Q(removed_on=None) | Q(removed_on__gt=day), fitted_on__lte=day)

    def as_known(self, day: date, known_by: datetime) -> Self:
        """Return what was fitted at the end of a day, by what was entered up to a moment."""
        still = Q(removed_on=None) | Q(removed_on__gt=day) | Q(removed_at__gt=known_by)
        return self.filter(still, fitted_on__lte=day, fitted_at__lte=known_by)


class Fitting(models.Model):
    """A part in a place of a set from the end of `fitted_on` until `removed_on`.

    The days are those on which it happened, at the set's site; fitted_at and removed_at
    are the moments of entry. A part fitted and taken out on one day was in the set at
    the end of no day. Never edited except to close it, once; a fitting entered by mistake
    is closed on the day it began. `confirmed`: what was not stated of the combination and
    was confirmed by whoever fitted it, sentence by sentence.
    """

    set = models.ForeignKey("registry.Item", models.PROTECT, related_name="fittings")
    part = models.ForeignKey("registry.Item", models.PROTECT, related_name="fitted")
    place = models.CharField(max_length=20, choices=[(p.value, p.value) for p in Place])
    fitted_on = models.DateField()
    fitted_at = models.DateTimeField()
    fitted_by = models.CharField(max_length=200)
    note = models.CharField(max_length=500, blank=True)
    confirmed = models.JSONField(default=list, blank=True)
    entry_key = models.CharField(max_length=64, unique=True)
    removed_on = models.DateField(null=True, blank=True)
    removed_at = models.DateTimeField(null=True, blank=True)
    removed_by = models.CharField(max_length=200, blank=True)
    removal_note = models.CharField(max_length=500, blank=True)
    removal_key = models.CharField(max_length=64, null=True, blank=True, unique=True)

    objects = FittingQuerySet.as_manager()

    class Meta:
        app_label = "registry"
        ordering = ("set", "place", "fitted_on", "pk")
        constraints = [
            models.UniqueConstraint(
                fields=["part"], condition=Q(**_OPEN), name="fitting_part_in_one_set"
            ),
            models.UniqueConstraint(
                fields=["set", "place"], condition=Q(**_OPEN), name="fitting_one_part_in_place"
            ),
            models.CheckConstraint(
                condition=Q(place__in=[place.value for place in Place]), name="fitting_place"
            ),
            models.CheckConstraint(
                condition=Q(removed_on=None) | Q(removed_on__gte=F("fitted_on")),
                name="fitting_removed_after_fitted",
            ),
            models.CheckConstraint(
                condition=_NOT_REMOVED
                | Q(removed_on__isnull=False, removed_at__isnull=False, removal_key__isnull=False)
                & ~Q(removed_by=""),
                name="fitting_closed_whole_or_not",
            ),
            models.CheckConstraint(condition=~Q(set=F("part")), name="fitting_not_in_itself"),
        ]

    def __str__(self) -> str:
        return f"{self.part} as {self.place} of {self.set} from {day_words(self.fitted_on)}"

    def was_in_during(self, day: date) -> bool:
        """Whether the part was in the set at any time of a day, that of going in or out too.

        Not what went in and out on one day, which is how a mistake is taken back.
        """
        if self.removed_on is None:
            return self.fitted_on <= day
        return self.fitted_on <= day <= self.removed_on and self.fitted_on < self.removed_on

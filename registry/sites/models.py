"""Places that hold items: stations, vehicles, workshops, stores, as a tree."""

import zoneinfo

from django.core.exceptions import ValidationError
from django.db import models

from registry.wording.pure.dates import moment_and_zone

UNITS = [("bar", "bar and litres"), ("psi", "psi and cubic feet")]
"""What the bench of a site reads in. Values are always kept in bar and litres as well."""

VERSIONED = ("code", "name", "parent_id", "timezone", "least_ready")
"""What of a site is kept in versions: what it is called and asked, and what a date depends on."""


def check_zone(name: str) -> None:
    """Refuse a time zone that the tz database doesn't know."""
    if name not in zoneinfo.available_timezones():
        raise ValidationError(f"{name} is no time zone; write one such as Europe/Vienna.")


class Site(models.Model):
    """A place that holds items. Its zone decides what day it is there.

    least_ready: the least number of sets that must be ready here and at the sites below it,
    as a manager states it; None where none is asked.
    """

    code = models.CharField(max_length=40, unique=True)
    name = models.CharField(max_length=120)
    parent = models.ForeignKey(
        "self", models.PROTECT, null=True, blank=True, related_name="children"
    )
    timezone = models.CharField(max_length=60, default="UTC", validators=[check_zone])
    units = models.CharField(max_length=3, default="bar", choices=UNITS)
    least_ready = models.PositiveSmallIntegerField(null=True, blank=True)

    class Meta:
        app_label = "registry"
        ordering = ("code",)
        constraints = [
            models.CheckConstraint(
                condition=~models.Q(parent=models.F("id")), name="site_not_its_own_parent"
            ),
            models.CheckConstraint(condition=~models.Q(code=""), name="site_has_a_code"),
            models.CheckConstraint(
                condition=models.Q(units__in=[unit for unit, _ in UNITS]), name="site_units"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.code} {self.name}"


class SiteVersion(models.Model):
    """What a site was called, where it stood in the tree, and in which zone, from a moment on."""

    site = models.ForeignKey(Site, models.PROTECT, related_name="versions")
    known_from = models.DateTimeField()
    code = models.CharField(max_length=40)
    name = models.CharField(max_length=120)
    parent = models.ForeignKey(Site, models.PROTECT, null=True, related_name="+")
    timezone = models.CharField(max_length=60)
    least_ready = models.PositiveSmallIntegerField(null=True)

    class Meta:
        app_label = "registry"
        ordering = ("site", "known_from", "pk")

    def __str__(self) -> str:
        return f"{self.site} as known from {moment_and_zone(self.known_from)}"

"""Who works where, who was what since when, and who may do which task.

The user's account is Django's; the role is a group.
"""

from django.conf import settings
from django.db import models
from django.db.models import Q

from registry.people.pure import LONGEST_ADDRESS
from registry.wording.pure.dates import day_words, moment_and_zone

EVERY_TASK = "*"
"""Stands for all tasks in an authorisation."""


class Posting(models.Model):
    """The site at which a person works, and whose day counts for them."""

    user = models.OneToOneField(
        settings.AUTH_USER_MODEL, models.CASCADE, related_name="posting", primary_key=True
    )
    site = models.ForeignKey("registry.Site", models.PROTECT, related_name="postings")

    class Meta:
        app_label = "registry"

    def __str__(self) -> str:
        return f"{self.user} at {self.site}"


class PersonVersion(models.Model):
    """What a person was called, what they might do and where, from `known_from` on.

    by: who gave it to them, as they were called then. A person with a version can't be
    deleted, so a name stays taken.
    """

    user = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="versions")
    known_from = models.DateTimeField()
    name = models.CharField(max_length=301)
    role = models.CharField(max_length=20, blank=True)
    site = models.ForeignKey("registry.Site", models.PROTECT, null=True, related_name="+")
    is_open = models.BooleanField(default=True)
    by = models.CharField(max_length=460)

    class Meta:
        app_label = "registry"
        ordering = ("user", "known_from", "pk")

    def __str__(self) -> str:
        return f"{self.user} as known from {moment_and_zone(self.known_from)}"


class Authorisation(models.Model):
    """Somebody may do a task, from one day up to and including another.

    task: the task, or `*` for all. valid_until: empty is open. ended_at: the moment it was
    taken back, which is all that ever changes; the day of that moment is no longer covered.
    """

    user = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="authorisations"
    )
    task = models.CharField(max_length=60)
    valid_from = models.DateField()
    valid_until = models.DateField(null=True, blank=True)
    granted_by = models.CharField(max_length=460)
    granted_by_user = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+"
    )
    granted_at = models.DateTimeField()
    note = models.CharField(max_length=500, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        app_label = "registry"
        ordering = ("user", "task", "valid_from", "pk")
        constraints = [
            models.CheckConstraint(
                condition=Q(valid_until=None) | Q(valid_until__gte=models.F("valid_from")),
                name="authorisation_ends_after_start",
            ),
            models.CheckConstraint(condition=~Q(task=""), name="authorisation_names_a_task"),
        ]

    def __str__(self) -> str:
        return f"{self.user}: {self.task} from {day_words(self.valid_from)}"


class KeptForm(models.Model):
    """What somebody typed into a form: sent after their session had ended, or shown again.

    For that person alone, by the address it was sent to, and only until they send that
    form again; no password is ever in `fields`. What is only shown before it is signed has
    `shown ` before its address, and lists of values.
    """

    user = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, related_name="+")
    address = models.CharField(max_length=LONGEST_ADDRESS)
    fields = models.JSONField()
    kept_at = models.DateTimeField()

    class Meta:
        app_label = "registry"
        constraints = [
            models.UniqueConstraint(fields=["user", "address"], name="kept_form_one_each_address"),
        ]

    def __str__(self) -> str:
        return f"{self.address}, typed by {self.user}"


class Tries(models.Model):
    """How often a password was given wrongly for one account, or from one address.

    key: `name:` or `from:` with the SHA-256 of which, for people type passwords into the
    field of the name. Every process counts here.
    """

    key = models.CharField(max_length=80, unique=True)
    failures = models.PositiveIntegerField(default=0)
    last_at = models.DateTimeField()

    class Meta:
        app_label = "registry"

    def __str__(self) -> str:
        return f"{self.failures} wrong tries, last at {moment_and_zone(self.last_at)}"

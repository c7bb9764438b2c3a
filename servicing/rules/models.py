"""Rule tables as loaded, every version of every row, and which site adopted which table."""

import json
from decimal import Decimal
from functools import lru_cache

from django.db import models
from django.db.models import Q

from servicing.rules.pure.rule import Level, Rule
from servicing.rules.pure.tables import rule_from_row


class RuleTable(models.Model):
    """A rule table by its name, with the caution its dates are shown with."""

    name = models.CharField(max_length=60, unique=True)
    title = models.CharField(max_length=200)
    jurisdiction = models.CharField(max_length=60)
    caution = models.TextField()

    class Meta:
        app_label = "servicing"
        ordering = ("name",)

    def __str__(self) -> str:
        return self.name


class RuleVersion(models.Model):
    """A row of a table as it stood from `loaded_at` until `replaced_at`.

    `content` is the row as canonical JSON and `content_hash` its SHA-256; `task`,
    `level` and `source` repeat parts of it for lists. The row that is not replaced is
    the current one; old ones stay, for they explain old answers.
    """

    table = models.ForeignKey(RuleTable, models.PROTECT, related_name="versions")
    rule_id = models.CharField(max_length=80)
    version = models.PositiveIntegerField()
    content = models.TextField()
    content_hash = models.CharField(max_length=64)
    task = models.CharField(max_length=60)
    level = models.CharField(max_length=10, choices=[(word.value, word.value) for word in Level])
    source = models.TextField()
    loaded_at = models.DateTimeField()
    replaced_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        app_label = "servicing"
        ordering = ("rule_id", "version")
        constraints = [
            models.UniqueConstraint(fields=["rule_id", "version"], name="rule_version_once"),
            models.UniqueConstraint(
                fields=["rule_id"], condition=Q(replaced_at=None), name="rule_one_current"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.rule_id} v{self.version}"

    @property
    def rule(self) -> Rule:
        """The row as the due-date engine takes it."""
        return _rule_of(self.table.name, self.content)


@lru_cache(maxsize=10_000)
def _rule_of(table: str, content: str) -> Rule:
    """Return the rule a stored row means; the same text always means the same rule."""
    return rule_from_row(table, json.loads(content, parse_float=Decimal))


class Adoption(models.Model):
    """A site follows a rule table, and so do the sites below it.

    adopted_from is inclusive and adopted_until exclusive; empty is open. A row that no
    longer counts is ended at the moment it was taken back, and kept: what was known
    before that moment can still be asked.
    """

    site = models.ForeignKey("registry.Site", models.PROTECT, related_name="adoptions")
    table = models.ForeignKey(RuleTable, models.PROTECT, related_name="adoptions")
    adopted_from = models.DateField(null=True, blank=True)
    adopted_until = models.DateField(null=True, blank=True)
    entered_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        app_label = "servicing"
        ordering = ("site", "table")
        constraints = [
            models.UniqueConstraint(
                fields=["site", "table"],
                condition=Q(adopted_from=None, ended_at=None),
                name="adoption_once",
            ),
            models.CheckConstraint(
                condition=Q(adopted_from=None)
                | Q(adopted_until=None)
                | Q(adopted_until__gt=models.F("adopted_from")),
                name="adoption_ends_after_start",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.table} at {self.site}"

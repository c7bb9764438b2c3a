"""Rule tables as loaded, every version of every row, and which site adopted which table."""

import json
from decimal import Decimal
from functools import lru_cache
from typing import Any

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.urls import reverse

from servicing.rules.pure.local import Act
from servicing.rules.pure.rule import Level, Rule
from servicing.rules.pure.tables import rule_from_row


class RuleTable(models.Model):
    """A rule table by its name, with the caution its dates are shown with.

    site: whose own rules it holds, made on screen; empty for a table from a file.
    """

    name = models.CharField(max_length=60, unique=True)
    site = models.ForeignKey(
        "registry.Site", models.PROTECT, null=True, blank=True, related_name="own_tables"
    )
    title = models.CharField(max_length=200)
    jurisdiction = models.CharField(max_length=60)
    caution = models.TextField()

    class Meta:
        app_label = "servicing"
        ordering = ("name",)

    def __str__(self) -> str:
        return self.name


class Inclusion(models.Model):
    """A table takes the rows of another along, from `loaded_at` until `replaced_at`.

    Whoever follows the table follows those rows too. An inclusion that is not replaced
    stands; old ones stay, for they explain old answers.
    """

    table = models.ForeignKey(RuleTable, models.PROTECT, related_name="inclusions")
    included = models.ForeignKey(RuleTable, models.PROTECT, related_name="included_by")
    loaded_at = models.DateTimeField()
    replaced_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        app_label = "servicing"
        ordering = ("table", "included")
        constraints = [
            models.UniqueConstraint(
                fields=["table", "included"],
                condition=Q(replaced_at=None),
                name="inclusion_once",
            ),
            models.CheckConstraint(
                condition=~Q(table=F("included")), name="inclusion_of_another_table"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.included} in {self.table}"


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
        return rule_of(self.table.name, self.content)

    @property
    def row(self) -> dict[str, Any]:
        """The row as it was stored; days are texts."""
        found: dict[str, Any] = json.loads(self.content, parse_float=Decimal)
        return found


@lru_cache(maxsize=10_000)
def rule_of(table: str, content: str) -> Rule:
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


DECIDING = ("outcome", "decided_by_id", "remark", "rule_id")
"""What is filled together with a proposal's `decided_at`, once."""


class RuleProposal(models.Model):
    """A local rule as one manager asks for it, and what another manager decided.

    row: the rule as canonical JSON, for `add` and `change`. replaces: the id of the rule
    it takes the place of, or ends. rule_id: the id the new rule got when it was approved.
    in_force_from: the first day that counts for what is asked. A proposal is decided once.
    """

    act = models.CharField(max_length=6, choices=[(act.value, act.value) for act in Act])
    site = models.ForeignKey("registry.Site", models.PROTECT, related_name="rule_proposals")
    row = models.TextField(blank=True)
    replaces = models.CharField(max_length=80, blank=True)
    rule_id = models.CharField(max_length=80, blank=True)
    in_force_from = models.DateField()
    reason = models.TextField(blank=True)
    proposed_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    proposed_at = models.DateTimeField()
    outcome = models.CharField(
        max_length=8, blank=True, choices=[("approved", "approved"), ("rejected", "rejected")]
    )
    decided_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+"
    )
    decided_at = models.DateTimeField(null=True)
    remark = models.TextField(blank=True)

    class Meta:
        app_label = "servicing"
        ordering = ("-pk",)
        constraints = [
            models.CheckConstraint(
                condition=~Q(outcome="approved") | ~Q(decided_by=F("proposed_by")),
                name="rule_approved_by_another",
            ),
            models.CheckConstraint(
                condition=Q(outcome="", decided_by=None, decided_at=None)
                | (
                    Q(outcome__in=["approved", "rejected"])
                    & Q(decided_by__isnull=False, decided_at__isnull=False)
                ),
                name="rule_decided_whole",
            ),
            models.CheckConstraint(
                condition=~Q(outcome="rejected") | ~Q(remark=""), name="rule_rejected_with_reason"
            ),
        ]

    def __str__(self) -> str:
        return f"proposal {self.pk}: {self.act} {self.rule_id or self.replaces}".strip()

    def get_absolute_url(self) -> str:
        return reverse("rule-proposal", args=[self.pk])

    @property
    def waits(self) -> bool:
        """Whether nobody has decided yet."""
        return not self.outcome

    @property
    def content(self) -> dict[str, Any]:
        """The row as asked for; days are texts. Empty where a rule is to end."""
        found: dict[str, Any] = json.loads(self.row, parse_float=Decimal) if self.row else {}
        return found

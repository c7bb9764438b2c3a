"""Due dates as stored: the engine's answer for every day from the latest record on.

Everything here can be computed again from items, rules and records; nothing depends on
today. The state (overdue, due soon) is never stored, for it depends on the day.
"""

from datetime import date

from django.db import models
from django.db.models import Q

from servicing.due.pure.owed import Owed
from servicing.rules.pure.bars import Bars

OWED = tuple(Owed.__slots__)
"""The columns of a stored answer that make an Owed, in its order."""


def holding(on: date, prefix: str = "") -> Q:
    """Return the condition that a stored row holds on a day.

    prefix: the way to the row from the model that is asked, such as `obligations__`.
    """
    start, end = f"{prefix}holds_from", f"{prefix}holds_until"
    started = Q(**{start: None}) | Q(**{f"{start}__lte": on})
    return started & (Q(**{end: None}) | Q(**{f"{end}__gt": on}))


class DueSpan(models.Model):
    """The standing of an item from `holds_from` (inclusive) until `holds_until` (exclusive)."""

    item = models.ForeignKey("registry.Item", models.CASCADE, related_name="due_spans")
    holds_from = models.DateField(null=True)
    holds_until = models.DateField(null=True)
    standing = models.CharField(max_length=15)
    since_on = models.DateField(null=True)
    task = models.CharField(max_length=60, blank=True)

    class Meta:
        app_label = "servicing"
        ordering = ("item", "holds_from")
        indexes = [
            # What is out of service, or condemned: few among all items.
            models.Index(fields=["standing", "item"], name="span_standing"),
        ]

    def __str__(self) -> str:
        return f"{self.item} {self.standing} from {self.holds_from}"


class StoredAnswer(models.Model):
    """One rule's answer to when a task of an item is due.

    due_on: the last good day, or the day of what happened where that asks for it; empty
    where it can't be determined, and then so are the next two. soon_on: the first day that
    counts as due soon. overdue_on: the first day that counts as overdue. event: the task of
    what happened, where it is counted from an event. stamped, stamp_differs, bars, unwritten: as
    `Owed` has them.
    """

    holds_from = models.DateField(null=True)
    holds_until = models.DateField(null=True)
    task = models.CharField(max_length=60)
    due_on = models.DateField(null=True)
    soon_on = models.DateField(null=True)
    overdue_on = models.DateField(null=True)
    rule = models.ForeignKey("servicing.RuleVersion", models.PROTECT, related_name="+")
    counted_from = models.CharField(max_length=12, blank=True)
    basis_on = models.DateField(null=True)
    event = models.CharField(max_length=60, blank=True)
    stamped = models.CharField(max_length=10, blank=True)
    stamp_differs = models.BooleanField(default=False)
    bars = models.CharField(max_length=15, default=Bars.BOTH.value)
    unwritten = models.BooleanField(default=False)

    class Meta:
        app_label = "servicing"
        abstract = True

    @property
    def owed(self) -> Owed:
        """The same as a plain value, which says its state on a day."""
        return Owed(*(getattr(self, name) for name in OWED))


class StoredObligation(StoredAnswer):
    """One task an item owes, with the rule that decides its date.

    task_bars: what the rules of the task forbid between them.
    """

    item = models.ForeignKey("registry.Item", models.CASCADE, related_name="obligations")
    task_bars = models.CharField(max_length=15, default=Bars.BOTH.value)

    class Meta:
        app_label = "servicing"
        ordering = ("due_on", "item", "task")
        indexes = [
            # The work list and the months ahead read by due date.
            models.Index(fields=["due_on", "task"], name="obligation_due"),
        ]

    def __str__(self) -> str:
        return f"{self.item} {self.task} due {self.due_on}"


class StoredBar(StoredAnswer):
    """An answer behind the one that governs, kept because it can bar what that one doesn't."""

    item = models.ForeignKey("registry.Item", models.CASCADE, related_name="bars_behind")

    class Meta:
        app_label = "servicing"
        ordering = ("due_on", "item", "task")

    def __str__(self) -> str:
        return f"{self.item} {self.task} bars {self.bars} after {self.due_on}"

"""What a test house said of the cylinders that were sent to it."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from servicing.away.models import Consigned
from servicing.hydrostatic.pure.house import HOUSE_WORDS
from servicing.hydrostatic.pure.verdict import Word

_WORDS = [word.value for word in Word]


class Result(models.Model):
    """What the house said of a cylinder and what we make of its figures; both stay.

    said: `HouseResult.said`. our_word is empty where we can't judge; our_says: why, or the
    reasons. The record in the ledger holds all of this too. settled_*: a manager's word where
    the two disagree, or where the condemnation was entered by somebody who may not condemn
    (waits_for_manager).
    """

    consigned = models.OneToOneField(Consigned, models.PROTECT, related_name="result")
    tested_on = models.DateField()
    said = models.JSONField()
    house_word = models.CharField(max_length=10)
    our_word = models.CharField(max_length=10, blank=True)
    our_says = models.TextField()
    entered_at = models.DateTimeField()
    record_position = models.PositiveIntegerField()
    waits_for_manager = models.BooleanField(default=False)
    settled_word = models.CharField(max_length=10, blank=True)
    settled_why = models.TextField(blank=True)
    settled_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+"
    )
    settled_at = models.DateTimeField(null=True)

    class Meta:
        app_label = "servicing"
        ordering = ("consigned__item__tag",)
        constraints = [
            models.CheckConstraint(
                condition=Q(house_word__in=[word.value for word in HOUSE_WORDS])
                & Q(our_word__in=["", *_WORDS])
                & Q(settled_word__in=["", *(word.value for word in HOUSE_WORDS)]),
                name="result_words",
            ),
            models.CheckConstraint(
                condition=Q(settled_word="", settled_at=None)
                | (~Q(settled_word="") & ~Q(settled_why="") & Q(settled_at__isnull=False)),
                name="result_settled_with_a_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.consigned}: {self.house_word}"

    @property
    def disagrees(self) -> bool:
        """Whether we come to another verdict than the house."""
        return self.our_word not in ("", self.house_word)

    @property
    def open_question(self) -> bool:
        """Whether a manager still has to settle it."""
        return (self.disagrees or self.waits_for_manager) and not self.settled_word

    @property
    def counts_as(self) -> str:
        """The verdict that counts: the settled one, else the stricter of the two."""
        words = [Word(word) for word in (self.house_word, self.our_word) if word]
        return self.settled_word or max(words, key=list(Word).index)

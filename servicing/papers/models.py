"""The register of papers: what was printed, of what, when and for whom. Rows are only added."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from registry.trail.models import AppendOnly, AppendOnlyQuerySet
from servicing.away.models import Consignment


class PapersAreAppendOnly(TypeError):
    """Somebody tried to change or delete what is known of a paper that was made."""

    def __init__(self) -> None:
        super().__init__("A paper that was made stays in the register; make a new one.")


class Paper(AppendOnly):
    """One paper as it left the house. item or consignment: what it is about.

    kind: a word of `reports/documents/actions.py`, which alone knows which papers there are.
    on: the day it speaks of. known_by: the moment that its knowledge is limited to, if any.
    sha256: of the file. replaces: the numbers of the superseded papers it stands for.
    """

    number = models.CharField(max_length=40, unique=True)
    kind = models.CharField(max_length=20)
    item = models.ForeignKey("registry.Item", models.PROTECT, null=True, related_name="papers")
    consignment = models.ForeignKey(Consignment, models.PROTECT, null=True, related_name="papers")
    on = models.DateField()
    known_by = models.DateTimeField(null=True)
    made_at = models.DateTimeField()
    made_by = models.CharField(max_length=200)
    made_by_user = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+"
    )
    sha256 = models.CharField(max_length=64)
    replaces = models.JSONField(default=list)

    objects = AppendOnlyQuerySet["Paper"].as_manager()
    refusal = PapersAreAppendOnly

    class Meta:
        app_label = "servicing"
        ordering = ("-made_at", "-pk")
        constraints = [
            models.CheckConstraint(
                condition=Q(item=None, consignment__isnull=False)
                | Q(item__isnull=False, consignment=None),
                name="paper_is_about_one_thing",
            ),
        ]
        indexes = [
            # The list of papers, the newest first.
            models.Index(fields=["-made_at", "-id"], name="paper_newest"),
        ]

    def __str__(self) -> str:
        return self.number

    @property
    def about(self) -> str:
        """The tag or the consignment's number that it is about."""
        return self.consignment.number if self.consignment else self.item.tag if self.item else ""


class Carried(AppendOnly):
    """An item that a paper speaks of, with the end of its chain of records as it stood then.

    position: 0 before the first record; head is then 64 zeros.
    """

    paper = models.ForeignKey(Paper, models.PROTECT, related_name="carried")
    item = models.ForeignKey("registry.Item", models.PROTECT, related_name="+")
    position = models.PositiveIntegerField()
    head = models.CharField(max_length=64)

    objects = AppendOnlyQuerySet["Carried"].as_manager()
    refusal = PapersAreAppendOnly

    class Meta:
        app_label = "servicing"
        verbose_name = "line of a paper"
        constraints = [
            models.UniqueConstraint(fields=["paper", "item"], name="carried_once_by_a_paper"),
        ]

    def __str__(self) -> str:
        return f"{self.item} in {self.paper}"

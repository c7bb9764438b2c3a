"""Consignments to a test house and the cylinders in them: what is away, and since when."""

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.urls import reverse


class ConsignmentQuerySet(models.QuerySet["Consignment"]):
    """The questions asked of consignments."""

    def running(self) -> "ConsignmentQuerySet":
        """Those that are being packed or are away."""
        return self.filter(back_on=None)


class Consignment(models.Model):
    """Cylinders that go to a test house together.

    house: its name as people call it. sent_on, back_on: the days; back_on is the day on which
    the last of them was back. sent_at: the moment at which it was entered that they left.
    entry_key: the form's key; sent twice makes one.
    """

    number = models.CharField(max_length=40, unique=True)
    from_site = models.ForeignKey("registry.Site", models.PROTECT, related_name="+")
    house = models.CharField(max_length=120)
    sent_on = models.DateField(null=True)
    sent_at = models.DateTimeField(null=True)
    back_on = models.DateField(null=True)
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+"
    )
    entry_key = models.CharField(max_length=64, unique=True)

    objects = ConsignmentQuerySet.as_manager()

    class Meta:
        app_label = "servicing"
        ordering = ("-made_at", "-pk")
        constraints = [
            models.CheckConstraint(
                condition=Q(back_on=None) | Q(sent_on__lte=F("back_on")),
                name="consignment_back_after_sent",
            ),
            models.CheckConstraint(
                condition=~Q(number="") & ~Q(house=""), name="consignment_is_named"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.number} to {self.house}"

    def get_absolute_url(self) -> str:
        return reverse("consignment", args=[self.pk])

    @property
    def state(self) -> str:
        """Being packed, away or back."""
        if self.sent_on is None:
            return "being packed"
        return "away" if self.back_on is None else "back"


class Consigned(models.Model):
    """One cylinder in a consignment. open: until it is back, on `back_on`, entered at `back_at`."""

    consignment = models.ForeignKey(Consignment, models.CASCADE, related_name="cylinders")
    item = models.ForeignKey("registry.Item", models.PROTECT, related_name="consigned")
    open = models.BooleanField(default=True)
    back_on = models.DateField(null=True)
    back_at = models.DateTimeField(null=True)

    class Meta:
        app_label = "servicing"
        ordering = ("item__tag",)
        constraints = [
            models.UniqueConstraint(fields=["consignment", "item"], name="consigned_listed_once"),
            # A cylinder can't be in two places.
            models.UniqueConstraint(
                fields=["item"], condition=Q(open=True), name="consigned_to_one_place"
            ),
        ]
        indexes = [
            # What is away now, among all that ever was.
            models.Index(fields=["consignment"], condition=Q(open=True), name="consigned_open"),
        ]

    def __str__(self) -> str:
        return f"{self.item} in {self.consignment}"

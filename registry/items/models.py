"""Serial-numbered things and what is known of them."""

from django.db import models
from django.db.models import Q
from django.urls import reverse

from registry.items.pure import Construction, Fibre, Kind


def _choices(words: type[Kind] | type[Construction] | type[Fibre]) -> list[tuple[str, str]]:
    return [(word.value, word.value) for word in words]


class ItemType(models.Model):
    """What items of one maker's model have in common."""

    kind = models.CharField(max_length=20, choices=_choices(Kind))
    maker = models.CharField(max_length=80)
    model = models.CharField(max_length=80, blank=True)

    class Meta:
        app_label = "registry"
        ordering = ("kind", "maker", "model")
        constraints = [
            models.UniqueConstraint(fields=["kind", "maker", "model"], name="type_named_once"),
            models.CheckConstraint(condition=Q(kind__in=[k.value for k in Kind]), name="type_kind"),
        ]

    def __str__(self) -> str:
        return " ".join(part for part in (self.maker, self.model) if part)


class Item(models.Model):
    """One thing with a serial number.

    `maker` repeats the type's maker so that the database itself can hold (maker,
    serial) unique; only `registry.items.actions` writes either. The attributes from
    `specification` on belong to cylinders, `connection`, `size` and the working
    pressure to any kind. Numbers carry their unit in the name.
    """

    tag = models.CharField(max_length=64, unique=True)
    type = models.ForeignKey(ItemType, models.PROTECT, related_name="items")
    maker = models.CharField(max_length=80)
    serial = models.CharField(max_length=64)
    site = models.ForeignKey("registry.Site", models.PROTECT, related_name="items")
    made_on = models.DateField(null=True, blank=True)
    made_to_month = models.BooleanField(default=False)
    in_service_on = models.DateField(null=True, blank=True)
    connection = models.CharField(max_length=40, blank=True)
    size = models.CharField(max_length=20, blank=True)
    working_pressure_bar = models.DecimalField(
        max_digits=7, decimal_places=2, null=True, blank=True
    )
    specification = models.CharField(max_length=40, blank=True)
    construction = models.CharField(max_length=10, blank=True, choices=_choices(Construction))
    fibre = models.CharField(max_length=10, blank=True, choices=_choices(Fibre))
    marks = models.JSONField(default=list, blank=True)
    water_capacity_l = models.DecimalField(max_digits=7, decimal_places=3, null=True, blank=True)
    test_pressure_bar = models.DecimalField(max_digits=7, decimal_places=2, null=True, blank=True)
    tare_kg = models.DecimalField(max_digits=7, decimal_places=3, null=True, blank=True)
    ree_ml = models.DecimalField(max_digits=8, decimal_places=3, null=True, blank=True)
    design_life_years = models.PositiveSmallIntegerField(null=True, blank=True)

    class Meta:
        app_label = "registry"
        ordering = ("tag",)
        constraints = [
            models.UniqueConstraint(fields=["maker", "serial"], name="item_serial_once_per_maker"),
            models.CheckConstraint(condition=~Q(tag="") & ~Q(serial=""), name="item_is_marked"),
            models.CheckConstraint(
                condition=Q(made_on=None)
                | Q(in_service_on=None)
                | Q(in_service_on__gte=models.F("made_on")),
                name="item_in_service_after_made",
            ),
        ]

    def __str__(self) -> str:
        return self.tag

    def get_absolute_url(self) -> str:
        return reverse("item", args=[self.pk])

    @property
    def kind(self) -> str:
        """The kind of thing it is, by its type."""
        return self.type.kind

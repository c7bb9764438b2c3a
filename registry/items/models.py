"""Serial-numbered things, what is known of them, and what was known when."""

from datetime import date
from decimal import Decimal
from enum import StrEnum
from typing import Any

from django.db import models
from django.db.models import Q
from django.urls import reverse

from registry.items.facts import ATTRIBUTES
from registry.items.pure import Breathing, Construction, Fibre, Kind, MeasuringRange, Serving
from registry.scanning.pure.likeness import LONGEST, readings
from registry.wording.pure.dates import moment_and_zone

TYPE_FACTS = ("inlet", "outlet", "highest_bar", "mass_kg", "breathing", "joins")
"""The fields of a type that say what its items fit and weigh."""

SERVING_FACTS = ("serves_as", "ranges")
"""The fields of an instrument's type that say what it is."""


def _choices(words: type[StrEnum]) -> list[tuple[str, str]]:
    return [(word.value, word.value) for word in words]


class ItemType(models.Model):
    """What items of one maker's model have in common; what is empty is not stated.

    inlet, outlet: the connections that take the air in and give it on. highest_bar: the
    highest cylinder pressure it is made for. mass_kg: without air. joins: of a connector,
    how many cylinders it takes. approved: of a set, the types of part its maker approves;
    none means that nothing is stated. What is known of the item itself goes first.
    serves_as, ranges: of an instrument, what `serving` says; no word means not described yet.
    """

    kind = models.CharField(max_length=20, choices=_choices(Kind))
    maker = models.CharField(max_length=80)
    model = models.CharField(max_length=80, blank=True)
    inlet = models.CharField(max_length=40, blank=True)
    outlet = models.CharField(max_length=40, blank=True)
    highest_bar = models.DecimalField(max_digits=7, decimal_places=2, null=True, blank=True)
    mass_kg = models.DecimalField(max_digits=7, decimal_places=3, null=True, blank=True)
    breathing = models.CharField(max_length=20, blank=True, choices=_choices(Breathing))
    joins = models.PositiveSmallIntegerField(null=True, blank=True)
    approved = models.ManyToManyField("self", symmetrical=False, blank=True)
    serves_as = models.JSONField(default=list, blank=True)
    ranges = models.JSONField(default=list, blank=True)

    class Meta:
        app_label = "registry"
        ordering = ("kind", "maker", "model")
        constraints = [
            models.UniqueConstraint(fields=["kind", "maker", "model"], name="type_named_once"),
            models.CheckConstraint(condition=Q(kind__in=[k.value for k in Kind]), name="type_kind"),
        ]

    def __str__(self) -> str:
        return " ".join(part for part in (self.maker, self.model) if part)

    def facts(self) -> dict[str, Any]:
        """Return what is stated of it as JSON takes it; of approved types the ids."""
        texts = {name: _as_json(getattr(self, name)) for name in (*TYPE_FACTS, *SERVING_FACTS)}
        return {**texts, "approved": sorted(each.pk for each in self.approved.all())}

    @property
    def serving(self) -> Serving:
        """What an instrument of this type serves as, and how far it shows."""
        ranges = tuple(MeasuringRange.from_json(each) for each in self.ranges)
        return Serving(tuple(self.serves_as), ranges)


class ReadingField(models.CharField):  # type: ignore[type-arg]
    """What is left of a code in another field for somebody who misreads it, kept by itself.

    of: the field's name. which: 0 or 1, the place among `readings`. It is written whenever
    its row is, by whichever road.
    """

    def __init__(self, *, of: str, which: int, **options: Any) -> None:
        super().__init__(
            **{**options, "max_length": LONGEST, "blank": True, "editable": False, "default": ""}
        )
        self.of, self.which = of, which

    def pre_save(self, model_instance: models.Model, add: bool) -> str:
        reading = readings(getattr(model_instance, self.of))[self.which]
        setattr(model_instance, self.attname, reading)
        return reading

    def deconstruct(self) -> Any:
        name, path, args, options = super().deconstruct()
        return name, path, args, {**options, "of": self.of, "which": self.which}


class Item(models.Model):
    """One thing with a serial number.

    What each field says, with its bounds and kinds, stands in `registry/items/facts.py`.
    `maker` repeats the type's maker so that the database itself can hold (maker,
    serial) unique; only `registry.items.actions` writes either.
    """

    tag = models.CharField(max_length=64, unique=True)
    tag_short = ReadingField(of="tag", which=0)
    tag_whole = ReadingField(of="tag", which=1)
    serial_short = ReadingField(of="serial", which=0)
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
        indexes = [
            # A scanned code may be a serial, of whatever maker.
            models.Index(fields=["serial"], name="item_serial"),
            # What is misread is looked up among 100 000 items without reading all of them.
            models.Index(fields=["tag_short"], name="item_tag_short"),
            models.Index(fields=["tag_whole"], name="item_tag_whole"),
            models.Index(fields=["serial_short"], name="item_serial_short"),
        ]

    def __str__(self) -> str:
        return self.tag

    def get_absolute_url(self) -> str:
        return reverse("item", args=[self.pk])

    @property
    def kind(self) -> str:
        """The kind of thing it is, by its type."""
        return self.type.kind

    def known(self) -> dict[str, Any]:
        """Return all that is known of it as JSON takes it: days and numbers as text."""
        texts = {name: _as_json(getattr(self, name)) for name in ("tag", "maker", *ATTRIBUTES)}
        names = {"kind": self.type.kind, "model": self.type.model, "site": self.site_id}
        return {**texts, **names}


class ItemVersion(models.Model):
    """What was known of an item from `known_from` until its next version.

    Every write adds one, so that what was known at any moment can be asked later.
    """

    item = models.ForeignKey(Item, models.PROTECT, related_name="versions")
    known_from = models.DateTimeField()
    known = models.JSONField()

    class Meta:
        app_label = "registry"
        ordering = ("item", "known_from", "pk")

    def __str__(self) -> str:
        return f"{self.item} as known from {moment_and_zone(self.known_from)}"


class FormerTag(models.Model):
    """A tag that an item carried until another one took its place."""

    item = models.ForeignKey(Item, models.PROTECT, related_name="former_tags")
    tag = models.CharField(max_length=64, db_index=True)
    tag_short = ReadingField(of="tag", which=0, db_index=True)
    tag_whole = ReadingField(of="tag", which=1, db_index=True)
    replaced_at = models.DateTimeField()

    class Meta:
        app_label = "registry"
        ordering = ("item", "replaced_at", "pk")

    def __str__(self) -> str:
        return f"{self.tag}, until {moment_and_zone(self.replaced_at)}"


class ItemTypeVersion(models.Model):
    """What was stated of a type from `known_from` until its next version."""

    type = models.ForeignKey(ItemType, models.PROTECT, related_name="versions")
    known_from = models.DateTimeField()
    known = models.JSONField()

    class Meta:
        app_label = "registry"
        ordering = ("type", "known_from", "pk")

    def __str__(self) -> str:
        return f"{self.type} as known from {moment_and_zone(self.known_from)}"


def _as_json(value: object) -> object:
    return str(value) if isinstance(value, date | Decimal) else value

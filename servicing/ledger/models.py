"""The ledger: what happened to an item. Rows are added and never changed."""

from datetime import date, datetime
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db import models
from django.db.models import Exists, OuterRef, Q

from registry.trail.models import AppendOnly, AppendOnlyQuerySet
from registry.wording.pure.dates import day_words, moment_words
from servicing.ledger.pure.chain import Signed
from servicing.ledger.pure.entry import (
    CONDEMNATION_WAITS,
    FORM,
    VOID,
    Check,
    Entry,
    InstrumentAsStood,
    PartUsed,
    Reading,
)


class LedgerIsAppendOnly(TypeError):
    """Somebody tried to change or delete a record; a correction is a new record."""

    def __init__(self) -> None:
        super().__init__("A record is never changed or deleted; enter a correction instead.")


class RecordQuerySet(AppendOnlyQuerySet["Record"]):
    """The ways to read records. The ways to change them are shut."""

    def in_order(self) -> "RecordQuerySet":
        """Records by item, and within the item in the order entered."""
        return self.order_by("item_id", "position")

    def known_by(self, moment: datetime | None) -> "RecordQuerySet":
        """Records that were entered up to a moment; None for all."""
        return self if moment is None else self.filter(entered_at__lte=moment)

    def until(self, on: date) -> "RecordQuerySet":
        """Records of things done on or before a day."""
        return self.filter(done_on__lte=on)

    def in_force(self, known_by: datetime | None = None) -> "RecordQuerySet":
        """Records that count: neither corrected nor saying that nothing happened.

        known_by: those that counted at that moment; None for now.
        """
        corrected = Record.objects.known_by(known_by).filter(corrects=OuterRef("hash"))
        return self.known_by(known_by).exclude(outcome=VOID).exclude(Exists(corrected))


class Record(AppendOnly):
    """One thing that happened to an item, as entered. See `entry.py` for the fields' meaning.

    `entry_key` is the key of the form or row it came by: entering twice makes one record.
    The lists hold what `chain.plain` gives; in form 1 `readings` are pairs of texts.
    """

    form = models.PositiveSmallIntegerField(default=FORM)
    number = models.PositiveBigIntegerField(unique=True)
    item = models.ForeignKey("registry.Item", models.PROTECT, related_name="records")
    position = models.PositiveIntegerField()
    marked_as = models.CharField(max_length=220)
    task = models.CharField(max_length=60)
    done_on = models.DateField()
    outcome = models.CharField(max_length=10)
    attempt = models.PositiveIntegerField(default=1)
    corrects = models.CharField(max_length=64, null=True, unique=True)  # noqa: DJ001 (unique where set)
    reason = models.TextField(blank=True)
    procedure = models.CharField(max_length=200, blank=True)
    rule = models.CharField(max_length=200, blank=True)
    performed_by = models.CharField(max_length=120)
    performed_by_user = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+"
    )
    authorised = models.CharField(max_length=400, blank=True)
    entered_by = models.CharField(max_length=460)
    entered_by_user = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+"
    )
    entered_at = models.DateTimeField()
    note = models.TextField(blank=True)
    checks = models.JSONField(default=list)
    readings = models.JSONField(default=list)
    instruments = models.JSONField(default=list)
    parts = models.JSONField(default=list)
    part_made_on = models.DateField(null=True)
    carried_over_from = models.CharField(max_length=400, blank=True)
    entry_key = models.CharField(max_length=64, unique=True)
    previous_hash = models.CharField(max_length=64)
    hash = models.CharField(max_length=64, unique=True)

    objects = RecordQuerySet.as_manager()
    refusal = LedgerIsAppendOnly

    class Meta:
        app_label = "servicing"
        ordering = ("item", "position")
        constraints = [
            # Two desks that append at once can't both have the next place.
            models.UniqueConstraint(fields=["item", "position"], name="record_one_per_place"),
            models.CheckConstraint(
                condition=Q(outcome__in=["pass", "fail", "condemned", "void"]),
                name="record_outcome",
            ),
            models.CheckConstraint(
                condition=Q(position__gte=1, number__gte=1, attempt__gte=1),
                name="record_counts_from_one",
            ),
            models.CheckConstraint(
                condition=Q(corrects=None, reason="") & ~Q(outcome="void")
                | Q(corrects__isnull=False) & ~Q(reason=""),
                name="record_corrects_for_a_reason",
            ),
        ]
        indexes = [
            # The history on an item's page and every recomputation read by day.
            models.Index(fields=["item", "done_on"], name="record_item_day"),
            # Which calibrations failed, and what was condemned: few among all records. Of all
            # outcomes, for SQLite doesn't see which of them a question leaves out.
            models.Index(fields=["outcome", "task"], name="record_outcome"),
            # What was entered since the last review.
            models.Index(
                fields=["entered_at"], condition=Q(carried_over_from=""), name="record_entered"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.marked_as}: {self.task} {self.outcome} on {day_words(self.done_on)}"

    @property
    def entry(self) -> Entry:
        """The record as it is hashed."""
        return Entry(
            position=self.position,
            marked_as=self.marked_as,
            task=self.task,
            done_on=self.done_on,
            outcome=self.outcome,
            performed_by=self.performed_by,
            entered_by=self.entered_by,
            entered_at=self.entered_at,
            note=self.note,
            readings=self.readings_as_read,
            part_made_on=self.part_made_on,
            carried_over_from=self.carried_over_from,
            entry_key=self.entry_key,
            form=self.form,
            number=self.number,
            attempt=self.attempt,
            corrects=self.corrects or "",
            reason=self.reason,
            procedure=self.procedure,
            rule=self.rule,
            authorised=self.authorised,
            checks=tuple(Check(**each) for each in self.checks),
            instruments=tuple(_instrument(**each) for each in self.instruments),
            parts=tuple(_part(**each) for each in self.parts),
        )

    @property
    def readings_as_read(self) -> tuple[Reading, ...]:
        """The readings, those of form 1 with name and text alone."""
        if self.form == 1:
            return tuple(Reading(name, text) for name, text in self.readings)
        return tuple(Reading(**each) for each in self.readings)

    @property
    def awaits_condemnation(self) -> bool:
        """Whether its verdict is a condemnation that no manager has confirmed yet."""
        waits = CONDEMNATION_WAITS
        return any((r.name, r.typed) == (waits.name, waits.typed) for r in self.readings_as_read)

    @property
    def unsigned(self) -> str:
        """What is said of it where nobody signed: whom it came from instead."""
        if self.carried_over_from:
            return "not signed: carried over from a list"
        if self.entered_by_user_id is None:
            return "not signed: entered by a command"
        return "not signed"

    @property
    def days_late(self) -> int:
        """Days between the work and its entry, by the calendar of the site; never below 0."""
        entered_on = self.entered_at.astimezone(ZoneInfo(self.item.site.timezone)).date()
        return max(0, (entered_on - self.done_on).days)


def _instrument(
    *,
    marked_as: str,
    calibrated_on: str | None,
    calibration_due_on: str | None,
    calibration_hash: str,
) -> InstrumentAsStood:
    return InstrumentAsStood(
        marked_as, _day(calibrated_on), _day(calibration_due_on), calibration_hash
    )


def _part(*, name: str, batch: str, made_on: str | None) -> PartUsed:
    return PartUsed(name, batch, _day(made_on))


def _day(text: str | None) -> date | None:
    return date.fromisoformat(text) if text else None


class Measured(AppendOnly):
    """By what a record was measured: each instrument as it is marked, and its calibration's hash.

    Nothing but what the record itself says, kept so that what an instrument measured is found
    without reading all records; `append_records` writes it with them. Doubts rest on it, so
    that it is guarded as the records are.
    """

    mark = models.CharField(max_length=220)
    record = models.ForeignKey(
        Record, models.PROTECT, to_field="number", related_name="measured", db_index=False
    )

    objects = AppendOnlyQuerySet["Measured"].as_manager()
    refusal = LedgerIsAppendOnly

    class Meta:
        app_label = "servicing"
        verbose_name = "mark of a record"
        constraints = [
            # By the mark first: what an instrument measured, in one go.
            models.UniqueConstraint(fields=["mark", "record"], name="measured_once"),
        ]

    def __str__(self) -> str:
        return f"record {self.record_id} by {self.mark}"


class Signature(AppendOnly):
    """Somebody's word for a record as it was then: `record_hash` binds it to the content."""

    record = models.ForeignKey(Record, models.PROTECT, related_name="signatures")
    record_hash = models.CharField(max_length=64)
    meaning = models.CharField(max_length=10)
    printed_name = models.CharField(max_length=310)
    username = models.CharField(max_length=150)
    user = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    signed_at = models.DateTimeField()
    zone = models.CharField(max_length=60)
    hash = models.CharField(max_length=64, unique=True)

    objects = AppendOnlyQuerySet["Signature"].as_manager()
    refusal = LedgerIsAppendOnly

    class Meta:
        app_label = "servicing"
        ordering = ("record", "signed_at", "pk")
        constraints = [
            models.UniqueConstraint(
                fields=["record", "meaning"], name="signature_one_of_each_meaning"
            ),
            models.CheckConstraint(
                condition=Q(meaning__in=["performed", "entered", "checked", "released"]),
                name="signature_meaning",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.meaning} by {self.printed_name}"

    @property
    def signed(self) -> Signed:
        """The signature as it is hashed."""
        return Signed(
            record_hash=self.record_hash,
            meaning=self.meaning,
            printed_name=self.printed_name,
            username=self.username,
            signed_at=self.signed_at,
            zone=self.zone,
        )

    @property
    def when(self) -> str:
        """The moment by the clock of the place where it was signed, with that zone."""
        there = self.signed_at.astimezone(ZoneInfo(self.zone))
        return f"{moment_words(there)} {there.tzname()} ({self.zone})"

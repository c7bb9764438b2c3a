"""Instruments: what serves as what, how their calibration stood, what was measured with them."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from django.db.models import QuerySet

from registry.items.models import Item, ItemType
from registry.items.pure import Kind, Serving
from registry.sites.models import Site
from registry.sites.queries import with_sites_above, with_sites_below
from registry.wording.pure.dates import day_words
from servicing.due.pure.obligations import StandingWord, State
from servicing.due.queries.engine import owes
from servicing.ledger.pure.chain import marked_as
from servicing.ledger.pure.entry import PASS, InstrumentAsStood
from servicing.ledger.queries.records import history_of, measured_with

if TYPE_CHECKING:
    from servicing.ledger.models import Record

CALIBRATION = "calibration"
CALIBRATED_CYLINDER = "calibrated-cylinder"
"""What the hydrostatic rig's check of the day is done with: 49 CFR 180.205(g)(4)."""
OFFERED = 10
"""So many instruments are offered for each thing that is needed."""


@dataclass(frozen=True, slots=True)
class Calibration:
    """How an instrument stood on a day. refusal: why nothing may be judged with it, or empty."""

    item: Item
    as_stood: InstrumentAsStood
    state: str
    refusal: str
    in_service: bool = True

    @property
    def words(self) -> str:
        """The calibration in a few words, for a list to choose from."""
        due = self.as_stood.calibration_due_on
        if self.refusal or due is None:
            return self.refusal or "calibration not known"
        return f"in calibration until {day_words(due)}"

    @property
    def serving(self) -> Serving:
        """What it serves as, by its type as it is described now."""
        return self.item.type.serving

    def refusal_as(self, word: str) -> str:
        """Return why nothing may be judged with it where something is needed, or nothing.

        word: what is needed, such as mask-test-bench. Whatever is not described yet serves.
        """
        return self.refusal or self.not_serving(word)

    def not_serving(self, word: str) -> str:
        """Return why it can't be used as something, in calibration or not, or nothing."""
        if self.serving.may_be(word):
            return ""
        needed = word.replace("-", " ")
        return f"{self.item.tag}, {self.item.type}, serves as {self.serving.named}, not as {needed}"


def calibration_of(instrument: Item, on: date) -> Calibration:
    """Return how an instrument's calibration stood on a day, as it is known now.

    It may judge only while it is in service and a rule's calibration date is not past.
    """
    standing, owed = owes(instrument, on)
    due = next((each for each in owed if each.task == CALIBRATION), None)
    last = _last_good(instrument, on)
    stood = InstrumentAsStood(
        marked_as(instrument.tag, instrument.maker, instrument.serial),
        last.done_on if last else None,
        due.due_on if due else None,
        last.hash if last else "",
    )
    state = due.state(on) if due else State.UNDETERMINED
    refusal = ""
    if instrument.kind != Kind.INSTRUMENT:
        refusal = f"{instrument.tag} is no instrument"
    elif standing.word is not StandingWord.IN_SERVICE:
        refusal = f"{instrument.tag} was {standing.word.replace('-', ' ')} on {day_words(on)}"
    elif due is None or due.due_on is None:
        refusal = f"nobody knows until when {instrument.tag} is in calibration"
    elif state is State.OVERDUE:
        refusal = f"the calibration of {instrument.tag} was due on {day_words(due.due_on)}"
    in_service = standing.word is StandingWord.IN_SERVICE
    return Calibration(instrument, stood, state, refusal, in_service)


def instruments_near(site: Site | None, on: date, words: Iterable[str]) -> list[Calibration]:
    """Return the instruments to choose from for what is needed.

    words: what they serve as. Described ones come before those that nobody has described,
    then those of a site, below it and above it.
    """
    items = Item.objects.select_related("type", "site").filter(type__kind=Kind.INSTRUMENT)
    near = set(with_sites_below(site)) if site else set()
    above = set(with_sites_above().get(site.pk, ())) if site else set()
    ordered = sorted(
        items,
        key=lambda item: (
            not item.type.serves_as,
            item.site_id not in near,
            item.site_id not in above,
            item.tag,
        ),
    )
    offered = {
        item.pk
        for word in words
        for item in [item for item in ordered if item.type.serving.may_be(word)][:OFFERED]
    }
    return [calibration_of(item, on) for item in ordered if item.pk in offered]


def undescribed_types() -> QuerySet[ItemType]:
    """Return the types of instruments of which nobody has said what they serve as."""
    found = ItemType.objects.filter(kind=Kind.INSTRUMENT, serves_as=[])
    return found.filter(items__isnull=False).distinct()


def made_with(
    instrument: Item, since: date | None = None, until: date | None = None
) -> "list[Record]":
    """Return the records whose readings were made with an instrument, by day and number.

    Found by its calibrations as they stood and by its marking, so that a new tag hides none.
    """
    hashes = set(history_of(instrument).filter(task=CALIBRATION).values_list("hash", flat=True))
    marks = {marked_as(instrument.tag, instrument.maker, instrument.serial)}
    marks |= set(history_of(instrument).order_by().values_list("marked_as", flat=True).distinct())
    return measured_with(marks, hashes, since, until)


def _last_good(instrument: Item, on: date) -> "Record | None":
    passed = history_of(instrument).in_force().until(on).filter(task=CALIBRATION, outcome=PASS)
    return passed.order_by("-done_on", "-position").first()

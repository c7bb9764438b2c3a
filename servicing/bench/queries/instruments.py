"""Instruments: how their calibration stood on a day, and what was measured with them."""

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from django.db.models import Q

from registry.items.models import Item
from registry.items.pure import Kind
from registry.items.queries import items_marked
from registry.scanning.pure.code import read_code
from registry.sites.models import Site
from registry.sites.queries import with_sites_above, with_sites_below
from servicing.due.pure.explain import day_words
from servicing.due.pure.obligations import StandingWord, State
from servicing.due.queries.engine import owes
from servicing.ledger.pure.chain import marked_as
from servicing.ledger.pure.entry import FAIL, PASS, InstrumentAsStood
from servicing.ledger.queries import history_of, measured_with

if TYPE_CHECKING:
    from servicing.ledger.models import Record

CALIBRATION = "calibration"
OFFERED = 10


@dataclass(frozen=True, slots=True)
class Calibration:
    """How an instrument stood on a day. refusal: why nothing may be judged with it, or empty."""

    item: Item
    as_stood: InstrumentAsStood
    state: str
    refusal: str

    @property
    def words(self) -> str:
        """The calibration in a few words, for a list to choose from."""
        due = self.as_stood.calibration_due_on
        if self.refusal or due is None:
            return self.refusal or "calibration not known"
        return f"in calibration until {day_words(due)}"


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
    return Calibration(instrument, stood, state, refusal)


def instruments_near(site: Site | None, on: date) -> list[Calibration]:
    """Return the instruments to choose from: those of a site, below and above it first."""
    items = Item.objects.select_related("type", "site").filter(type__kind=Kind.INSTRUMENT)
    near = set(with_sites_below(site)) if site else set()
    above = set(with_sites_above().get(site.pk, ())) if site else set()
    ordered = sorted(
        items.order_by("tag")[:200],
        key=lambda item: (item.site_id not in near, item.site_id not in above, item.tag),
    )
    return [calibration_of(item, on) for item in ordered[:OFFERED]]


def in_doubt(instrument: Item) -> "tuple[Record, list[Record]] | None":
    """Return the calibration that failed last and what was measured since the last good one.

    None where the latest calibration was good, or there is none. The day of the last good
    calibration counts, and so does every day up to the failure.
    """
    done = history_of(instrument).in_force().filter(task=CALIBRATION)
    latest = done.order_by("-done_on", "-position").first()
    if latest is None or latest.outcome != FAIL:
        return None
    return latest, made_with(instrument, *_doubtful_days(instrument, latest))


def in_doubt_by(failure: "Record") -> "list[Record]":
    """Return what was measured with an instrument between its last good calibration and one
    that failed."""
    return made_with(failure.item, *_doubtful_days(failure.item, failure))


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


def _doubtful_days(instrument: Item, failure: "Record") -> tuple[date | None, date]:
    before = (
        history_of(instrument)
        .in_force()
        .filter(task=CALIBRATION, outcome=PASS)
        .filter(
            Q(done_on__lt=failure.done_on)
            | Q(done_on=failure.done_on, position__lt=failure.position)
        )
        .order_by("-done_on", "-position")
        .first()
    )
    return before.done_on if before else None, failure.done_on


def _last_good(instrument: Item, on: date) -> "Record | None":
    passed = history_of(instrument).in_force().until(on).filter(task=CALIBRATION, outcome=PASS)
    return passed.order_by("-done_on", "-position").first()


def item_scanned(text: str) -> Item | None:
    """Return the one item that a scanned code or typed text names; None for none or several."""
    found = next((named for m in read_code(text).marks if (named := items_marked(m))), [])
    return found[0] if len(found) == 1 else None


def instrument_marked(text: str) -> Item | None:
    """Return the one instrument that a scanned code or typed text names."""
    found = item_scanned(text)
    return found if found is not None and found.kind == Kind.INSTRUMENT else None

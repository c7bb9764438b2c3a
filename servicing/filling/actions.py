"""Logging fillings: only what may be filled, looked at again where it is written."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING

from django.contrib.auth.models import User
from django.db import transaction

from registry.items.models import Item
from registry.people.actions.rights import only
from registry.people.pure import Right
from registry.people.queries import authorised_text
from registry.sites.clock import now
from registry.wording.pure.dates import day_words
from servicing.due.actions.store import refresh
from servicing.due.pure.charge import FILL
from servicing.filling.pure.may_fill import (
    AIR_TEST,
    FillAnswer,
    Reason,
    Subject,
    may_fill,
    too_full,
    worst_first,
)
from servicing.filling.pure.settling import Ceiling, ceiling, settled_bar
from servicing.filling.queries import items_again, subjects_today
from servicing.ledger import actions as ledger
from servicing.ledger.pure.chain import marked_as, tidy
from servicing.ledger.pure.entry import Reading
from servicing.ledger.queries.records import record_entered_by, record_with_key

if TYPE_CHECKING:
    from servicing.ledger.models import Record as LedgerRecord

GAUGE_BAR = 0.5
"""A gauge is read to whole bars at the best: common practice."""


class FillRefused(ValueError):
    """A filling that must not be; `verdict` has every reason, the text the worst."""

    def __init__(self, tag: str, verdict: FillAnswer) -> None:
        worst = verdict.worst
        super().__init__(f"{tag} may not be filled: {worst.sentence if worst else ''}")
        self.tag, self.verdict = tag, verdict


@dataclass(frozen=True, slots=True)
class GaugeReading:
    """What the gauge and the thermometer show when the valve is shut.

    pressure_bar: gauge pressure in bar. at_c: temperature of the gas, or of the cylinder's
    wall where nothing better is known, in °C.
    """

    pressure_bar: Decimal
    at_c: Decimal


@dataclass(frozen=True, slots=True)
class Rack:
    """What became of the cylinders of a rack."""

    logged: tuple[Item, ...]
    refused: tuple[FillRefused, ...]


@only(Right.RECORD)
@transaction.atomic
def log_fill(
    *,
    item: Item,
    compressor: Item | None,
    reading: GaugeReading,
    user: User,
    entry_key: str,
    at: datetime | None = None,
) -> "LedgerRecord":
    """Enter a filling in the ledger, with the new due dates, and return the record.

    Raises FillRefused where the cylinder may not be filled, or is fuller than its rating
    at that temperature, and EntryKeyUsedTwice; then nothing is written. See `log_rack`.
    """
    rack = log_rack(
        items=[item],
        compressor=compressor,
        reading=reading,
        user=user,
        entry_key=entry_key,
        at=at,
    )
    if rack.refused:
        raise rack.refused[0]
    return record_entered_by(_key(entry_key, item))


@only(Right.RECORD)
@transaction.atomic
def log_rack(
    *,
    items: Sequence[Item],
    compressor: Item | None,
    reading: GaugeReading,
    user: User,
    entry_key: str,
    at: datetime | None = None,
) -> Rack:
    """Enter the filling of every cylinder that may be filled; the others are named.

    The question is asked again here, with the cylinders and the compressor locked, so
    that nothing that became known meanwhile is overlooked. entry_key: the form's key; a
    form that comes in twice makes one record for each cylinder. A filling is logged on
    the day at the cylinder's site. Raises EntryKeyUsedTwice where the form came in before
    with other readings, and NotAuthorised where filling is for authorised people and
    `user` is none; then nothing is written.
    """
    asked = [*items, compressor] if compressor else [*items]
    ledger.lock_items([item.pk for item in asked])
    fresh = items_again(asked)  # as they stand now that nobody else can change them
    subjects = subjects_today(list(fresh.values()))
    air = subjects[compressor.pk] if compressor else None
    logged, refused, new = [], [], []
    for item in (fresh[pk] for pk in dict.fromkeys(item.pk for item in items)):
        if _logged_before(_key(entry_key, item), reading):
            logged.append(item)
            continue
        verdict = may_log(subjects[item.pk], air, reading)
        if not verdict.fill or air is None:
            refused.append(FillRefused(item.tag, verdict))
            continue
        logged.append(item)
        key = _key(entry_key, item)
        new.append(_record(item, subjects[item.pk], air, reading, by=user, key=key))
    ledger.append_records(new, user=user, at=at or now())
    refresh([record.item_id for record in new])
    return Rack(tuple(logged), tuple(refused))


def may_log(cylinder: Subject, air: Subject | None, reading: GaugeReading) -> FillAnswer:
    """Return whether a cylinder may have been filled so full, with every reason why not."""
    verdict = may_fill(cylinder, air)
    reasons = (*verdict.reasons, *_too_full(cylinder, reading))
    return replace(verdict, reasons=worst_first(reasons))


def _too_full(cylinder: Subject, reading: GaugeReading) -> tuple[Reason, ...]:
    if cylinder.working_pressure_bar is None:
        return ()
    limit = _ceiling(cylinder, reading)
    if float(reading.pressure_bar) <= limit.gauge_bar + GAUGE_BAR:
        return ()
    return (too_full(reading.pressure_bar, reading.at_c, limit.gauge_bar, limit.set_by),)


def _logged_before(key: str, reading: GaugeReading) -> bool:
    """Say whether this filling came in before by the same form."""
    before = record_with_key(key)
    if before is None:
        return False
    typed = [each.typed for each in before.readings_as_read]
    if typed != [_plain(reading.pressure_bar), _plain(reading.at_c)]:
        raise ledger.EntryKeyUsedTwice(
            "This form was sent before with other readings; the first entry stands. Scan the "
            "cylinder again to enter another filling."
        )
    return True


def _record(
    item: Item, cylinder: Subject, air: Subject, reading: GaugeReading, *, by: User, key: str
) -> ledger.NewRecord:
    settled = settled_bar(float(reading.pressure_bar), float(reading.at_c))
    tested = next((owed.due_on for owed in air.owed if owed.task == AIR_TEST), None)
    until = f", air test good until {day_words(tested)}" if tested else ""
    return ledger.NewRecord(
        item_id=item.pk,
        marked_as=marked_as(item.tag, item.maker, item.serial),
        task=FILL,
        done_on=cylinder.today,
        outcome="pass",
        performed_by=tidy(by.get_full_name() or by.get_username()),
        performed_by_user=by,
        authorised=authorised_text(by, FILL, cylinder.today),
        entry_key=key,
        note=f"From compressor {air.tag}{until}. Settles to {settled:.0f} bar at 15 °C.",
        readings=_readings(cylinder, reading),
    )


def _readings(cylinder: Subject, reading: GaugeReading) -> tuple[Reading, Reading]:
    """Return the reading as the ledger keeps it, the pressure with its limit as judged."""
    limit, at_c = _ceiling(cylinder, reading), _plain(reading.at_c)
    bar = _plain(reading.pressure_bar)
    most = f"at most {limit.gauge_bar + GAUGE_BAR:.1f} bar at {at_c} °C, by its {limit.set_by}"
    return (
        Reading(
            "fill_bar",
            bar,
            "bar",
            bar,
            "bar",
            most,
            source="UN P200(4); 49 CFR 173.302b(b)",
            verdict="pass",
        ),
        Reading("temperature_c", at_c, "°C", at_c, "°C"),
    )


def _ceiling(cylinder: Subject, reading: GaugeReading) -> Ceiling:
    """Return how full the cylinder may be at the reading's temperature."""
    working, test = cylinder.working_pressure_bar or 0, cylinder.test_pressure_bar
    return ceiling(float(working), float(test) if test else None, float(reading.at_c))


def _plain(number: Decimal) -> str:
    return format(number, "f")


def _key(entry_key: str, item: Item) -> str:
    return f"{entry_key}-{item.pk}"

"""Logging a service, and showing beforehand what it moves."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING

from django.contrib.auth.models import User
from django.db import transaction

from registry.items.models import Item
from registry.sites.clock import now, today_at
from servicing.due.actions.store import refresh
from servicing.due.pure.obligations import Obligation, Record, StandingWord
from servicing.due.queries.engine import owed
from servicing.ledger.actions import NewRecord, append_records, lock_items
from servicing.ledger.pure.chain import marked_as, tidy
from servicing.ledger.queries import condemnation_of, record_entered_by, record_with_key

if TYPE_CHECKING:
    from servicing.ledger.models import Record as LedgerRecord


class ServiceRefused(ValueError):
    """A service that can't be recorded as typed; the text says why and what to do."""


@dataclass(frozen=True, slots=True)
class Service:
    """A service as a person enters it. `readings` are (name, text as typed)."""

    task: str
    done_on: date
    outcome: str
    performed_by: str
    note: str = ""
    readings: tuple[tuple[str, str], ...] = ()
    part_made_on: date | None = None


@dataclass(frozen=True, slots=True)
class Effect:
    """What an item owes without and with a service, on the day of entry."""

    before: tuple[Obligation, ...]
    after: tuple[Obligation, ...]


def effect_of(item: Item, service: Service) -> Effect:
    """Return what a service would move, without writing anything.

    Raises ServiceRefused where it can't be recorded.
    """
    today = today_at(item.site)
    _check(item, service, today)
    extra = Record(service.task, service.done_on, service.outcome, service.part_made_on)
    return Effect(owed(item, today), owed(item, today, [extra]))


@transaction.atomic
def log_service(
    *, item: Item, service: Service, user: User, entry_key: str, at: datetime | None = None
) -> "LedgerRecord":
    """Enter a service in the ledger, with the new due dates, and return the record.

    entry_key: the form's key; a form that comes in twice makes one record, which is
    returned again. Raises ServiceRefused or EntryKeyUsedTwice; then nothing is written.
    """
    # Locked first, so that of two people who enter at once the second sees the first.
    lock_items([item.pk])
    if record_with_key(entry_key) is None:
        _check(item, service, today_at(item.site))
    new = NewRecord(
        item_id=item.pk,
        marked_as=marked_as(item.tag, item.maker, item.serial),
        task=service.task,
        done_on=service.done_on,
        outcome=service.outcome,
        performed_by=tidy(service.performed_by),
        entry_key=entry_key,
        note=tidy(service.note),
        readings=service.readings,
        part_made_on=service.part_made_on,
    )
    append_records([new], user=user, at=at or now())
    refresh([item.pk])
    return record_entered_by(entry_key)


def _check(item: Item, service: Service, today: date) -> None:
    """Refuse what can't have happened."""
    if service.done_on > today:
        raise ServiceRefused(f"{service.done_on} is in the future; today at the site is {today}.")
    if item.made_on and service.done_on < item.made_on:
        raise ServiceRefused(f"{service.done_on} is before the item was made, {item.made_on}.")
    if service.part_made_on and service.part_made_on > service.done_on:
        raise ServiceRefused("The part was made after it was fitted; correct one of the days.")
    if (condemned := condemnation_of(item)) is not None:
        raise ServiceRefused(
            f"{item.tag} was {StandingWord.CONDEMNED} on {condemned.done_on}; it can't come back."
        )

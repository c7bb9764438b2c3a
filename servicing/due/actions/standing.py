"""Taking an item out of service, bringing it back, and condemning it.

Each is a record like any other, so that standing is never typed in but follows from the
ledger. They differ from a service in who may do it and in what must be so beforehand.
"""

from datetime import date, datetime
from typing import TYPE_CHECKING

from django.contrib.auth.models import User
from django.db import transaction

from registry.items.models import Item
from registry.people.actions.rights import only
from registry.people.pure import Right
from registry.people.queries import may
from registry.sites.clock import now, today_at
from registry.wording.pure.dates import day_words
from servicing.due.actions import services
from servicing.due.pure.happened import not_yet
from servicing.due.pure.obligations import CONDEMNED, PASS, StandingWord
from servicing.due.pure.owed import LATE, Owed, for_use, owed_of, worst_first
from servicing.due.queries import engine
from servicing.ledger import actions as ledger
from servicing.ledger.pure.corrections import is_a_reason
from servicing.ledger.queries.records import record_with_key
from servicing.rules.pure import tasks

if TYPE_CHECKING:
    from servicing.ledger.models import Record as LedgerRecord

_CONDEMNS = "Only a fleet manager condemns an item. Take it out of service, and ask for it."
NO_REASON = "Write why, in words that somebody understands years later."


class NotReadyToReturn(services.ServiceRefused):
    """Something must be done before an item comes back; `owed` are the tasks that are late."""

    def __init__(self, tag: str, reasons: list[str]) -> None:
        self.reasons = reasons
        super().__init__(f"{tag} can't return to service yet: {'; '.join(reasons)}.")


class MayNotCondemn(services.ServiceRefused):
    """Somebody without the authority tried to condemn an item by a correction."""


def may_condemn(user: User) -> bool:
    """Whether somebody may condemn items: a fleet manager."""
    return may(user, Right.MANAGE)


@only(Right.RECORD)
@transaction.atomic
def withdraw(
    *,
    item: Item,
    reason: str,
    user: User,
    entry_key: str,
    signed: bool = False,
    at: datetime | None = None,
) -> "LedgerRecord":
    """Take an item out of service until it is returned, and return the record.

    signed: whether the user signs it; the caller has made sure that they are there. Raises
    ServiceRefused where it is condemned, taken out already, or no reason is given; then
    nothing is written. The same form twice makes one record.
    """
    return _decide(
        item, tasks.WITHDRAWAL, reason, user=user, entry_key=entry_key, signed=signed, at=at
    )


@only(Right.RECORD)
@transaction.atomic
def quarantine(
    *,
    item: Item,
    reason: str,
    user: User,
    entry_key: str,
    signed: bool = False,
    at: datetime | None = None,
) -> "LedgerRecord":
    """Keep an item back until something has been investigated; else as `withdraw`."""
    return _decide(
        item, tasks.QUARANTINE, reason, user=user, entry_key=entry_key, signed=signed, at=at
    )


@only(Right.RECORD)
@transaction.atomic
def return_to_service(
    *,
    item: Item,
    reason: str,
    user: User,
    entry_key: str,
    signed: bool = False,
    at: datetime | None = None,
) -> "LedgerRecord":
    """Bring an item back that was taken out, and return the record.

    Raises NotReadyToReturn while a failure is open or anything is overdue or
    undetermined, and ServiceRefused where it was not taken out; then nothing is written.
    """
    return _decide(item, tasks.RETURN, reason, user=user, entry_key=entry_key, signed=signed, at=at)


@only(Right.MANAGE, _CONDEMNS)
@transaction.atomic
def condemn(
    *,
    item: Item,
    reason: str,
    user: User,
    entry_key: str,
    signed: bool = False,
    at: datetime | None = None,
) -> "LedgerRecord":
    """Condemn an item for ever, and return the record.

    Raises ServiceRefused where it is condemned already or no reason is given; then nothing
    is written. Only a correction with a
    second person's signature undoes it.
    """
    return _decide(
        item, tasks.CONDEMNATION, reason, user=user, entry_key=entry_key, signed=signed, at=at
    )


def why_not_return(item: Item, on: date) -> list[str]:
    """Return what must be done before an item can return to service, in words; none if nothing.

    Everything that fell due meanwhile counts, if its rule bars use, and every failure that has
    not passed since.
    """
    standing, owed = engine.held_back(item, on)
    reasons = []
    if standing.word is StandingWord.OUT_OF_SERVICE:
        task = standing.task.replace("-", " ")
        failed = f" on {day_words(standing.since_on)}" if standing.since_on else ""
        reasons.append(f"{task} failed{failed} and has not passed since")
    # An event and what it asks for are said in one breath, whatever else is late.
    late = [each for each in worst_first(for_use(owed_of(owed)), on) if each.state(on) in LATE]
    happened = not_yet((each for each in late if each.happened), on)
    reasons += [happened] if happened else []
    return [*reasons, *(_late(each) for each in late if not each.happened)]


def _late(owed: Owed) -> str:
    task = owed.task.replace("-", " ")
    if owed.due_on is None:
        return f"{task} has no date to count from; it must be done"
    return f"{task} was due on {day_words(owed.due_on)}"


def _decide(
    item: Item,
    task: str,
    reason: str,
    *,
    user: User,
    entry_key: str,
    signed: bool,
    at: datetime | None,
) -> "LedgerRecord":
    ledger.lock_items([item.pk])
    known = record_with_key(entry_key)
    today, at = today_at(item.site), at or now()
    service = services.Service(
        task=task,
        # A form that comes in again after midnight says the day it said at first.
        done_on=known.done_on if known else today,
        outcome=CONDEMNED if task == tasks.CONDEMNATION else PASS,
        performed_by=user.get_full_name() or user.get_username(),
        note=reason,
        performed_by_user=user,
        attempt=1,
    )
    if known is None:
        if not is_a_reason(reason):
            raise services.ServiceRefused(NO_REASON)
        services.check_service(item, service, today)
        _check_standing(item, task, today)
    record = services.enter(services.new_record(item, service, entry_key), user=user, at=at)
    if signed:
        meaning = ledger.Meaning.RELEASED if task == tasks.RETURN else ledger.Meaning.PERFORMED
        ledger.sign(record=record, user=user, meaning=meaning, at=at, zone=item.site.timezone)
    return record


def _check_standing(item: Item, task: str, on: date) -> None:
    """Refuse a decision that does not fit how the item stands."""
    out = engine.taken_out(item, on)
    if task in tasks.TAKES_OUT and out is not None:
        raise services.ServiceRefused(
            f"{item.tag} was taken out of service already, on {day_words(out.done_on)}."
        )
    if task != tasks.RETURN:
        return
    if out is None and engine.owes(item, on)[0].word is StandingWord.IN_SERVICE:
        raise services.ServiceRefused(f"{item.tag} is in service; nothing has to be brought back.")
    if reasons := why_not_return(item, on):
        raise NotReadyToReturn(item.tag, reasons)

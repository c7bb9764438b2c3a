"""Letting a record in doubt stand: a manager's word, as a record that names the other."""

from datetime import datetime
from typing import TYPE_CHECKING

from django.contrib.auth.models import User
from django.db import transaction

from registry.people.actions.rights import only
from registry.people.pure import Right
from registry.sites.clock import now, today_at
from registry.wording.pure.dates import day_words
from servicing.due.actions import services
from servicing.due.pure.obligations import PASS
from servicing.due.queries.doubts import Doubt, doubt_about, ruling_step
from servicing.ledger import actions as ledger
from servicing.ledger.pure.corrections import is_a_reason
from servicing.ledger.pure.entry import Check
from servicing.ledger.queries.records import record_with_key
from servicing.rules.pure.tasks import RULING

if TYPE_CHECKING:
    from servicing.ledger.models import Record

NOT_IN_DOUBT = "Nothing of this record is in doubt now; there is nothing to rule."


@only(Right.MANAGE, "Only a fleet manager rules that a record in doubt stands.")
@transaction.atomic
def let_stand(
    *,
    record: "Record",
    reason: str,
    user: User,
    entry_key: str,
    signed: bool = False,
    at: datetime | None = None,
) -> "Record":
    """Rule that a record in doubt stands, and return the ruling, a record of the same item.

    It names the record and the failed calibration, by their numbers and their hashes: where
    either is corrected, or another instrument fails, the doubt is there anew. Only a further
    record undoes it: the correction that it never happened. signed: whether the user signs
    it; the caller has made sure that they are there. The same form twice makes one record.

    Raises ServiceRefused where nothing of the record is in doubt, or without a reason; then
    nothing is written.
    """
    item, at = record.item, at or now()
    ledger.lock_items([item.pk])
    known, today = record_with_key(entry_key), today_at(item.site)
    service = services.Service(
        task=RULING,
        # A form that comes in again after midnight says the day it said at first.
        done_on=known.done_on if known else today,
        outcome=PASS,
        performed_by=user.get_full_name() or user.get_username(),
        note=reason,
        checks=known.entry.checks if known else (_ruled(record, reason, user),),
        performed_by_user=user,
        attempt=1,
    )
    if known is None:
        services.check_service(item, service, today)
    ruling = services.enter(services.new_record(item, service, entry_key), user=user, at=at)
    if signed:
        zone = item.site.timezone
        ledger.sign(record=ruling, user=user, meaning=ledger.Meaning.PERFORMED, at=at, zone=zone)
    return ruling


def _ruled(record: "Record", reason: str, user: User) -> Check:
    """Return what the ruling says. Raises ServiceRefused where there is nothing to rule."""
    if not is_a_reason(reason):
        raise services.ServiceRefused("Write why, in words that somebody understands years later.")
    found = doubt_about(record)
    if found is None or not found[1].is_open:
        raise services.ServiceRefused(NOT_IN_DOUBT)
    return _stands(record, found[0])


def _stands(record: "Record", doubt: Doubt) -> Check:
    failure = doubt.failure
    text = (
        f"Record {record.number}, {record.task.replace('-', ' ')} of {day_words(record.done_on)}, "
        f"stands, though {doubt.instrument.tag}, which measured it, failed its calibration on "
        f"{day_words(failure.done_on)} (record {failure.number})"
    )
    return Check(ruling_step(record, failure), text, "done")

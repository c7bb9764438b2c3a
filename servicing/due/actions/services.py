"""Logging a service, and showing beforehand what it moves."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import TYPE_CHECKING

from django.contrib.auth.models import User
from django.db import transaction

from registry.items.models import Item
from registry.items.pure import OXYGEN
from registry.people.actions.rights import only
from registry.people.pure import Right, folded
from registry.people.queries import NotAuthorised, authorised_text, may, why_not_second
from registry.sites.clock import now, today_at
from registry.trail.pure import name_of
from registry.wording.pure.dates import day_words, in_the_future
from servicing.away.pure import RECEIVE_FIRST
from servicing.away.queries import away_now
from servicing.due.actions.store import refresh
from servicing.due.pure.charge import FILL
from servicing.due.pure.obligations import FAIL, PASS, Obligation, Record, Standing, StandingWord
from servicing.due.queries.engine import governing_rule, owes
from servicing.due.queries.together import Along, along
from servicing.ledger.actions import Meaning, NewRecord, append_records, lock_items, sign
from servicing.ledger.pure.chain import marked_as, tidy
from servicing.ledger.pure.entry import Check, InstrumentAsStood, PartUsed, Reading
from servicing.ledger.pure.meter import HOURS_RUN, hours_in, meter_faults
from servicing.ledger.pure.shoulder import NAMES, Shoulder, shoulder_faults, shoulder_of
from servicing.ledger.pure.together import key_of_part
from servicing.ledger.queries.records import (
    condemnation_of,
    entered_since,
    last_by_item,
    last_of_the_day,
    record_entered_by,
    record_with_key,
)
from servicing.rules.pure.tasks import RETEST, STANDING_TASKS

if TYPE_CHECKING:
    from servicing.ledger.models import Record as LedgerRecord


class ServiceRefused(ValueError):
    """A service that can't be recorded as typed; the text says why and what to do."""


class SecondPersonNeeded(ServiceRefused):
    """Somebody else who may sign beside the first must do so, with their own name."""


class ItemAway(ServiceRefused):
    """The item is not here: the register has it at a test house."""


class ItemChangedMeanwhile(ServiceRefused):
    """Somebody entered something for the item since the form was opened.

    entered: those records. seen: the position to confirm with, once they have been read.
    """

    def __init__(self, tag: str, entered: "list[LedgerRecord]") -> None:
        self.entered, self.seen = entered, entered[-1].position
        what = "; ".join(
            f"{each.task} of {day_words(each.done_on)}, {each.outcome}, entered by "
            f"{name_of(each.entered_by)}"
            for each in entered
        )
        super().__init__(
            f"{tag} has changed since you opened this page: {what}. What you typed is still "
            "here: check it against that, then send it again."
        )


@dataclass(frozen=True, slots=True)
class Service:
    """A service as a person enters it; see `ledger.pure.entry` for what the fields mean.

    readings: as (name, text as typed), or judged. attempt: None to have it counted. rule:
    empty to have the rule that governs the task now.
    """

    task: str
    done_on: date
    outcome: str
    performed_by: str
    note: str = ""
    readings: tuple[tuple[str, str] | Reading, ...] = ()
    part_made_on: date | None = None
    attempt: int | None = None
    procedure: str = ""
    rule: str = ""
    authorised: str = ""
    checks: tuple[Check, ...] = ()
    instruments: tuple[InstrumentAsStood, ...] = ()
    parts: tuple[PartUsed, ...] = ()
    performed_by_user: User | None = None

    @property
    def shoulder(self) -> Shoulder:
        """What was marked on the item, where it was retested."""
        return shoulder_of(self.readings)

    @property
    def as_fact(self) -> Record:
        """The same as the engine takes it."""
        marks = self.shoulder.dates if self.task == RETEST else (None, None)
        said = self.task, self.done_on, self.outcome, self.part_made_on
        return Record(*said, *marks, hours_in(self.readings))


@dataclass(frozen=True, slots=True)
class Effect:
    """What an item owes, and how it stands, without and with an entry, on the day of entry."""

    before: tuple[Obligation, ...]
    after: tuple[Obligation, ...]
    standing_before: Standing
    standing_after: Standing
    parts: tuple["PartEffect", ...] = ()


@dataclass(frozen=True, slots=True)
class PartEffect:
    """A part of a set with what becomes of its dates where something happens to the set.

    remark: what becomes of it in words, where that is not just another record. effect: None
    where nothing is recorded for it.
    """

    part: Item
    remark: str
    effect: Effect | None


def told_by(user: User, service: Service) -> Service:
    """Return a service as somebody enters it: where they name themselves, as their own work.

    Their own work says by which authorisation they may do it. Raises ServiceRefused where
    they may not.
    """
    names = {folded(user.get_full_name()), folded(user.get_username())}
    if folded(" ".join(service.performed_by.split())) not in names:
        return service
    try:
        authorised = authorised_text(user, service.task, service.done_on)
    except NotAuthorised as problem:
        raise ServiceRefused(str(problem)) from problem
    return replace(service, performed_by_user=user, authorised=authorised)


def effect_of(item: Item, *services: Service) -> Effect:
    """Return what services would move, in the order given, without writing anything.

    Raises ServiceRefused where one of them can't be recorded.
    """
    today = today_at(item.site)
    for service in services:
        check_at_bench(item, service, today)
    extra = [service.as_fact for service in services]
    before, after = owes(item, today), owes(item, today, extra)
    parts = tuple(_effect_along(each, service, today) for each in along_of(item, service))
    return Effect(before[1], after[1], before[0], after[0], parts)


def _effect_along(each: Along, service: Service, today: date) -> PartEffect:
    if each.why_not:
        return PartEffect(each.part, f"no record: {each.why_not}", None)
    extra = [Record(service.task, service.done_on, PASS)]
    before, after = owes(each.part, today), owes(each.part, today, extra)
    return PartEffect(each.part, "", Effect(before[1], after[1], before[0], after[0]))


@only(Right.RECORD)
@transaction.atomic
def log_service(
    *,
    item: Item,
    service: Service,
    user: User,
    entry_key: str,
    at: datetime | None = None,
    seen: int | None = None,
    signed: bool = False,
    elsewhere: bool = False,
) -> "LedgerRecord":
    """Enter a service in the ledger, with the new due dates, and return the record.

    What happens to a set is entered for its parts too, in records that name this one.
    entry_key: the form's key; a form that comes in twice makes one record, which is
    returned again. Keys are kept for ever. seen: the position of the item's latest record
    when the form was opened; None where nobody looked. signed: whether the user signs it,
    as performed where they did the work (`told_by`), else as entered; the caller has made
    sure that they are there. elsewhere: it was done where the item was sent, so that it need
    not be here. Raises ServiceRefused, of which ItemAway and ItemChangedMeanwhile are two,
    EntryKeyUsedTwice or SignatureRefused; then nothing is written.
    """
    if not elsewhere:
        service = told_by(user, service)
    # Locked first, so that of two people who enter at once the second sees the first.
    found = locked_along(item, service)
    if record_with_key(entry_key) is None:
        if seen is not None and (entered := list(entered_since(item, seen))):
            raise ItemChangedMeanwhile(item.tag, entered)
        check = check_service if elsewhere else check_at_bench
        check(item, service, today_at(item.site))
        if service.task in STANDING_TASKS:
            raise ServiceRefused(
                f"{service.task.replace('-', ' ').capitalize()} is decided on the item's own "
                "page, not logged as a service."
            )
        _check_nothing_waits(item, service, user)
    else:
        found = []  # they were entered with it, whatever is fitted now
    at = at or now()
    new = [new_record(item, service, entry_key), *records_along(item, service, entry_key, found)]
    records = enter_all(new, user=user, at=at)
    for record in records if signed else ():
        sign_what_is_entered(record, item=item, user=user, at=at)
    return records[0]


def along_of(item: Item, service: Service) -> list[Along]:
    """Return the parts of a set to which a service of it happens as well: events alone do."""
    return along(item, service.task, service.done_on)


def locked_along(item: Item, service: Service) -> list[Along]:
    """Lock an item, and where it is a set its parts, and return what `along_of` does.

    Raises ServiceRefused where its parts changed in that moment.
    """
    before = {each.part.pk for each in along_of(item, service)}
    lock_items({item.pk, *before})
    found = along_of(item, service)
    if not {each.part.pk for each in found} <= before:
        raise ServiceRefused(f"The parts of {item.tag} changed just now; send it again.")
    return found


def records_along(
    item: Item, service: Service, entry_key: str, found: Iterable[Along]
) -> list[NewRecord]:
    """Return the records of the parts of a set whose own record has that key."""
    return [
        replace(
            new_record(each.part, as_of_part(service), key_of_part(entry_key, each.part.pk)),
            part_of=(item.tag, entry_key),
        )
        for each in found
        if not each.why_not
    ]


def as_of_part(service: Service) -> Service:
    """Return what is recorded for a part: that it happened. What was found is said of the set."""
    return Service(
        task=service.task,
        done_on=service.done_on,
        outcome=PASS,
        performed_by=service.performed_by,
        note=service.note,
        attempt=1,
        authorised=service.authorised,
        performed_by_user=service.performed_by_user,
    )


def sign_what_is_entered(record: "LedgerRecord", *, item: Item, user: User, at: datetime) -> None:
    """Sign a record as performed where the user did the work, else as entered by them."""
    own = record.performed_by_user_id == user.pk
    meaning = Meaning.PERFORMED if own else Meaning.ENTERED
    sign(record=record, user=user, meaning=meaning, at=at, zone=item.site.timezone)


def enter(new: NewRecord, *, user: User, at: datetime) -> "LedgerRecord":
    """Add one record with the item's new due dates, in the caller's transaction."""
    return enter_all([new], user=user, at=at)[0]


def enter_all(new: Sequence[NewRecord], *, user: User, at: datetime) -> "list[LedgerRecord]":
    """Add records with their items' new due dates, in the caller's transaction, in that order."""
    append_records(new, user=user, at=at)
    refresh({each.item_id for each in new})
    return [record_entered_by(each.entry_key) for each in new]


def new_record(item: Item, service: Service, entry_key: str) -> NewRecord:
    """Return a service as a record to be added."""
    return NewRecord(
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
        attempt=service.attempt or _attempt(item, service),
        procedure=service.procedure,
        rule=service.rule or governing_rule(item, service.task, service.done_on),
        authorised=service.authorised,
        checks=service.checks,
        instruments=service.instruments,
        parts=service.parts,
        performed_by_user=service.performed_by_user,
    )


def check_service(item: Item, service: Service, today: date) -> None:
    """Refuse what can't have happened to an item that can still be serviced.

    Fillings with air too: they go through the filling point, which asks first whether it may be.
    One with oxygen was made elsewhere, and is only written down.
    """
    if service.task == FILL and OXYGEN not in item.marks:
        raise ServiceRefused(
            "A filling is logged at the filling point, which asks first whether it may be."
        )
    check_days(item, service, today)
    _check_made(service, *(part.made_on for part in service.parts))
    if (condemned := condemnation_of(item)) is not None:
        raise ServiceRefused(
            f"{item.tag} was {StandingWord.CONDEMNED} on {day_words(condemned.done_on)}; it "
            "can't come back."
        )


def check_at_bench(item: Item, service: Service, today: date) -> None:
    """Refuse what `check_service` does, and work on an item that is away since before that day."""
    check_service(item, service, today)
    away = away_now([item.pk]).get(item.pk)
    if away is not None and service.done_on > away.since:
        raise ItemAway(
            f"{item.tag} is {away.words}, so it can't have been here on "
            f"{day_words(service.done_on)}. {RECEIVE_FIRST}"
        )


def _check_nothing_waits(item: Item, service: Service, user: User) -> None:
    """Refuse to pass what a test found fit to be condemned, unless a manager decides so."""
    last = last_by_item([item.pk], service.task).get(item.pk)
    undecided = last is not None and last.awaits_condemnation and service.outcome == PASS
    if last is not None and undecided and not may(user, Right.MANAGE):
        raise ServiceRefused(
            f"{item.tag}: the test of {day_words(last.done_on)} says condemn, which waits for a "
            "fleet manager; nothing passes before that is decided."
        )


def check_second(second: User | None, *, beside: User, asked: str) -> User:
    """Return who signs second. Raises SecondPersonNeeded without one, or where they may not.

    asked: the sentence that says why somebody must.
    """
    if second is None:
        raise SecondPersonNeeded(asked)
    if (bar := why_not_second(second, beside=beside)) is not None:
        raise SecondPersonNeeded(bar.sentence)
    return second


def check_days(item: Item, service: Service, today: date) -> None:
    """Refuse days that can't be. Raises ServiceRefused."""
    if service.done_on > today:
        raise ServiceRefused(in_the_future(service.done_on, today))
    if item.made_on and service.done_on < item.made_on:
        raise ServiceRefused(
            f"{day_words(service.done_on)} is before the item was made, {day_words(item.made_on)}."
        )
    _check_made(service, service.part_made_on)
    _check_shoulder(service)
    if fault := meter_faults(service.readings):
        raise ServiceRefused(f"Reading {HOURS_RUN} {fault}.")


def _check_shoulder(service: Service) -> None:
    """Refuse what nobody can have marked on the shoulder."""
    if not service.shoulder.said:
        return
    if service.task != RETEST:
        raise ServiceRefused("Only who retests a cylinder marks it: log it as a retest.")
    for name, remedy in shoulder_faults(service.shoulder, service.done_on):
        raise ServiceRefused(f"{NAMES[name].capitalize()} {remedy}.")


def _check_made(service: Service, *made: date | None) -> None:
    if any(made_on > service.done_on for made_on in made if made_on):
        raise ServiceRefused("The part was made after it was fitted; correct one of the days.")


def _attempt(item: Item, service: Service) -> int:
    """Return the number of an attempt: a repeat on the day of a failure is one more."""
    last = last_of_the_day(item, service.task, service.done_on)
    return last.attempt + 1 if last is not None and last.outcome == FAIL else 1

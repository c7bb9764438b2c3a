"""Correcting a record by a later one, and showing beforehand what it moves."""

from dataclasses import dataclass, replace
from datetime import date, datetime
from functools import partial
from typing import TYPE_CHECKING

from django.contrib.auth.models import User
from django.db import transaction

from registry.items.models import Item
from registry.items.pure import Kind
from registry.people.actions.rights import only
from registry.people.pure import Right, folded
from registry.people.queries import NotAuthorised, authorised_text
from registry.sites.clock import now, today_at
from registry.wording.pure.dates import day_words
from servicing.due.actions.preview import Reach, reach_of
from servicing.due.actions.services import (
    Effect,
    PartEffect,
    SecondPersonNeeded,
    Service,
    ServiceRefused,
    along_of,
    as_of_part,
    check_days,
    check_second,
    enter_all,
    new_record,
    sign_what_is_entered,
    told_by,
)
from servicing.due.actions.standing import MayNotCondemn, may_condemn
from servicing.due.pure.charge import FILL
from servicing.due.pure.obligations import CONDEMNED, FAIL, PASS, Record
from servicing.due.queries import together
from servicing.due.queries.engine import owes, owes_corrected
from servicing.ledger import actions as ledger
from servicing.ledger.pure.chain import tidy
from servicing.ledger.pure.entry import VOID
from servicing.ledger.pure.shoulder import NAMES
from servicing.ledger.pure.together import key_of_part
from servicing.ledger.queries import records
from servicing.rules.pure.tasks import RULING, STANDING_TASKS

if TYPE_CHECKING:
    from servicing.ledger.models import Record as LedgerRecord


_BAD = ("not-good", "level-2", "level-3")
"""The answers to a check by eye with which an attempt fails (bench/pure/verdict.py)."""


class NothingCorrected(ServiceRefused):
    """The correction says what the record says already."""


def effect_of_correction(record: "LedgerRecord", service: Service | None) -> Effect:
    """Return what a correction would move, without writing anything.

    service: what is right; None where the record never happened. Raises ServiceRefused
    where it can't stand. Due dates and standing are those of the record's item.
    """
    item, today = record.item, today_at(record.item.site)
    check_correction(record, service)
    by = service.as_fact if service else None
    before, after = owes(item, today), owes_corrected(item, today, record.hash, by)
    parts = tuple(_part_effect(each, today) for each in _parts_corrected(record, service))
    return Effect(before[1], after[1], before[0], after[0], parts)


@dataclass(frozen=True, slots=True)
class _PartCorrected:
    """What a correction of a set's record makes of a part: with `record` it corrects that one.

    service: what is right of the part; None where it never happened to it. kept: why its
    record stays as it is, in words; empty where it does not.
    """

    part: Item
    record: "LedgerRecord | None"
    service: Service | None
    kept: str = ""


def _parts_corrected(record: "LedgerRecord", service: Service | None) -> list[_PartCorrected]:
    """Return what becomes of the parts' records that were entered with a set's (due/README 11).

    What was fitted on the day that is right gets what is right, what was not fitted then
    never was in it. A part whose own record was corrected by itself keeps that correction.
    """
    item, found = record.item, []
    right = {each.part.pk: each for each in (along_of(item, service) if service else ())}
    for own in together.recorded_along(record):
        here = right.pop(own.item_id, None)
        becomes = as_of_part(service) if service and here and not here.why_not else None
        if records.correction_of(own) is not None:
            kept = "was corrected by itself, and stays"
            found.append(_PartCorrected(own.item, own, None, kept))
        elif own.outcome != VOID if becomes is None else _content(own) != _content(becomes):
            found.append(_PartCorrected(own.item, own, becomes))
    # Of what was fitted on the day that was wrong, a list may have named the part itself.
    was = {
        each.part.pk
        for each in together.along(item, record.task, record.done_on)
        if not each.why_not
    }
    for pk, new in right.items():
        if pk not in was and not new.why_not and service is not None:
            found.append(_PartCorrected(new.part, None, as_of_part(service)))
    return found


def _part_effect(each: _PartCorrected, today: date) -> PartEffect:
    if each.kept:
        return PartEffect(each.part, f"its record {each.kept}", None)
    by = Record(each.service.task, each.service.done_on, PASS) if each.service else None
    before = owes(each.part, today)
    if each.record is None:
        said, after = "recorded for it as well", owes(each.part, today, [by] if by else [])
    else:
        after = owes_corrected(each.part, today, each.record.hash, by)
        what = "is corrected too" if by else "never happened either"
        said = f"its record {each.record.position} {what}"
    return PartEffect(each.part, said, Effect(before[1], after[1], before[0], after[0]))


def _with_parts(
    record: "LedgerRecord", service: Service | None, reason: str, entry_key: str
) -> list[ledger.NewRecord]:
    """Return the correction of a record and, of a set's, what becomes of its parts' records."""
    item = record.item
    new = [_correction(item, record, service, reason, entry_key)]
    for each in _parts_corrected(record, service):
        key = key_of_part(entry_key, each.part.pk)
        if each.kept:
            continue
        if each.record is not None:
            made = _correction(each.part, each.record, each.service, reason, key)
        elif each.service is not None:
            made = new_record(each.part, each.service, key)
        new.append(replace(made, part_of=(item.tag, entry_key)))
    return new


def reach_of_correction(
    record: "LedgerRecord", service: Service | None, *, reason: str, user: User
) -> Reach:
    """Return what a correction would reach: dates, sets and papers; nothing is written.

    Raises what `effect_of_correction` raises, and AlreadyCorrected.
    """
    check_correction(record, service)
    service = _own_words(record, service, user)
    new = _with_parts(record, service, reason, f"preview-{record.hash}"[:64])
    return reach_of(lambda: enter_all(new, user=user, at=now()), record.item)


@only(Right.RECORD)
@transaction.atomic
def correct_record(
    *,
    record: "LedgerRecord",
    service: Service | None,
    reason: str,
    user: User,
    entry_key: str,
    second: User | None = None,
    signed: bool = False,
    at: datetime | None = None,
) -> "LedgerRecord":
    """Enter a record that takes the place of another, with the new due dates, and return it.

    What was entered for the parts of a set with the set's record is corrected with it.
    service: what is right; None where the record never happened (wrong item, wrong
    button). reason: why, kept for ever. second: who stands for it beside the user, needed
    where a condemnation is corrected; the caller has made sure that it is them, and they
    sign here as having checked it. signed: whether the user signs it as entered; the caller
    has made sure that they are there, too.

    Raises AlreadyCorrected where somebody was quicker, CorrectionRefused without a
    reason, EntryKeyUsedTwice, and ServiceRefused, of which SecondPersonNeeded and
    NothingCorrected are two, also where the user is not authorised for the task; then
    nothing is written. The same form twice makes one record.
    """
    item, moment = record.item, at or now()
    ledger.lock_items(
        {item.pk, *(together.ever_fitted(item) if item.type.kind == Kind.SET else ())}
    )
    known = records.record_with_key(entry_key)
    if known is None:
        service = _own_words(record, service, user)
        if records.correction_of(record) is None:  # else the ledger says by whom
            check_correction(record, service)
        _check_people(record, service, user, second)
        new = _with_parts(record, service, reason, entry_key)
    else:
        new = [_correction(item, record, service, reason, entry_key)]
    added, *of_parts = enter_all(new, user=user, at=moment)
    put = partial(ledger.sign, record=added, at=moment, zone=item.site.timezone)
    if signed:
        put(user=user, meaning=ledger.Meaning.ENTERED)
        for each in of_parts:
            sign_what_is_entered(each, item=each.item, user=user, at=moment)
    if record.outcome == CONDEMNED and second is not None:
        put(user=second, meaning=ledger.Meaning.CHECKED, second_person=True)
    return added


def _own_words(record: "LedgerRecord", service: Service | None, user: User) -> Service | None:
    """Return what is right as the one who corrects may say it; None where nothing happened.

    Who corrects must be authorised, today, for the task of the record and of what is right.
    Who did it, by which authorisation, stays while the same did the same on the same day;
    where they name themselves it is asked as of their own work. Raises ServiceRefused.
    """
    today = today_at(record.item.site)
    for task in dict.fromkeys([record.task, *([service.task] if service else [])]):
        try:
            authorised_text(user, task, today)
        except NotAuthorised as problem:
            raise ServiceRefused(str(problem)) from problem
    if service is None or _deed(service) == _deed(record):
        return service
    return told_by(user, replace(service, authorised=""))


def _deed(of: "LedgerRecord | Service") -> tuple[str, str, date]:
    return folded(tidy(of.performed_by)), of.task, of.done_on


def needs_second_person(record: "LedgerRecord") -> bool:
    """Whether a correction of a record needs a second person's signature."""
    return record.outcome == CONDEMNED


def check_correction(record: "LedgerRecord", service: Service | None) -> None:
    """Refuse what can't have happened, or what changes nothing. Raises ServiceRefused."""
    if service is None:
        if record.outcome == VOID:
            raise NothingCorrected("That record says already that nothing happened.")
        return
    if service.task == FILL != record.task:
        raise ServiceRefused(
            "A correction can't make a filling of something else; log it at the filling point."
        )
    if service.task in STANDING_TASKS and service.task != record.task:
        raise ServiceRefused(
            f"{service.task.replace('-', ' ').capitalize()} is decided on the item's own page; "
            "a correction can't make one of something else."
        )
    if record.procedure:
        _check_judged(record, service)
    check_days(record.item, service, today_at(record.item.site))
    condemned = records.condemnation_of(record.item)
    if service.outcome == CONDEMNED and condemned is not None and condemned.pk != record.pk:
        raise ServiceRefused(
            f"{record.item.tag} was condemned on {day_words(condemned.done_on)} already."
        )
    if _content(record) == _content(service):
        raise NothingCorrected("The correction says what the record says; change what is wrong.")


def _check_judged(record: "LedgerRecord", service: Service) -> None:
    """Refuse another verdict than that of the procedure, which the readings still stand for."""
    again = "say that it never happened, and do the service again"
    if service.task != record.task:
        raise ServiceRefused(f"A procedure was followed for {record.task}; {again}.")
    entry = record.entry
    bad = [reading.name for reading in entry.readings if reading.verdict == FAIL]
    bad += [check.text for check in entry.checks if check.answer in _BAD]
    if service.outcome == PASS and bad:
        raise ServiceRefused(
            f"It can't have passed, for this did not: {', '.join(bad)}. If that is wrong, {again}."
        )


def _content(of: "LedgerRecord | Service") -> tuple[object, ...]:
    readings = of.readings if isinstance(of, Service) else of.readings_as_read
    typed = [pair if isinstance(pair, tuple) else (pair.name, pair.typed) for pair in readings]
    typed.sort(key=lambda pair: pair[0] in NAMES.values())  # wherever the marks stand among them
    texts = (tidy(of.performed_by), tidy(of.note))
    return (of.task, of.done_on, of.outcome, of.part_made_on, *texts, typed)


def _check_people(
    record: "LedgerRecord", service: Service | None, user: User, second: User | None
) -> None:
    if service is not None and service.outcome == CONDEMNED and not may_condemn(user):
        raise MayNotCondemn("Only a fleet manager condemns an item, also by a correction.")
    if service is not None and service.task == RULING:
        raise ServiceRefused(
            "A ruling is not rewritten: say that it never happened, and rule anew if you must."
        )
    if not needs_second_person(record):
        return
    asked = "A condemnation is undone by two people: somebody else must sign as well."
    second = check_second(second, beside=user, asked=asked)
    if ledger.took_part(record, second):
        raise SecondPersonNeeded(
            f"Second person: {second.get_full_name() or second.get_username()} took part in what "
            "is corrected; somebody else must sign."
        )


def _correction(
    item: Item, record: "LedgerRecord", service: Service | None, reason: str, entry_key: str
) -> ledger.NewRecord:
    if service is not None:
        new = new_record(item, service, entry_key)
    else:
        never = Service(record.task, record.done_on, VOID, record.performed_by, attempt=1)
        new = new_record(item, never, entry_key)
    return replace(new, corrects=record.hash, reason=tidy(reason))

"""Signing what was done at the bench: records, signatures and due dates in one transaction."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime
from functools import partial
from hashlib import sha256
from typing import TYPE_CHECKING

from django.contrib.auth.models import User
from django.db import transaction

from registry.items.models import Item
from registry.people.actions.rights import only
from registry.people.pure import Right
from registry.people.queries import NotAuthorised, authorised_text
from registry.sites.clock import now, today_at
from registry.wording.pure.dates import day_words
from servicing.bench.actions.hand import refuse_others
from servicing.bench.models import Draft
from servicing.bench.pure.answers import typed_before
from servicing.bench.pure.recorded import Renewal, renewals_of, said_of
from servicing.bench.pure.verdict import Word
from servicing.bench.queries.work import Stood, Work, work_of
from servicing.due.actions.services import (
    Effect,
    Service,
    ServiceRefused,
    check_at_bench,
    check_second,
    effect_of,
    new_record,
)
from servicing.due.actions.store import refresh
from servicing.due.pure.obligations import Standing, StandingWord
from servicing.due.queries.engine import governing_rules
from servicing.due.queries.rows import standing_now
from servicing.ledger import actions as ledger
from servicing.ledger.pure.entry import FAIL, PASS, Check
from servicing.ledger.queries.records import record_with_key

if TYPE_CHECKING:
    from servicing.ledger.models import Record


class NotFinished(ServiceRefused):
    """Something still has to be done before it can be signed."""


class NotReleased(ServiceRefused):
    """The outcome does not return the item to service."""


class ChangedMeanwhile(ServiceRefused):
    """What was shown before signing is not how it stands any more."""


def service_of(work: Work, user: User, note: str = "") -> Service:
    """Return an attempt as the service that its record will say."""
    chosen = {word: found.as_stood for word, found in work.instruments.items()}
    before = typed_before(work.draft.answers) if work.draft else {}
    marked = {word: stood.marked_as for word, stood in chosen.items()}
    said = said_of(work.course, marked, before)
    return Service(
        task=work.task,
        done_on=work.done_on,
        outcome=work.course.outcome.outcome,
        performed_by=user.get_full_name() or user.get_username(),
        note="\n".join(text for text in (said.note, note.strip()) if text),
        readings=said.readings,
        part_made_on=said.part_made_on,
        procedure=work.procedure_words,
        authorised=_authorised(work.task, work, user)[0],
        checks=(*said.checks, *_served(work)),
        instruments=tuple(dict.fromkeys(chosen[word] for word in work.used if word in chosen)),
        parts=said.parts,
        performed_by_user=user,
    )


def services_of(work: Work, user: User, note: str = "") -> list[Service]:
    """Return what the records of an attempt will say, in the order in which they are entered.

    Parts whose renewal is a task of its own come first and the attempt itself last, for what
    was tested had them in it already. They are `_keys` in the same order.
    """
    parts = [_renewal(work, user, each) for each in renewals_of(work.course)]
    return [*parts, service_of(work, user, note)]


def _renewal(work: Work, user: User, renewal: Renewal) -> Service:
    return Service(
        task=renewal.task,
        done_on=work.done_on,
        outcome=PASS,
        performed_by=user.get_full_name() or user.get_username(),
        note=f"Renewed during the {work.task.replace('-', ' ')}.",
        part_made_on=renewal.part.made_on,
        procedure=work.procedure_words,
        authorised=_authorised(renewal.task, work, user)[0],
        checks=(renewal.check,),
        parts=(renewal.part,),
        performed_by_user=user,
    )


def _served(work: Work) -> list[Check]:
    """Return what the instruments of the readings served as, as they were described then."""
    chosen = [(word, work.instruments[word]) for word in work.used if word in work.instruments]
    return [
        Check(
            step=f"measured-with-{word}",
            text=f"Measured with the {word.replace('-', ' ')}",
            answer=Word.DONE,
            note=f"{found.as_stood.marked_as}: {found.serving}",
        )
        for word, found in chosen
    ]


def effect_of_works(works: Sequence[Work], user: User) -> Effect:
    """Return what signing the attempts at one item would move, all that is renewed included.

    Raises ServiceRefused where one can't stand.
    """
    services = (service for work in works for service in services_of(work, user))
    return effect_of(works[-1].item, *services)


def comes_back(before: Standing, after: Standing) -> bool:
    """Say whether an item comes back into service between two standings."""
    out = StandingWord.OUT_OF_SERVICE
    return before.word is out and after.word is StandingWord.IN_SERVICE


def refusals_of(work: Work, user: User) -> list[str]:
    """Return every reason why an attempt can't be signed yet, in words."""
    outcome = work.course.outcome
    said = list(work.refusals)
    if not outcome.may_sign:
        names = {place.step.id: place for place in work.course.places}
        lacks = outcome.missing if not outcome.outcome else [m for m in outcome.missing if m.begun]
        open_ = [names[lack.step] for lack in lacks]
        said += [f"Step {place.number}, {place.name}: {place.why}" for place in open_]
    tasks = dict.fromkeys([work.task, *(each.task for each in renewals_of(work.course))])
    refused = (_authorised(task, work, user)[1] for task in tasks)
    return [*said, *(refusal for refusal in refused if refusal)]


def needs_checker(work: Work) -> bool:
    """Say whether a second person must sign: to let an item pass, never to take it out."""
    return work.at_hand.procedure.second_person and work.course.outcome.outcome == PASS


@only(Right.RECORD)
@transaction.atomic
def complete_service(
    *,
    drafts: Sequence[Draft],
    user: User,
    seen: str = "",
    release: bool | None = None,
    note: str = "",
    checker: User | None = None,
    at: datetime | None = None,
) -> "list[Record]":
    """Enter attempts in the ledger, signed, with the new due dates, and return the records.

    drafts: in the order in which the attempts were made; each becomes one record, with one
    more for each part renewed whose renewal is a task of its own, and is gone. Those of the
    attempts are returned.
    Whoever sends the same twice gets the same records again. seen: `seen_of` what the signer
    was shown; empty where nobody looked. release: whether the signer returns the items to
    service; None to have it said by the outcome. checker: who signs as second person. The
    caller has made sure that user and checker are there. at: the moment; None for now.
    Raises NotAllowed for a draft of somebody else, ServiceRefused, of which the exceptions
    above are kinds, SignatureRefused or EntryKeyUsedTwice; then nothing is written.
    """
    at = at or now()
    ledger.lock_items({draft.item_id for draft in drafts})
    held = Draft.objects.select_related("item__type", "item__site").in_bulk([d.pk for d in drafts])
    refuse_others(user, held.values())
    stood = Stood()
    works = [_work(held[draft.pk], stood) for draft in drafts if draft.pk in held]
    if works and seen and seen != seen_of(works):
        raise ChangedMeanwhile(
            "Something has changed since this page was shown: a record, a limit, an instrument "
            "or an answer. Nothing was signed. Read it again below, then sign."
        )
    last = {work.item.pk: work for work in works}
    for work in works:
        _refuse(work, user, release if last[work.item.pk] is work else None, checker)
    _enter(works, last, user=user, release=release, note=note, checker=checker, at=at)
    records = [record_with_key(draft.entry_key) for draft in drafts]
    Draft.objects.filter(pk__in=held).delete()
    if None in records:
        raise NotFinished("This work is no longer in hand; open the item's page to see why.")
    return [record for record in records if record is not None]


def seen_of(works: Sequence[Work]) -> str:
    """Return a text that changes with anything that is shown of some works before signing."""
    whole = "".join(work.seen() for work in works)
    return sha256(whole.encode()).hexdigest()


def _work(draft: Draft, stood: Stood) -> Work:
    work = work_of(draft, stood=stood)
    if work is None:
        raise NotFinished(
            f"The procedure {draft.procedure} is not in force on {day_words(draft.done_on)}; "
            "begin again."
        )
    return work


def _refuse(work: Work, user: User, release: bool | None, checker: User | None) -> None:
    """Refuse what may not be signed, before anything is written."""
    outcome, tag = work.course.outcome.outcome, work.item.tag
    if release and outcome != PASS:
        raise NotReleased(
            f"{tag} can't be returned to service: {' '.join(_why(work))} Nothing was signed."
        )
    if said := refusals_of(work, user):
        raise NotFinished(f"{tag} can't be signed yet. {' '.join(said)}")
    for service in services_of(work, user):
        check_at_bench(work.item, service, today_at(work.item.site))
    if needs_checker(work) or checker is not None:
        asked = f"A second person must check this and sign with their own name: {tag}, {work.task}."
        check_second(checker, beside=user, asked=asked)


def _why(work: Work) -> list[str]:
    outcome = work.course.outcome
    if outcome.outcome == FAIL:
        return list(outcome.reasons)
    return [f"step {m.step.replace('-', ' ')} is not done." for m in outcome.missing[:1]]


def _enter(
    works: Sequence[Work],
    last: Mapping[int, Work],
    *,
    user: User,
    release: bool | None,
    note: str,
    checker: User | None,
    at: datetime,
) -> None:
    """Enter all at once: one run of numbers, one computing of dates, then the signatures."""
    items = [work.item for work in last.values()]
    before = standing_now(items)
    new = _new_records(works, user, note)
    records = {each.entry_key: each for each in ledger.append_records(new, user=user, at=at)}
    refresh(last)
    after = standing_now(items)
    for work in works:
        assert work.draft is not None  # noqa: S101 (only saved drafts are signed)
        for key in keys_of(work):
            record = record_with_key(key) or records[key]
            put = partial(ledger.sign, record=record, at=at, zone=work.item.site.timezone)
            put(user=user, meaning=ledger.Meaning.PERFORMED)
            if checker is not None and needs_checker(work):
                put(user=checker, meaning=ledger.Meaning.CHECKED, second_person=True)
        if last[work.item.pk] is not work:
            continue
        stands = after[work.item.pk]
        if comes_back(before[work.item.pk], stands):
            put(user=user, meaning=ledger.Meaning.RELEASED)
        elif release and stands.word is not StandingWord.IN_SERVICE:
            raise NotReleased(
                f"{work.item.tag} stays out of service: {stands.task.replace('-', ' ')} holds "
                "it. Nothing was signed."
            )


def _new_records(works: Sequence[Work], user: User, note: str) -> list[ledger.NewRecord]:
    """Return the records, each attempt of an item one more than the one before it."""
    services = [services_of(work, user, note) for work in works]
    rules = _governing(works, services)
    attempts: dict[int, int] = {}
    new = []
    for work, said in zip(works, services, strict=True):
        item = work.item
        for key, service in zip(keys_of(work), said, strict=True):
            earlier = attempts.get(item.pk) if service is said[-1] else None
            number = None if earlier is None else earlier + 1
            known = replace(service, attempt=number, rule=rules[service.task][item.pk])
            new.append(new_record(item, known, key))
        attempts[item.pk] = new[-1].attempt
    return new


def _governing(
    works: Sequence[Work], services: Sequence[Sequence[Service]]
) -> dict[str, dict[int, str]]:
    """Return the rule that asks for each task of each item, by task and item id."""
    days: dict[str, dict[Item, date]] = {}
    for work, said in zip(works, services, strict=True):
        for service in said:
            days.setdefault(service.task, {})[work.item] = work.done_on
    return {task: governing_rules(task, items) for task, items in days.items()}


def keys_of(work: Work) -> list[str]:
    """Return the entry keys of an attempt's records, its own last."""
    assert work.draft is not None  # noqa: S101 (only saved drafts are signed)
    own = work.draft.entry_key
    digests = (sha256(f"{own} {each.step}".encode()) for each in renewals_of(work.course))
    return [*(digest.hexdigest() for digest in digests), own]


def _authorised(task: str, work: Work, user: User) -> tuple[str, str]:
    """Return by what somebody may do a task, as it stood on the work's day, and why not."""
    try:
        return authorised_text(user, task, work.done_on), ""
    except NotAuthorised as problem:
        said = str(problem)
        return "", f"{said[0].upper()}{said[1:]}"

"""A crate of items through one task: begun once, each scanned and read, signed together."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING

from django.contrib.auth.models import User
from django.db import transaction

from registry.items.models import Item
from registry.people.actions.rights import only
from registry.people.pure import Right
from registry.sites.clock import today_at
from servicing.bench.actions.drafts import refuse_without_instrument, work_in_hand
from servicing.bench.actions.hand import refuse_others
from servicing.bench.actions.signing import complete_service, keys_of
from servicing.bench.models import Batch, Draft, ProcedureVersion
from servicing.bench.pure.answers import AnswerProblem, Given, retyped, stored_answer
from servicing.bench.pure.needs import word_for
from servicing.bench.queries.batches import Crate, crate_of
from servicing.bench.queries.procedures import procedures_for
from servicing.bench.queries.work import draft_of, next_attempt
from servicing.due.actions import services
from servicing.ledger.actions import lock_items
from servicing.ledger.pure.entry import FAIL
from servicing.ledger.queries.records import last_position, numbers_with_keys

if TYPE_CHECKING:
    from servicing.ledger.models import Record


class NotInThisBatch(services.ServiceRefused):
    """An item that can't go into the batch; the text says why."""


@dataclass(frozen=True, slots=True)
class Refused:
    """Why an answer in a batch can't be kept, by step. asked: a question to be confirmed."""

    step: str
    problem: AnswerProblem


class AnswersRefused(services.ServiceRefused):
    """Some answers of an item can't be kept; none is."""

    def __init__(self, refused: Sequence[Refused]) -> None:
        self.refused = tuple(refused)
        super().__init__(" ".join(str(each.problem) for each in refused))


@only(Right.RECORD)
def begin_batch(
    *,
    user: User,
    at_hand: ProcedureVersion,
    kind: str,
    done_on: date,
    instruments: Mapping[str, int],
    left: Sequence[str],
    at: datetime,
) -> Batch:
    """Begin a batch: one task, one day, the same instruments for every item scanned into it.

    left: measures that apply to none of the items; only those that need not apply can be left.
    """
    optional = {step.id for step in at_hand.procedure.may_be_left_out}
    return Batch.objects.create(
        user=user,
        task=at_hand.task,
        kind=kind,
        procedure=at_hand.procedure_id,
        done_on=done_on,
        instruments=dict(instruments),
        left=[step for step in left if step in optional],
        started_at=at,
    )


@only(Right.RECORD)
@transaction.atomic
def add_to_batch(*, user: User, batch: Batch, item: Item, at: datetime) -> Draft:
    """Put an item into a batch and return its draft; scanned again it is the same one.

    Raises NotInThisBatch where the procedure is not for it, it was condemned, or the person
    has it in hand by itself, and NotAllowed for a batch of somebody else.
    """
    refuse_others(user, [batch])
    lock_items([item.pk])
    held = draft_of(batch.user, item, batch.task)
    if held is not None and held.batch_id != batch.pk:
        raise NotInThisBatch(
            f"You have a draft of {batch.task.replace('-', ' ')} of {item.tag} in hand elsewhere; "
            "finish it or throw it away first."
        )
    if held is not None:
        return held
    found = procedures_for(item, batch.task, batch.done_on)
    at_hand = next((each for each in found if each.procedure_id == batch.procedure), None)
    if at_hand is None:
        raise NotInThisBatch(
            f"{item.tag} is of the kind {item.kind.replace('-', ' ')}; this batch is not for that."
        )
    try:
        service = services.Service(batch.task, batch.done_on, FAIL, "")
        services.check_at_bench(item, service, today_at(item.site))
    except services.ServiceRefused as problem:
        raise NotInThisBatch(str(problem)) from problem
    return Draft.objects.create(
        item=item,
        task=batch.task,
        user=batch.user,
        batch=batch,
        attempt=next_attempt(batch.user, item, batch.task, batch.done_on),
        done_on=batch.done_on,
        instruments=batch.instruments,
        position=last_position(item),
        procedure=batch.procedure,
        begun_with=at_hand.content_hash,
        updated_at=at,
    )


@only(Right.RECORD)
@transaction.atomic
def answer_in_batch(
    *, user: User, draft: Draft, given: Mapping[str, Given | None], at: datetime
) -> Draft:
    """Keep several answers of one item at once; None takes an exception back.

    The steps said once for all come before signing, so no order is kept here. Raises
    AnswersRefused with what is wrong by step, InstrumentMissing, or NotAllowed for a draft of
    somebody else; then nothing is kept.
    """
    refuse_others(user, [draft])
    lock_items([draft.item_id])
    draft = Draft.objects.select_related("item__type", "item__site").get(pk=draft.pk)
    work = work_in_hand(draft)
    answers, refused = dict(draft.answers), []
    for step, answer in given.items():
        place = work.course.place(step)
        if place is None:
            continue
        if answer is None:
            answers.pop(step, None)
            continue
        word = word_for(work.procedure, place.step)
        try:
            fresh = stored_answer(place.step, answer, work.scale_for(word))
        except AnswerProblem as problem:
            refused.append(Refused(step, problem))
            continue
        if "typed" in fresh:
            refuse_without_instrument(work, word)
        answers[step] = retyped(fresh, draft.answer_kept(step))
    if refused:
        raise AnswersRefused(refused)
    draft.answers, draft.updated_at = answers, at
    draft.save()
    return draft


@only(Right.RECORD)
@transaction.atomic
def complete_batch(
    *,
    batch: Batch,
    confirmed: Sequence[str],
    user: User,
    seen: str,
    note: str,
    checker: User | None,
    at: datetime,
) -> "list[Record]":
    """Enter a whole batch, each record signed, and return the records.

    confirmed: the steps of which the signer says "all good, except those named". The other
    arguments are those of `complete_service`. Raises ServiceRefused, of which it is one
    where a step is not said; then nothing is written.
    """
    batch = Batch.objects.select_for_update().get(pk=batch.pk)
    refuse_others(user, [batch])
    crate = crate_of(batch)
    if batch.signed_at is not None or crate is None or not crate.rows:
        return []
    drafts = [work.draft for work in crate.works if work.draft is not None]
    lock_items({draft.item_id for draft in drafts})
    _refuse_unsaid(crate, confirmed)
    for draft in drafts:
        if not draft.closed:  # with what was said for all filled in where it says nothing itself
            Draft.objects.filter(pk=draft.pk).update(answers=draft.answers)
    keys = [key for work in crate.works for key in keys_of(work)]
    records = complete_service(
        drafts=drafts, user=user, seen=seen, note=note, checker=checker, at=at
    )
    batch.signed_at, batch.numbers = at, numbers_with_keys(keys)
    batch.save()
    return records


@only(Right.RECORD)
@transaction.atomic
def discard_batch(*, user: User, batch: Batch, at: datetime) -> None:
    """Throw a batch away; nothing of it was recorded. For a day it can be brought back.

    Raises ServiceRefused where a test in it failed: a failed test stays and is signed;
    NotAllowed for a batch of somebody else.
    """
    batch = Batch.objects.select_for_update().get(pk=batch.pk)
    refuse_others(user, [batch])
    if why := why_batch_stays(batch):
        raise services.ServiceRefused(why)
    batch.drafts.update(thrown_at=at)
    batch.thrown_at = at
    batch.save()


def why_batch_stays(batch: Batch) -> str:
    """Return why a batch can't be thrown away, in words; empty where it can."""
    if batch.signed_at is not None:
        return "This batch is signed already."
    crate = crate_of(batch)
    for work in crate.works if crate else ():
        if any(not verdict.passed for verdict in work.course.outcome.verdicts.values()):
            return (
                f"A test of {work.item.tag} failed, and a failed test stays on record: sign the "
                "batch, or take the others out and sign it."
            )
    return ""


def _refuse_unsaid(crate: Crate, said: Sequence[str]) -> None:
    unsaid = [step for step in crate.said_once if step.id not in said]
    if unsaid:
        raise services.ServiceRefused(
            f"Say it for every step done by eye and by hand: {unsaid[0].text} Nothing was signed."
        )

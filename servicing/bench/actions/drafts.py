"""Keeping what somebody has come to at the bench, step by step, until it is signed."""

from collections.abc import Mapping
from datetime import date, datetime

from django.contrib.auth.models import User
from django.db import transaction

from registry.items.models import Item
from registry.people.actions.rights import only
from registry.people.pure import Right
from registry.wording.pure.dates import day_words
from servicing.bench.actions.hand import refuse_others
from servicing.bench.models import Draft, ProcedureVersion
from servicing.bench.pure.answers import Given, carried_over, retyped, stored_answer
from servicing.bench.pure.needs import word_for
from servicing.bench.queries.work import Work, draft_of, next_attempt, work_of
from servicing.due.actions import services
from servicing.ledger.actions import lock_items
from servicing.ledger.pure.entry import FAIL
from servicing.ledger.queries.records import last_position


class NoSuchWork(services.ServiceRefused):
    """The task has no procedure for the item on the day."""


class InstrumentMissing(services.ServiceRefused):
    """A reading was given without an instrument that may judge it."""


def unsaved(
    *,
    user: User,
    item: Item,
    task: str,
    at_hand: ProcedureVersion | None,
    on: date,
    instruments: Mapping[str, int],
) -> Draft:
    """Return the draft that a piece of work would begin with. It is not saved.

    at_hand: the procedure; None where there are several and one must be chosen first.
    """
    return Draft(
        item=item,
        task=task,
        user=user,
        attempt=next_attempt(user, item, task, on),
        done_on=on,
        instruments=dict(instruments),
        position=last_position(item),
        procedure=at_hand.procedure_id if at_hand else "",
        begun_with=at_hand.content_hash if at_hand else "",
    )


@only(Right.RECORD)
@transaction.atomic
def keep_setting(
    *,
    user: User,
    draft: Draft,
    done_on: date,
    instruments: Mapping[str, int],
    today: date,
    at: datetime,
    procedure: str = "",
) -> Draft:
    """Keep the day the work was done, the instruments and the procedure chosen for it.

    today: at the item's site. procedure: its id; empty for the one the draft has. Raises
    ServiceRefused where the day can't be, and NotAllowed for a draft of somebody else; then
    nothing is kept.
    """
    refuse_others(user, [draft])
    services.check_at_bench(draft.item, services.Service(draft.task, done_on, FAIL, ""), today)
    draft = _open(draft)
    if draft.done_on != done_on and not draft.closed:
        draft.done_on = done_on
        draft.attempt = next_attempt(draft.user, draft.item, draft.task, done_on)
    draft.procedure = procedure or draft.procedure
    draft.instruments = {**draft.instruments, **instruments}
    draft.begun_with = work_in_hand(draft).at_hand.content_hash
    draft.updated_at = at
    draft.save()
    return draft


@only(Right.RECORD)
@transaction.atomic
def answer_step(*, user: User, draft: Draft, step: str, given: Given, at: datetime) -> Work:
    """Keep the answer to one step and return the work as it then stands.

    The order of the steps is kept: OutOfOrder where an earlier one is still open. Raises
    AnswerProblem, or Unusual to be confirmed, where the answer can't stand so, and
    InstrumentMissing for a reading without an instrument in calibration that serves for it;
    NotAllowed for a draft of somebody else. Then nothing is kept.
    """
    refuse_others(user, [draft])
    draft = _open(draft)
    work = work_in_hand(draft)
    place = work.course.answerable(step)
    word = word_for(work.procedure, place.step)
    answer = stored_answer(place.step, given, work.scale_for(word))
    if "typed" in answer:
        refuse_without_instrument(work, word)
    draft.answers = {**draft.answers, step: retyped(answer, draft.answer_kept(step))}
    draft.begun_with = work.at_hand.content_hash
    draft.updated_at = at
    draft.save()
    return work_in_hand(draft)


@only(Right.RECORD)
@transaction.atomic
def begin_again(*, user: User, draft: Draft, at: datetime) -> Draft:
    """Close a failed attempt as it stands and return the draft of the next one.

    What is measured and what was not good is asked anew. Raises ServiceRefused where the
    attempt did not fail or an answer is half given, NotAllowed for a draft of somebody else.
    """
    refuse_others(user, [draft])
    lock_items([draft.item_id])
    work = work_in_hand(draft)
    outcome = work.course.outcome
    if outcome.outcome != FAIL or not outcome.may_sign:
        raise services.ServiceRefused(
            "Only a failed attempt is followed by another; finish this one first."
        )
    Draft.objects.filter(pk=draft.pk).update(closed=True)
    return Draft.objects.create(
        item=draft.item,
        task=draft.task,
        user=draft.user,
        batch=draft.batch,
        attempt=draft.attempt + 1,
        done_on=draft.done_on,
        instruments=draft.instruments,
        position=draft.position,
        procedure=draft.procedure,
        begun_with=work.at_hand.content_hash,
        answers=carried_over(work.procedure, draft.answers),
        updated_at=at,
    )


@only(Right.RECORD)
@transaction.atomic
def discard(*, user: User, item: Item, task: str, at: datetime) -> None:
    """Throw away what a person has in hand for a task of an item; nothing of it is recorded.

    Of an item in a batch this takes it out. It can be brought back for a day
    (`actions/thrown.py`). Raises ServiceRefused where an attempt failed: a failed test stays
    and is signed.
    """
    held = Draft.objects.filter(user=user, item=item, task=task)
    if why := next(filter(None, map(why_draft_stays, held)), ""):
        raise services.ServiceRefused(why)
    held.update(thrown_at=at)


def why_draft_stays(draft: Draft) -> str:
    """Return why work in hand can't be thrown away, in words; empty where it can."""
    work = work_of(draft)
    verdicts = work.course.outcome.verdicts.values() if work else ()
    if draft.closed or not all(verdict.passed for verdict in verdicts):
        return (
            "A reading failed, and a failed test stays on record. Sign it, or test again "
            "and sign both attempts."
        )
    return ""


def _open(draft: Draft) -> Draft:
    """Return the draft as it stands now, so that two windows of one person add up."""
    lock_items([draft.item_id])
    if draft.pk:
        return Draft.objects.select_related("item__type", "item__site").get(pk=draft.pk)
    return draft_of(draft.user, draft.item, draft.task) or draft


def work_in_hand(draft: Draft) -> Work:
    """Return the work a draft stands for. Raises NoSuchWork where its procedure is gone."""
    work = work_of(draft)
    if work is None:
        raise NoSuchWork(
            f"The procedure {draft.procedure} is not in force on {day_words(draft.done_on)}. "
            "Nothing was saved; put this draft aside and begin again."
        )
    return work


def refuse_without_instrument(work: Work, word: str) -> None:
    """Refuse a reading by an instrument that is not chosen, or may judge nothing here that day."""
    if not word:
        return
    if word not in work.instruments:
        raise InstrumentMissing(
            f"Choose the {word.replace('-', ' ')} first: a reading names its instrument."
        )
    if refusal := work.refusal_for(word):
        raise InstrumentMissing(f"Nothing may be judged with it: {refusal}. Choose another one.")

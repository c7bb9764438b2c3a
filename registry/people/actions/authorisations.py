"""Saying who may do which task, and taking it back."""

from datetime import date

from django.contrib.auth.models import User
from django.db import transaction

from registry.people.actions.rights import only
from registry.people.actions.security import security
from registry.people.models import Authorisation
from registry.people.pure import Right
from registry.sites.clock import now
from registry.trail.actions import called, note
from registry.wording.pure.dates import day_words

_MANAGERS = "Only a fleet manager may say who may do what."


class AuthorisationRefused(ValueError):
    """An authorisation that can't be given or taken back; the text says why."""


@only(Right.MANAGE, _MANAGERS)
@transaction.atomic
def grant_authorisation(
    *,
    person: User,
    task: str,
    valid_from: date,
    valid_until: date | None,
    user: User | None,
    note_text: str = "",
) -> Authorisation:
    """Let somebody do a task (`*`: all), from one day up to and including another.

    From the first one for a task on, that task is for authorised people only. user: the
    manager who says so; None for the command line. Raises AuthorisationRefused.
    """
    _only_for_others(person, user)
    if not person.is_active:
        raise AuthorisationRefused("This account is closed.")
    if valid_until is not None and valid_until < valid_from:
        raise AuthorisationRefused(
            f"Valid until: {day_words(valid_until)} is before {day_words(valid_from)}."
        )
    at = now()
    row = Authorisation.objects.create(
        user=person,
        task=task,
        valid_from=valid_from,
        valid_until=valid_until,
        granted_by=called(user),
        granted_by_user=user,
        granted_at=at,
        note=note_text,
    )
    note(
        what="authorisation",
        subject=person.username,
        after={**_told(row), "note": note_text},
        by=user,
        at=at,
    )
    return row


@only(Right.MANAGE, _MANAGERS)
@transaction.atomic
def end_authorisation(row: Authorisation, *, user: User | None, why: str) -> None:
    """Take an authorisation back, from today on; one that is taken back stays so.

    Raises AuthorisationRefused without a reason.
    """
    _only_for_others(row.user, user)
    if not why:
        raise AuthorisationRefused("Why: write the reason it is taken back.")
    at = now()
    if Authorisation.objects.filter(pk=row.pk, ended_at=None).update(ended_at=at):
        note(
            what="authorisation",
            subject=row.user.username,
            before=_told(row),
            why=why,
            by=user,
            at=at,
        )


def _told(row: Authorisation) -> dict[str, object]:
    return {
        "number": row.pk,
        "task": row.task,
        "valid from": row.valid_from,
        "valid until": row.valid_until,
    }


def _only_for_others(person: User, user: User | None) -> None:
    if user is None:
        return
    if user == person:
        raise AuthorisationRefused("Nobody authorises themselves; ask another manager.")
    security("authorisation", account=person.username, by=user.username)

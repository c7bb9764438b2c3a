"""Noting what program serves, and signing that the trail was reviewed."""

from datetime import datetime
from typing import Any

from django.contrib.auth.models import User
from django.db import transaction

from registry.people.actions.rights import only
from registry.people.pure import Right
from registry.sites.clock import now
from registry.trail.actions import lock_trail, note
from registry.trail.models import TrailEntry
from registry.trail.pure import differences
from registry.trail.queries import noted, trail_head
from servicing.oversight.queries import PROGRAM, REVIEW, program_as_it_is, why_not_serve


def begin_serving() -> str:
    """Note what program begins to serve; return why it must not, or nothing where all is well.

    Raises DatabaseError where the database does not answer.
    """
    reason = why_not_serve()
    if not reason:
        note_program()
    return reason


@transaction.atomic
def note_program() -> TrailEntry | None:
    """Note the program's version and settings, where they are not those noted last.

    Processes that start at once make one entry. Returns the entry; None where nothing changed.
    """
    lock_trail()
    before: dict[str, Any] = {}
    for _, after in noted(PROGRAM):
        before |= after
    was, becomes = differences({n: v for n, v in before.items() if v != ""}, program_as_it_is())
    if not was and not becomes:
        return None
    gone = dict.fromkeys(was.keys() - becomes.keys(), "")
    return note(
        what=PROGRAM,
        subject="Neckring",
        before=was or None,
        after={**becomes, **gone},
        why="It began to serve as this.",
        by=None,
        at=now(),
    )


class NothingSeen(ValueError):
    """A review of what is not there yet; the text says what to do."""


@only(Right.REVIEW, "Only an auditor reviews the trail.")
@transaction.atomic
def sign_review(*, number: int, moment: datetime, user: User, remark: str) -> TrailEntry:
    """Note that an auditor reviewed the trail up to an entry, and the records up to a moment.

    The caller has proof that the auditor is there. Raises NothingSeen where there is no such
    entry or the moment is still to come.
    """
    at = now()
    if not 0 <= number <= trail_head()[0] or moment > at:
        raise NothingSeen("That entry is not in the trail; open the review again.")
    seen = TrailEntry.objects.filter(number=number).first()
    after = {
        "up to entry": number,
        "its hash": seen.hash if seen else "",
        "records entered up to": moment.isoformat(),
    }
    return note(what=REVIEW, subject="trail", after=after, why=remark, by=user, at=at)

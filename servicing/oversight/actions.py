"""Signing that the trail was reviewed."""

from datetime import datetime

from django.contrib.auth.models import User
from django.core.exceptions import PermissionDenied
from django.db import transaction

from registry.people.pure import Role
from registry.people.queries import role_of
from registry.sites.clock import now
from registry.trail.actions import note
from registry.trail.models import TrailEntry
from registry.trail.queries import trail_head
from servicing.oversight.queries import REVIEW


class NothingSeen(ValueError):
    """A review of what is not there yet; the text says what to do."""


@transaction.atomic
def sign_review(*, number: int, moment: datetime, user: User, remark: str) -> TrailEntry:
    """Note that an auditor reviewed the trail up to an entry, and the records up to a moment.

    The caller has proof that the auditor is there. Raises NothingSeen where there is no such
    entry or the moment is still to come.
    """
    if role_of(user) is not Role.AUDITOR:
        raise PermissionDenied("Only an auditor reviews the trail.")
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

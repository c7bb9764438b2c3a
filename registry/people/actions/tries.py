"""Counting wrong passwords, so that guessing is slow and nobody is shut out for good."""

import hashlib
from datetime import datetime, timedelta

from django.db import transaction

from registry.people.models import Tries
from registry.people.pure import FORGOTTEN_AFTER, folded, pause_after
from registry.sites.clock import now


class TooManyTries(ValueError):
    """A password was given wrongly too often; the text says how long to wait."""

    def __init__(self, wait: timedelta) -> None:
        self.seconds = max(1, round(wait.total_seconds()))
        minutes, seconds = divmod(self.seconds, 60)
        parts = [f"{minutes} min"] if minutes else []
        parts += [f"{seconds} s"] if seconds else []
        super().__init__(f"Too many wrong tries. Wait {' '.join(parts)}, then try again.")


@transaction.atomic
def begin_try(*, username: str, address: str) -> None:
    """Count a try before the password is looked at; `right_password` takes it back.

    Counted first, so that many tries at once can't slip through together. Raises
    TooManyTries during a pause; such a try is not looked at and not counted, so nobody can
    make a pause longer by knocking on the door.
    """
    at = now()
    rows = [_locked(kind, text, at) for kind, text in _keys(username, address)]
    pauses = [row.last_at + pause_after(row.failures, row.key[:4]) - at for row in rows]
    if (longest := max(pauses)) > timedelta():
        raise TooManyTries(longest)
    for row in rows:
        if at - row.last_at > FORGOTTEN_AFTER[row.key[:4]]:
            row.failures = 0
        row.failures += 1
        row.last_at = at
        row.save()


@transaction.atomic
def right_password(*, username: str, address: str) -> None:
    """Forget the account's wrong tries, and the one just counted for the address."""
    (name, account), (kind, place) = _keys(username, address)
    Tries.objects.filter(key=_key(name, account)).delete()
    row = Tries.objects.select_for_update().filter(key=_key(kind, place)).first()
    if row is not None and row.failures > 1:
        row.failures -= 1
        row.save()
    elif row is not None:
        row.delete()


def _keys(username: str, address: str) -> tuple[tuple[str, str], tuple[str, str]]:
    return ("name", folded(username)), ("from", address)


def _key(kind: str, text: str) -> str:
    return f"{kind}:{hashlib.sha256(text.encode()).hexdigest()}"


def _locked(kind: str, text: str, at: datetime) -> Tries:
    key = _key(kind, text)
    Tries.objects.bulk_create([Tries(key=key, last_at=at)], ignore_conflicts=True)
    return Tries.objects.select_for_update().get(key=key)

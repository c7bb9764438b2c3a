"""What somebody has begun at the bench and not signed."""

from dataclasses import dataclass

from django.contrib.auth.models import User

from servicing.bench.models import Batch, Draft
from servicing.bench.queries.batches import batches_of
from servicing.bench.queries.thrown import Thrown, thrown_by
from servicing.bench.queries.work import drafts_of


@dataclass(frozen=True, slots=True)
class InHand:
    """A person's work at the bench. drafts: those outside of batches.

    thrown: what was thrown away within a day and can be brought back.
    """

    drafts: tuple[Draft, ...]
    batches: tuple[Batch, ...]
    thrown: tuple[Thrown, ...]


def in_hand(user: User) -> InHand:
    """Return what a person has in hand, the last touched first."""
    drafts = drafts_of(user).filter(batch=None)
    return InHand(tuple(drafts), tuple(batches_of(user)), tuple(thrown_by(user)))

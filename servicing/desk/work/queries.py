"""What waits for the person who opens a first page, by role; each kind from one query."""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from django.contrib.auth.models import User
from django.urls import reverse

from registry.people.models import EVERY_TASK, Authorisation
from registry.people.pure import ENDS_SOON, Role
from registry.people.queries import Viewer, authorisations_ending, every_kept
from registry.sites.clock import now, today_anywhere, today_at
from registry.trail.pure import name_of
from registry.wording.pure.dates import day_words
from servicing.hydrostatic.queries import condemnations_waiting, disputes_waiting
from servicing.oversight.queries import to_review
from servicing.rules.models import RuleProposal
from servicing.rules.queries import proposals_to_decide

SHOWN = 12
"""So many of a kind are named on a first page; the others stand in the list behind them."""

Named = tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Waits:
    """One kind of thing that waits.

    one, many: what it is, behind its number. each: a name and the address that deals with
    it, for every one. everything: the list that holds just these; empty where there is none, and
    then all are named.
    """

    one: str
    many: str
    each: Named
    everything: str

    @property
    def words(self) -> str:
        """How many wait, and of what."""
        return f"{len(self.each)} {self.one if len(self.each) == 1 else self.many}"

    @property
    def shown(self) -> Named:
        """Those that are named."""
        return self.each[:SHOWN] if self.everything else self.each

    @property
    def more(self) -> int:
        """How many are not."""
        return len(self.each) - len(self.shown)


def waiting_for(viewer: Viewer, user: User) -> list[Waits]:
    """Return what waits for somebody, kinds without anything left out."""
    kinds = [_kept_forms(user)]
    today = today_at(viewer.site) if viewer.site else today_anywhere()
    if viewer.role is Role.MANAGER:
        kinds += [*_for_managers(user), _ending(None, today)]
    elif viewer.role is Role.TECHNICIAN:
        kinds.append(_ending(user, today))
    else:
        kinds.append(_review())
    return [kind for kind in kinds if kind.each]


def _for_managers(user: User) -> Iterator[Waits]:
    proposals, condemned = proposals_to_decide(user), condemnations_waiting()
    yield Waits(
        "rule that another manager asks for: approve or reject it",
        "rules that another manager asks for: approve or reject them",
        tuple((_asked(row), row.get_absolute_url()) for row in proposals),
        reverse("local-rules") + "#to-decide",
    )
    yield Waits(
        "cylinder to be condemned or not: you decide",
        "cylinders to be condemned or not: you decide",
        tuple(
            (row.item.tag, (row.consignment or row.item).get_absolute_url()) for row in condemned
        ),
        reverse("consignment-list") + "#condemn",
    )
    yield Waits(
        "result on which the test house and our arithmetic disagree: settle it",
        "results on which the test house and our arithmetic disagree: settle them",
        tuple(
            (row.consigned.item.tag, row.consigned.consignment.get_absolute_url())
            for row in disputes_waiting(condemned)
        ),
        reverse("consignment-list") + "#disputes",
    )


def _ending(user: User | None, today: date) -> Waits:
    """Return the authorisations that end soon, or have ended of late; user: whose, None for all."""
    when = f"by {day_words(today + ENDS_SOON)}, or ended of late"
    whose = "" if user is None else " of yours"
    return Waits(
        f"authorisation{whose} ends {when}",
        f"authorisations{whose} end {when}",
        tuple(
            (_held(row), reverse("person", args=[row.user_id]) if user is None else own)
            for own in [reverse("who-may")]
            for row in authorisations_ending(today, user)
        ),
        reverse("who-may"),
    )


def _asked(row: RuleProposal) -> str:
    """Return what is asked for: add cleaning at ST1; end local-st1-1 at ST1."""
    task = json.loads(row.row)["task"].replace("-", " ") if row.row else row.replaces
    return f"{row.act} {task} at {row.site.code}"


def _held(row: Authorisation) -> str:
    task = "all tasks" if row.task == EVERY_TASK else row.task.replace("-", " ")
    until = day_words(row.valid_until) if row.valid_until else "no end"
    return f"{row.user.get_full_name() or row.user.username}, {task}: {until}"


def _kept_forms(user: User) -> Waits:
    return Waits(
        "form that you sent after you had been signed out: not saved yet",
        "forms that you sent after you had been signed out: not saved yet",
        tuple((row.address, row.address) for row in every_kept(user)),
        "",
    )


def _review() -> Waits:
    review, address = to_review(now()), reverse("trail-review")
    seen = [
        *(f"{row.tag}, entered late" for row in review.late),
        *(f"{row.tag}, corrected" for row in review.corrections),
        *(f"{name_of(row.by)}, refused to sign" for row in review.refused),
    ]
    return Waits(
        "thing to look at since the trail was last reviewed",
        "things to look at since the trail was last reviewed",
        tuple((words, address) for words in seen),
        address,
    )

"""Signing at once: one intent is one record, and of two people one sees what the other did.

C5, C7. On both engines; see `tests/servicing/due/test_at_once.py` for how desks meet.
"""

from concurrent.futures import ThreadPoolExecutor
from functools import partial

import pytest
from django.contrib.auth.models import User

from registry.items.models import Item
from registry.sites.clock import now, today_at
from registry.sites.models import Site
from servicing.bench.actions.drafts import answer_step, unsaved
from servicing.bench.actions.signing import ChangedMeanwhile, complete_service, seen_of
from servicing.bench.models import Draft
from servicing.bench.pure.answers import Given
from servicing.bench.queries.procedures import procedures_for
from servicing.bench.queries.work import work_of
from servicing.ledger.models import Record, Signature
from servicing.ledger.queries.whole import ledger_faults
from tests.people import make_item
from tests.servicing.due.test_at_once import (  # noqa: F401 (fixtures)
    a_file,
    at_once,
    people,
    place,
    pool,
)
from tests.work_in_hand import MONTHLY, load

ROUNDS = 50
pytestmark = [pytest.mark.race, pytest.mark.usefixtures("a_file")]


def finished(item: Item, user: User) -> tuple[Draft, str]:
    """Return a person's finished monthly check of an item, and what they saw before signing."""
    on = today_at(item.site)
    (version,) = procedures_for(item, MONTHLY, on)
    draft = unsaved(user=user, item=item, task=MONTHLY, at_hand=version, on=on, instruments={})
    for step in ("condition", "seal"):
        work = answer_step(
            user=draft.user, draft=draft, step=step, given=Given(word="good"), at=now()
        )
    assert work.draft is not None
    fresh = work_of(work.draft)
    assert fresh is not None
    return work.draft, seen_of([fresh])


def test_the_same_signature_twenty_times_at_once_is_one_record(
    place: Site,  # noqa: F811
    people: tuple[User, User],  # noqa: F811
    pool: ThreadPoolExecutor,  # noqa: F811
) -> None:
    load("masks")
    draft, seen = finished(make_item(place, "R-1"), people[0])
    sign = partial(complete_service, drafts=[draft], user=people[0], seen=seen)
    got = at_once(pool, [sign] * 20)
    assert len({each[0].pk for each in got if isinstance(each, list)}) == 1
    assert [isinstance(each, list) for each in got] == [True] * 20
    assert (Record.objects.count(), Signature.objects.count()) == (1, 1)
    assert not Draft.objects.exists()


def test_of_two_people_who_sign_for_one_item_the_second_sees_the_first(
    place: Site,  # noqa: F811
    people: tuple[User, User],  # noqa: F811
    pool: ThreadPoolExecutor,  # noqa: F811
) -> None:
    load("masks")
    for number in range(ROUNDS):
        item = make_item(place, f"R-{number}")
        deeds = []
        for person in people:
            draft, seen = finished(item, person)
            deeds.append(partial(complete_service, drafts=[draft], user=person, seen=seen))
        got = at_once(pool, deeds)
        assert sorted(isinstance(each, ChangedMeanwhile) for each in got) == [False, True]
        # The second one's work is still in hand.
        assert Draft.objects.filter(item=item).count() == 1
    assert Record.objects.count() == ROUNDS
    assert not list(ledger_faults())

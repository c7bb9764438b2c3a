"""Two managers approve one proposal at the same moment: one approval counts, one rule is made."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from functools import partial

import pytest
from django.contrib.auth.models import User

from registry.people.actions import add_person, make_roles
from registry.people.pure import Role
from registry.sites.clock import today_at
from registry.sites.models import Site
from servicing.due.actions.local_rules import (
    Draft,
    ProposalRefused,
    approve_rule,
    propose_rule,
    reject_rule,
)
from servicing.rules.models import RuleProposal, RuleVersion
from tests.people import OWN_RULE, PASSWORD
from tests.servicing.due.test_at_once import a_file, at_once, place, pool

__all__ = ["a_file", "place", "pool"]

ROUNDS = 15


@pytest.fixture
def managers(place: Site) -> list[User]:
    make_roles()
    return [
        add_person(
            username=name, full_name=name.title(), role=Role.MANAGER, site=place, password=PASSWORD
        )
        for name in ("asker", "mara", "tove")
    ]


def refusal_of(deed: Callable[[], object]) -> Callable[[], object]:
    """Return a deed that gives its refusal instead of raising it."""

    def tried() -> object:
        try:
            return deed()
        except ProposalRefused as refused:
            return refused

    return tried


@pytest.mark.parametrize("other", ["approves", "rejects"])
def test_of_two_decisions_at_once_one_counts(
    place: Site, managers: list[User], pool: ThreadPoolExecutor, other: str
) -> None:
    asker, one, two = managers
    for number in range(ROUNDS):
        proposal = propose_rule(Draft(place, today_at(place), OWN_RULE), by=asker)
        copies = [RuleProposal.objects.get(pk=proposal.pk) for _ in range(2)]
        against: Callable[[], object] = partial(approve_rule, copies[1], by=two)
        if other == "rejects":
            against = partial(reject_rule, copies[1], by=two, reason="no")
        deeds: list[Callable[[], object]] = [partial(approve_rule, copies[0], by=one), against]
        came = at_once(pool, [refusal_of(deed) for deed in deeds])
        assert sum(isinstance(each, ProposalRefused) for each in came) == 1, came
        made = RuleVersion.objects.filter(rule_id__endswith=f"-{proposal.pk}").count()
        decided = RuleProposal.objects.get(pk=proposal.pk)
        assert made == (decided.outcome == "approved"), number

"""Who may sign as second person: one answer, one trail, by every road that takes one."""

from collections.abc import Callable
from datetime import date
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import override_settings

from registry.people.actions import add_person
from registry.people.actions.rights import NotAllowed
from registry.people.pure import Role
from registry.sites.clock import today_at
from registry.sites.models import Site
from registry.trail.models import TrailEntry
from servicing.bench.actions.signing import complete_service
from servicing.bench.models import Draft
from servicing.due.actions.corrections import correct_record
from servicing.due.actions.local_rules import Draft as RuleDraft
from servicing.due.actions.local_rules import ProposalRefused, approve_rule, propose_rule
from servicing.due.actions.services import SecondPersonNeeded
from servicing.due.actions.standing import condemn
from servicing.ledger.models import Signature
from tests.people import OWN_RULE, PASSWORD, make_item, signed_in
from tests.servicing.bench.desk import DONE, GOOD, Desk, said

Road = Callable[[str, str], Any]
INSIDE: dict[str, dict[str, str]] = {
    "empty": DONE,
    "thread": GOOD,
    "inside": {"word": "level-1"},
    "foreign": GOOD,
    "dry": DONE,
    "seal": {"word": "done", "batch": "88"},
}


def guided(user: User, manager: User, station: Site) -> Road:
    cylinder = make_item(station, "C0001", "cylinder", made_on=date(2020, 1, 1))
    desk = Desk(user, cylinder, "internal-inspection")
    for step, given in INSIDE.items():
        assert desk.answer(step, given).status_code == 302, step
    return lambda name, word: desk.sign(checker=name, checker_password=word)


def batch(user: User, manager: User, station: Site) -> Road:
    cylinder = make_item(station, "C0001", "cylinder", made_on=date(2020, 1, 1))
    client = signed_in(user)
    day = today_at(station).isoformat()
    begun = client.post("/bench/batch/?procedure=cylinder-internal", {"done_on": day})
    path = begun["Location"]
    client.post(path, {"tag": "C0001"})
    own = {"item": str(cylinder.pk), "batch_seal": "88"}
    kept: Any = client.post(path, own)
    assert kept.status_code == 302, said(kept)
    seen = client.get(f"{path}check/").context["seen"]
    sent = {"act": "sign", "seen": seen, **{f"said_{step}": "on" for step in INSIDE}}
    return lambda name, word: client.post(
        f"{path}check/", {**sent, "checker": name, "checker_password": word}
    )


def undone(user: User, manager: User, station: Site) -> Road:
    mask = make_item(station, "M0001")
    condemn(item=mask, reason="Shell cracked through.", user=manager, entry_key="end")
    client, day = signed_in(user), today_at(station).isoformat()
    sent = {
        "key": "c" * 32,
        "step": "enter",
        "never": "on",
        "task": "condemnation",
        "done_on": day,
        "outcome": "condemned",
        "performed_by": "Tekla Merrow",
        "reason": "The other mask was on the bench.",
    }
    return lambda name, word: client.post(
        f"/items/{mask.pk}/records/1/correct/",
        {**sent, "second_name": name, "second_password": word},
    )


def somebody(username: str, role: Role, station: Site) -> User:
    return add_person(
        username=username, full_name=username, role=role, site=station, password=PASSWORD
    )


@override_settings(ON_LOOPBACK_ONLY=False)
@pytest.mark.parametrize("road", [guided, batch, undone])
def test_by_every_road_the_same_people_are_refused_with_the_same_trail(
    road: Callable[[User, User, Site], Road],
    technician: User,
    manager: User,
    station: Site,
    procedures: None,
) -> None:
    sign = road(technician, manager, station)
    somebody("odo", Role.AUDITOR, station)
    somebody("demo-tove", Role.TECHNICIAN, station)
    somebody("gone", Role.TECHNICIAN, station)
    User.objects.filter(username="gone").update(is_active=False)
    wrong, own = "wrong name or password", "did or enters this themselves"
    for name, word, subject, why in (
        ("demo-tove", PASSWORD, "demo-tove", "an account of the demo"),
        ("odo", PASSWORD, "odo", "may not record services"),
        ("gone", PASSWORD, "gone", wrong),
        ("tekla", PASSWORD, "tekla", own),
        ("nobody", PASSWORD, "of nobody", wrong),
        (PASSWORD, "sidon", "of nobody", wrong),
        ("odo", "not it", "odo", wrong),
    ):
        assert sign(name, word).status_code == 422, name
        entry = TrailEntry.objects.latest("number")
        found = (entry.what, entry.subject, entry.why, entry.by_user)
        assert found == ("signing-refused", subject, f"second person: {why}", technician), name
        assert not Signature.objects.filter(meaning="checked").exists(), name
    somebody("sidon", Role.TECHNICIAN, station)
    assert sign("sidon", PASSWORD).status_code == 302
    assert set(Signature.objects.filter(meaning="checked").values_list("username", flat=True)) == {
        "sidon"
    }


def test_the_use_cases_ask_it_too(
    technician: User, manager: User, station: Site, procedures: None
) -> None:
    odo = somebody("odo", Role.AUDITOR, station)
    guided(technician, manager, station)
    for who in (odo, technician):
        with pytest.raises(SecondPersonNeeded, match="Second person"):
            complete_service(drafts=[Draft.objects.get()], user=technician, checker=who)
    with pytest.raises(NotAllowed, match="somebody else's hand"):
        complete_service(drafts=[Draft.objects.get()], user=manager, checker=technician)
    mask = make_item(station, "M0001")
    end = condemn(item=mask, reason="Cracked.", user=manager, entry_key="end")
    said: dict[str, Any] = {"record": end, "service": None, "reason": "Another.", "entry_key": "u"}
    for who in (odo, technician):
        with pytest.raises(SecondPersonNeeded, match="Second person"):
            correct_record(**said, user=technician, second=who)


def test_an_account_of_the_demo_approves_no_rule_where_the_program_is_open(
    manager: User, station: Site, rules: None
) -> None:
    tove = somebody("demo-tove", Role.MANAGER, station)
    draft = RuleDraft(station, today_at(station), OWN_RULE)
    proposal = propose_rule(draft, by=manager)
    with override_settings(ON_LOOPBACK_ONLY=False), pytest.raises(ProposalRefused, match="demo"):
        approve_rule(proposal, by=tove)
    approve_rule(proposal, by=tove)

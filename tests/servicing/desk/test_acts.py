"""What a page offers: all that this person may do with it, and nothing that is refused."""

import re
from collections.abc import Iterable
from dataclasses import replace
from datetime import timedelta

import pytest
from django.contrib.auth.models import User
from django.urls import reverse

from registry.items.models import Item
from registry.sites.clock import today_at
from registry.sites.models import Site
from servicing.desk.bench.pure import acts_of_batch
from servicing.desk.item.pure import Stands, acts_of_item
from servicing.desk.parts.pure import APART, IN_ROW, MAIN, Act, DoubtActs, acts_of_doubt
from servicing.desk.people.pure import act_of_authorisation, acts_of_person
from servicing.desk.retests.pure import RowActs, acts_of_consignment, acts_of_cylinder
from servicing.desk.work.pure import acts_of_record
from servicing.due.actions.services import Service, log_service
from servicing.due.actions.standing import condemn, withdraw
from tests.people import make_item, signed_in
from tests.servicing.hydrostatic.away import cylinder, sent_away

MASK = Stands(
    1, "M1", "mask", "on=2026-11-26", fittable=True, tasks=(("functional-test", False),),
    guided=("cleaning", "functional-test"),
)  # fmt: skip
LOOKS = {"fittings", "trail", "record-pdf"}


def names(acts: Iterable[Act]) -> set[str]:
    """Return what is offered: the name of the address, and for a decision which."""
    return {f"{act.name} {act.args[1]}" if act.name == "decide" else act.name for act in acts}


def offered(**changed: object) -> set[str]:
    return names(acts_of_item(replace(MASK, **changed)))  # type: ignore[arg-type]


def test_an_auditor_is_offered_what_can_be_looked_at() -> None:
    assert offered() == LOOKS


def test_who_records_is_offered_work_and_a_manager_to_condemn_as_well() -> None:
    work = {"bench", "log-service", "item-edit", "decide withdraw", "decide quarantine"}
    assert offered(may_record=True) == LOOKS | work
    assert offered(may_record=True, may_manage=True) == LOOKS | work | {"decide condemn"}


def test_what_is_out_of_service_can_be_returned_and_not_taken_out_again() -> None:
    found = offered(may_record=True, taken_out=True)
    assert "decide return" in found
    assert not {"decide withdraw", "decide quarantine"} & found


def test_nothing_more_is_done_to_what_is_condemned() -> None:
    assert offered(may_record=True, may_manage=True, condemned=True) == LOOKS | {"item-edit"}
    assert replace(MASK, may_record=True, condemned=True).to_do == frozenset()


def test_what_is_away_is_received_first() -> None:
    away = replace(MASK, may_record=True, kind="cylinder", away=7, in_doubt="leak-test")
    first, *rest = acts_of_item(away)
    assert (first.name, first.args, first.weight) == ("consigned-back", (7,), MAIN)
    assert "bench" not in names(rest)
    assert away.to_do == frozenset()


def test_what_is_in_doubt_is_done_again_before_what_is_due() -> None:
    first, *_ = acts_of_item(replace(MASK, may_record=True, in_doubt="flow-test"))
    assert (first.label, first.args) == ("Do it again: flow test", (1, "flow-test"))


def test_the_end_of_a_life_is_no_work() -> None:
    old = replace(MASK, may_record=True, tasks=(("service-life", False), ("cleaning", True)))
    assert old.to_do == frozenset()
    assert [act.weight for act in acts_of_item(old) if act.weight == MAIN] == []


@pytest.mark.parametrize(
    ("again", "do_next", "main"),
    [
        ("cleaning", "flow-test", "Test again"),
        ("", "flow-test", "Do it: flow test"),
        ("", "", "Scan the next item"),
    ],
)
def test_a_record_offers_one_thing_first(again: str, do_next: str, main: str) -> None:
    acts = acts_of_record(
        item=1, tag="M1", position=3, again=again, do_next=do_next, correctable=False
    )
    assert [act.label for act in acts if act.weight == MAIN] == [main]
    assert "correct-record" not in names(acts)


@pytest.mark.parametrize("packed", [True, False])
@pytest.mark.parametrize("waiting", [True, False])
def test_a_consignment_is_moved_by_who_records(packed: bool, waiting: bool) -> None:
    def acts(may_record: bool) -> set[str]:
        found = acts_of_consignment(
            1, packed=packed, away=not packed, waiting=waiting, may_record=may_record
        )
        return names(found)

    assert acts(False) == {"consignment-pdf", "consignment-csv"}
    results = {"consignment-results"} if waiting and not packed else set()
    assert acts(True) == acts(False) | {"consignment-move"} | results


@pytest.mark.parametrize(("role", "settles"), [("technician", False), ("manager", True)])
def test_a_cylinder_offers_in_its_row_what_is_next_with_it(role: str, settles: bool) -> None:
    here = {"packed": False, "away": True, "here": False, "awaited": True}
    may = {"may_record": True, "may_manage": role == "manager"}
    none = {"to_settle": None, "disputed": False}

    def acts(**other: object) -> RowActs:
        return acts_of_cylinder(1, "C1", **{**here, **may, **none, **other})  # type: ignore[arg-type]

    away = acts()
    assert (away.receive, away.enter) == (
        Act("Receive it", "consigned-back", (1,), IN_ROW, about="C1"),
        Act("Enter it", "result-add", (1,), IN_ROW, about="C1"),
    )
    assert (away.settle, away.takes_out) == (None, False)
    assert acts(packed=True, away=False) == RowActs(takes_out=True)
    assert acts(here=True, awaited=False) == RowActs()
    open_ = acts(here=True, awaited=False, to_settle=7, disputed=True).settle
    assert (open_ is not None and open_.args == (7,)) is settles
    assert acts(may_record=False, may_manage=False, to_settle=7) == RowActs()


def test_a_batch_is_signed_once_something_is_in_it_and_thrown_away_apart() -> None:
    assert [(act.name, act.weight) for act in acts_of_batch(3, items=2)] == [
        ("bench-batch-check", MAIN),
        ("bench-batch-away", APART),
    ]
    assert names(acts_of_batch(3, items=0)) == {"bench-batch-away"}


def test_a_record_in_doubt_is_tested_again_or_ruled_to_stand_while_something_rests_on_it() -> None:
    def acts(**other: bool) -> DoubtActs:
        may = {"open_": True, "may_record": True, "may_manage": True, **other}
        return acts_of_doubt(1, 3, "flow-test", tag="M1", **may)

    both = acts()
    again = Act("to be tested again", "bench", (1, "flow-test"), IN_ROW, about="M1, flow test")
    stands = Act("Rule that it stands", "let-stand", (1, 3), IN_ROW, about="M1, flow test")
    assert both == DoubtActs(again, stands)
    assert acts(may_manage=False) == DoubtActs(both.again)
    assert acts(may_record=False, may_manage=False) == acts(open_=False) == DoubtActs()


def test_nobody_authorises_themselves_or_closes_their_own_account() -> None:
    theirs = names(acts_of_person(1, own=False, is_open=True, may_manage=True))
    own = names(acts_of_person(1, own=True, is_open=True, may_manage=True))
    assert theirs - own == {"person-authorise", "person-password", "person-close"}
    assert own == {"person-edit", "own-account"}
    for closed in ({"is_open": False, "may_manage": True}, {"is_open": True, "may_manage": False}):
        assert acts_of_person(1, own=False, **closed) == ()
    for kept in ({"ended": True}, {"own": True}, {"may_manage": False}):
        may = {"ended": False, "own": False, "may_manage": True, **kept}
        assert act_of_authorisation(1, "cleaning", **may) is None


def links(page: str) -> set[str]:
    """Return the addresses that the sheet of a page links to."""
    sheet = page[page.index("<main") : page.index("</main>")]
    found = re.findall(r'href="(/[^"]*)"', sheet)
    return {address.replace("&amp;", "&") for address in found}


def test_every_link_of_these_pages_opens_for_who_is_offered_it(
    station: Site, technician: User, manager: User, auditor: User
) -> None:
    today = today_at(station)
    mask, old, sent = make_item(station, "M1"), make_item(station, "M2"), cylinder(station, "C1")
    whole, gauge = make_item(station, "S1", "set"), make_item(station, "G1", "instrument")
    failed = log_service(
        item=mask,
        service=Service("functional-test", today - timedelta(days=1), "fail", "T. Dunn"),
        user=technician,
        entry_key="failed",
    )
    withdraw(item=gauge, reason="dropped", user=technician, entry_key="out")
    condemn(item=old, reason="burnt", user=manager, entry_key="end")
    away = sent_away(station, [sent], technician)
    pages = [
        *(reverse("item", args=[each.pk]) for each in (mask, old, sent, whole, gauge)),
        reverse("record", args=[mask.pk, failed.position]),
        reverse("consignment", args=[away.pk]),
    ]
    refused = []
    for user in (technician, manager, auditor):
        desk = signed_in(user)
        for address in {link for page in pages for link in links(desk.get(page).content.decode())}:
            # A task without a procedure goes on to the plain form.
            if desk.get(address).status_code not in (200, 302):
                refused.append((user.username, address))
    assert refused == []


def test_every_deed_that_is_allowed_is_on_the_page(
    mask: Item, technician: User, manager: User, auditor: User
) -> None:
    deeds = [
        reverse("item-edit", args=[mask.pk]),
        *(reverse("decide", args=[mask.pk, d]) for d in ("withdraw", "quarantine", "condemn")),
    ]
    for user in (technician, manager, auditor):
        desk = signed_in(user)
        on_page = links(desk.get(reverse("item", args=[mask.pk])).content.decode())
        for deed in deeds:
            assert (deed in on_page) is (desk.get(deed).status_code == 200), (user, deed)

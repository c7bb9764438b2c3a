"""What waits for somebody stands on their first page, and every list can be reached."""

import re
from datetime import timedelta

import pytest
from django.contrib.auth.models import User

from registry.people.actions.authorisations import grant_authorisation
from registry.sites.clock import today_at
from registry.sites.models import Site
from servicing.due.actions.local_rules import Draft, propose_rule
from servicing.hydrostatic.actions.results import enter_results
from servicing.hydrostatic.pure.verdict import Word
from tests.people import OWN_RULE, passed, signed_in
from tests.servicing.hydrostatic.away import cylinder, result, retests, sent_away

EVERYWHERE = {"Sets": "/sets/", "Papers": "/papers/", "Trail": "/trail/"}
EVERYWHERE |= {"Who may do what": "/people/tasks/"}
RECORDING = {"Register an item": "/items/add/", "Begin a batch": "/bench/batch/"}


def first_page(user: User) -> str:
    return signed_in(user).get("/").content.decode()


def waiting(user: User) -> str:
    """Return the words of what waits for somebody, empty where nothing does."""
    found = re.search(r'<section class="waiting.*?</section>', first_page(user), re.S)
    return " ".join(re.sub("<.*?>", "", found[0]).split()) if found else ""


def test_every_page_leads_to_the_lists_that_a_person_may_see(
    technician: User, manager: User, auditor: User
) -> None:
    for user, wanted in (
        (technician, EVERYWHERE | RECORDING),
        (manager, EVERYWHERE | RECORDING | {"People": "/people/"}),
        (auditor, EVERYWHERE | {"People": "/people/"}),
    ):
        page = signed_in(user).get("/rules/").content.decode()
        menu = page.split('<details class="menu">')[1].split("</details>")[0]
        found = re.findall(r'<a href="(.*?)".*?>(.*?)</a>', menu)
        told = {word: address for address, word in found}
        assert told.items() >= wanted.items()
        assert ("People" in told, "Register an item" in told) == (
            "People" in wanted,
            "Register an item" in wanted,
        )
        for address in wanted.values():
            assert signed_in(user).get(address).status_code == 200


def test_what_another_manager_asks_for_waits_for_the_one_who_may_decide(
    station: Site, manager: User, second_manager: User, technician: User
) -> None:
    proposal = propose_rule(Draft(station, today_at(station), OWN_RULE), by=manager)
    assert (
        "1 rule that another manager asks for: approve or reject it: add cleaning at ST1"
        in waiting(second_manager)
    )
    assert proposal.get_absolute_url() in first_page(second_manager)
    assert waiting(manager) == ""
    assert waiting(technician) == ""


def test_an_authorisation_that_ends_soon_waits_for_its_owner_and_for_managers(
    station: Site, manager: User, second_manager: User, technician: User
) -> None:
    until = today_at(station) + timedelta(days=9)
    for person in (technician, manager):
        grant_authorisation(
            person=person,
            task="overhaul",
            valid_from=today_at(station),
            valid_until=until,
            user=second_manager,
        )
    day = f"{until.day} {until:%b %Y}"
    assert waiting(technician).startswith("Waiting for you 1 authorisation of yours ends by")
    assert f"Tekla Merrow, overhaul: {day}" in waiting(technician)
    said = waiting(manager)
    assert "2 authorisations end by" in said
    assert f"Manfrid Merrow, overhaul: {day}" in said


def test_condemnations_and_disputes_wait_for_a_manager(
    station: Site, manager: User, technician: User
) -> None:
    world = retests(station, technician)
    assert waiting(technician) == ""
    said = waiting(manager)
    assert said == "Waiting for you 1 cylinder to be condemned or not: you decide: C0103"
    assert world.away.get_absolute_url() in first_page(manager)
    turned = cylinder(station, "C0200")
    sent = sent_away(station, [turned], technician, key="another")
    rejects = result(turned, word=Word.REJECT, reason="thread")
    enter_results(consignment=sent, results=[rejects], user=technician)
    said = waiting(manager)
    assert "1 result on which the test house and our arithmetic disagree: settle it: C0200" in said


def behind(page: str, anchor: str) -> tuple[int, int]:
    """Return the number in a heading of a page, and how many stand in the list below it."""
    found = re.search(
        rf'<h2 id="{anchor}">.*?count">(\d+) .*?</h2>(.*?)</(?:ul|table)>', page, re.S
    )
    assert found is not None
    return int(found[1]), len(re.findall("<li>|<tbody|<tr role", found[2]))


def test_what_is_not_named_on_the_first_page_stands_in_a_list_of_its_own(
    station: Site,
    manager: User,
    second_manager: User,
    technician: User,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("servicing.desk.work.queries.SHOWN", 0)
    retests(station, technician)
    turned = cylinder(station, "C0200")
    sent = sent_away(station, [turned], technician, key="another")
    rejects = result(turned, word=Word.REJECT, reason="thread")
    enter_results(consignment=sent, results=[rejects], user=technician)
    today = today_at(station)
    propose_rule(Draft(station, today, OWN_RULE), by=second_manager)
    propose_rule(Draft(station, today, {**OWN_RULE, "every": "P1M"}), by=manager)
    desk = signed_in(manager)
    home = desk.get("/").content.decode()
    for address, anchor in (
        ("/retests/", "condemn"),
        ("/retests/", "disputes"),
        ("/rules/local/", "to-decide"),
    ):
        assert f'<a href="{address}#{anchor}">and 1 more</a>' in home
        page = desk.get(address).content.decode()
        number, rows = behind(page, anchor)
        assert (number, rows - 2 * (anchor == "to-decide")) == (1, 1)
    own = desk.get("/rules/local/").content.decode()
    assert "You asked: another manager decides" in own


@pytest.mark.parametrize(
    ("address", "word"),
    [
        ("/items/", "Items"),
        ("/items/add/", "Register an item"),
        ("/sets/", "Sets"),
        ("/people/", "People"),
        ("/people/tasks/", "Who may do what"),
        ("/papers/", "Papers"),
        ("/trail/", "Trail"),
    ],
)
@pytest.mark.usefixtures("rules")
def test_one_word_of_the_head_says_where_somebody_is(
    manager: User, address: str, word: str
) -> None:
    page = signed_in(manager).get(address).content.decode()
    head = page.partition('<nav class="nav"')[2].partition("</nav>")[0]
    assert re.findall(r'aria-current="\w+">(.*?)</a>', head) == [word]


@pytest.mark.usefixtures("rules")
def test_what_was_entered_late_waits_for_the_auditor(
    station: Site, technician: User, auditor: User
) -> None:
    item = cylinder(station, "C9")
    passed(item, "external-inspection", today_at(station) - timedelta(days=30), technician)
    assert "1 thing to look at since the trail was last reviewed: C9, entered late" in waiting(
        auditor
    )
    assert waiting(technician) == ""

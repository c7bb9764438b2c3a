"""Every address of the program as each role sees it. B4, D15 to D18, D34.

The addresses come from the table in tests/test_addresses.py, which compares itself with the
URL resolver: a page that is added there is looked at here, or this test says that it isn't.
"""

from collections.abc import Callable
from datetime import date
from urllib.parse import urlsplit

import pytest
from django.contrib.auth.models import User
from django.urls import resolve
from playwright.sync_api import Page, expect

from registry.people.actions.authorisations import grant_authorisation
from registry.people.models import Authorisation
from registry.sites.clock import today_at
from registry.sites.models import Site
from servicing.due.actions.local_rules import Draft, approve_rule, propose_rule
from tests.browser.conftest import WIDE, Fleet, OpenPage, sign_in
from tests.browser.looking import Looker
from tests.people import OWN_RULE, make_item
from tests.servicing.hydrostatic.away import Away, retests
from tests.test_addresses import ADDRESSES, ROLES
from tests.work_in_hand import begin_work

NO_PAGES = (
    "login",
    "logout",
    "trail-csv",
    "consignment-csv",
    "instrument-csv",
    "item-json",
    "live",
    "ready",
    "filling-compressor",
    "item-json",
)
PAPERS = ("due-pdf", "overdue-pdf", "record-pdf", "set-pdf", "consignment-pdf")


def paths(
    fleet: Fleet, person: User, held: Authorisation, away: Away, crates: tuple[int, int]
) -> dict[str, list[str]]:
    """Return the paths to open of each address, with real items and with unreadable questions."""
    packed, sent = away.packed.get_absolute_url(), away.away.get_absolute_url()
    items = {name: fleet.path(name) for name in fleet}
    history, site = items["history"], fleet["overdue"].site_id
    return {
        "home": ["/"],
        "find": ["/find/", "/find/?q=0125", "/find/?q=777", "/find/?q=00123&on=2025-01-31"],
        "due-list": ["/due/?sort=-tag", "/due/?on=31+x"],
        "filling": [
            "/filling/",
            "/filling/?q=K0001",
            "/filling/?q=C0041",
            "/filling/?q=C0042",
            "/filling/?q=777",
            "/filling/?q=0125&bar=250",
            "/filling/?bar=x",
        ],
        "filling-rack": ["/filling/rack/", "/filling/rack/?c=C0041&c=C0042&q=C0043"],
        "air": ["/filling/air/", "/filling/air/?capacity=6.8&pressure=300"],
        "item-list": ["/items/"],
        "stamp-list": ["/retests/stamps/"],
        "find-photo": ["/find/photo/"],
        "item-add": ["/items/add/?tag=00900"],
        "item": [items["set"], items["long"], items["condemned"], history],
        "item-edit": [f"{history}edit/"],
        "log-service": [f"{items['overdue']}service/?task=cleaning"],
        "record": [f"{history}records/1/"],
        "set-list": ["/sets/?state=not-ready"],
        "set-parts": [f"{items['set']}parts/"],
        "part-out": [f"{items['set']}parts/{fleet.fitting}/out/"],
        "fittings": [f"{items['set']}fittings/", f"{items['overdue']}fittings/"],
        "let-stand": [f"{history}records/1/stands/"],
        "correct-record": [f"{history}records/1/correct/"],
        "decide": [f"{items['overdue']}standing/withdraw/"],
        "check-yourself": ["/ledger/check/"],
        "type-list": ["/types/"],
        "type-edit": [f"/types/{fleet['long'].type_id}/edit/"],
        "site-list": ["/sites/"],
        "site-add": ["/sites/add/"],
        "site-edit": [f"/sites/{site}/edit/"],
        "rule-list": ["/rules/"],
        "consignment-list": ["/retests/"],
        "consignment-add": ["/retests/add/?tag=C0105"],
        "consignment": [packed, sent],
        "consignment-change": [f"{packed}change/"],
        "consignment-move": [f"{packed}move/", f"{sent}move/"],
        "consignment-results": [f"{sent}results/"],
        "consigned-back": [f"/retests/cylinders/{away.waiting}/back/"],
        "result-add": [f"/retests/cylinders/{away.waiting}/result/"],
        "result-settle": [f"/retests/results/{away.disputed}/settle/"],
        "own-test": [f"/retests/items/{away.at_home.pk}/test/", f"/retests{items['long']}test/"],
        "consignment-pdf": [f"/papers/consignments/{away.away.pk}/consignment.pdf"],
        "trail": ["/trail/", f"/trail/?of={'L' * 64}", "/trail/?since=31+x"],
        "trail-review": ["/trail/review/"],
        "own-account": ["/account/"],
        "who-may": ["/people/tasks/", "/people/tasks/?on=31+x"],
        "paper-list": ["/papers/", "/papers/?since=31+x"],
        "people": ["/people/", "/people/?on=2020-01-31", "/people/?on=31+x"],
        "person": [f"/people/{person.pk}/"],
        "person-add": ["/people/add/"],
        "person-edit": [f"/people/{person.pk}/edit/"],
        "person-close": [f"/people/{person.pk}/close/"],
        "person-password": [f"/people/{person.pk}/password/"],
        "person-authorise": [f"/people/{person.pk}/authorise/"],
        "authorisation-end": [f"/people/authorisations/{held.pk}/end/"],
        "bench": [f"/bench/{fleet['healthy'].pk}/periodic-inspection/?step=condition"],
        "bench-check": [f"/bench/{fleet['healthy'].pk}/periodic-inspection/check/"],
        "bench-batch-start": ["/bench/batch/", "/bench/batch/?procedure=mask-cleaning"],
        "bench-batch": [f"/bench/batch/{crates[0]}/"],
        "bench-aside": [f"/bench/{fleet['healthy'].pk}/periodic-inspection/put-aside/"],
        "bench-batch-away": [f"/bench/batch/{crates[0]}/throw-away/"],
        "bench-thrown": ["/bench/thrown/"],
        "bench-batch-check": [f"/bench/batch/{crates[0]}/check/"],
        "bench-batch-done": [f"/bench/batch/{crates[1]}/done/"],
        "instrument-records": [f"/bench/instruments/{fleet['overdue'].pk}/"],
        "type-limits": [f"/bench/types/{fleet['overdue'].type_id}/limits/"],
        "due-pdf": ["/papers/due.pdf?kind=mask"],
        "overdue-pdf": ["/papers/overdue.pdf?kind=mask"],
        "record-pdf": [f"/papers{history}record.pdf"],
        "set-pdf": [f"/papers{items['set']}set.pdf"],
    }


def rules_of_our_own(site: Site, asks: User, approves: User) -> tuple[str, int]:
    """Make a rule that counts and a proposal that waits; return the one's id, the other's key."""
    draft = Draft(site, today_at(site), OWN_RULE)
    counts, waits = propose_rule(draft, by=asks), propose_rule(draft, by=asks)
    approve_rule(counts, by=approves)
    counts.refresh_from_db()
    return counts.rule_id, waits.pk


@pytest.fixture
def own_rules(fleet: Fleet, manager: User, second_manager: User) -> dict[str, list[str]]:
    """The paths of the pages about rules and their sources, with a rule and a proposal."""
    rule, proposal = rules_of_our_own(fleet["overdue"].site, manager, second_manager)
    return {
        "fact-list": ["/rules/published/"],
        "local-rules": ["/rules/local/"],
        "local-rule-add": ["/rules/local/add/"],
        "local-rule-change": [f"/rules/local/{rule}/change/"],
        "local-rule-end": [f"/rules/local/{rule}/end/"],
        "rule-proposal": [f"/rules/local/proposals/{proposal}/"],
    }


def fill_in_badly(page: Page, looker: Looker, where: str, path: str) -> None:
    """Send a form with nothing good in it and look at what comes back."""
    page.goto(path)
    for field in page.locator("main input[type=text]:visible").all():
        field.fill("")
    page.locator("form.bench").get_by_role("button").first.click()
    expect(page.get_by_role("alert")).to_be_visible()
    looker.look(page, f"{where}, with errors")


def check_a_service(page: Page, looker: Looker, where: str, path: str) -> None:
    """Come to the check page over a form with an error, and look at both; nothing is entered."""
    page.goto(path)
    page.get_by_label("Note").fill("W" * 300)
    page.get_by_role("button", name="Check before entering").click()
    expect(page.get_by_role("alert")).to_be_visible()
    looker.look(page, f"{where}, with errors")
    page.get_by_text("fail: out of service until it passes").click()
    page.get_by_role("button", name="Check before entering").click()
    expect(page.get_by_role("button", name="Enter it in the ledger")).to_be_visible()
    looker.look(page, f"{where}, check")


@pytest.mark.long
def test_every_page_of_every_role_can_be_read_and_used(
    open_page: OpenPage,
    fleet: Fleet,
    own_rules: dict[str, list[str]],
    *,
    technician: User,
    manager: User,
    auditor: User,
) -> None:
    looker = Looker()
    held = grant_authorisation(
        person=technician,
        task="overhaul",  # by name, which shuts others out of it
        valid_from=date(2026, 1, 1),
        valid_until=None,
        user=manager,
        note_text="N" * 300,
    )
    away = retests(fleet["overdue"].site, technician)
    crates = begin_work(fleet["healthy"], [technician, manager])
    gauge = make_item(away.at_home.site, "G0001", "instrument", model="Gauge 400")
    serving = {"type-serving": [f"/bench/types/{gauge.type_id}/serves/"]}
    to_open = paths(fleet, technician, held, away, crates) | own_rules | serving
    assert {*to_open, *NO_PAGES} == set(ADDRESSES)
    forms: dict[str, Callable[[Page, Looker, str, str], None]] = {
        "item-add": fill_in_badly,
        "site-add": fill_in_badly,
        "consignment-add": fill_in_badly,
        "result-add": fill_in_badly,
        "result-settle": fill_in_badly,
        "local-rule-add": fill_in_badly,
        "person-add": fill_in_badly,
        "own-account": fill_in_badly,
        "authorisation-end": fill_in_badly,
        "type-serving": fill_in_badly,
        "log-service": check_a_service,
    }

    for role, person in zip(ROLES, (technician, manager, auditor), strict=True):
        page = open_page()
        sign_in(page, person)
        for name, address in ADDRESSES.items():
            status = address.get[ROLES.index(role)]
            for path in to_open.get(name, []):
                where = f"{role} at {path}"
                assert resolve(urlsplit(path).path).url_name == name
                if name in PAPERS:
                    paper = page.request.get(path)
                    assert (paper.status, paper.body()[:5]) == (200, b"%PDF-"), where
                    continue
                answer = page.goto(path)
                assert answer is not None
                assert (answer.status == 403) == (status == 403), where
                assert "default-src 'self'" in answer.headers["content-security-policy"], where
                looker.look(page, where)
                if name in forms and status != 403:
                    forms[name](page, looker, where, path)
        page.goto("/nowhere/")
        looker.look(page, f"{role} at an address that does not exist")
        page.set_viewport_size({"width": WIDE, "height": 800})
        page.get_by_role("button", name="Sign out").click()
        page.wait_for_url("**/sign-in/")

    looker.look(page, "nobody at the sign-in")
    page.get_by_label("Username").fill("nobody")
    page.get_by_label("Password").fill("nothing")
    page.get_by_role("button", name="Sign in").click()
    expect(page).to_have_title("Error: Sign in - Neckring")
    looker.look(page, "nobody refused")
    assert not looker.findings, "\n".join(looker.findings)

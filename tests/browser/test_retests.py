"""Results of a retest typed in by hand, checked, entered, and a dispute settled."""

from datetime import timedelta

from django.contrib.auth.models import User
from playwright.sync_api import Page, expect

from registry.items.models import Item
from registry.sites.clock import today_at
from registry.sites.models import Site
from servicing.hydrostatic.models import Result
from tests.browser.conftest import PHONE, OpenPage, sign_in
from tests.servicing.hydrostatic.away import HOUSE, cylinder


def consign(page: Page, items: list[Item]) -> None:
    """Begin a consignment with a cylinder's tag a line, and let it leave."""
    page.get_by_role("link", name="Retests").click()
    page.get_by_role("link", name="Begin a consignment").click()
    page.get_by_label("Test house").fill(HOUSE)
    page.get_by_label("Cylinders").fill("\n".join(item.tag for item in items))
    page.get_by_role("button", name="Begin it").click()
    page.get_by_role("link", name="Let it leave").click()
    left = today_at(items[0].site) - timedelta(days=9)
    page.get_by_label("Left on").fill(left.isoformat())
    page.get_by_role("button", name="It has left").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("is away: 2 cylinders")


def type_in(page: Page, item: Item, permanent: str) -> None:
    """Type a passed jacket test of a cylinder and go to the check page."""
    row = page.get_by_role("row").filter(has_text=item.tag)
    row.get_by_role("link", name="Enter it").click()
    page.get_by_label("pass", exact=True).check()
    page.get_by_label("Tested on").fill((today_at(item.site) - timedelta(days=4)).isoformat())
    page.get_by_label("Method").select_option("jacket")
    for label, text in {
        "Test pressure reached": "450 bar",
        "Held": "30",
        "Total expansion": "62,0",
        "Permanent expansion": permanent,
        "Tested by": "R. Amble",
    }.items():
        page.get_by_label(label).fill(text)
    page.get_by_role("button", name="Check before entering").click()


def test_results_are_typed_in_checked_and_a_dispute_is_settled_without_script(
    open_page: OpenPage, station: Site, rules: None, technician: User, manager: User
) -> None:
    items = [cylinder(station, tag) for tag in ("C0201", "C0202")]
    page = open_page(PHONE, script=False)
    sign_in(page, technician)
    consign(page, items)

    type_in(page, items[0], "1.2")
    expect(page.get_by_role("heading", level=1)).to_have_text("C0201: pass")
    page.get_by_role("button", name="Enter it in the ledger").click()

    type_in(page, items[1], "3.11")
    said = "The house says pass, we find condemn"
    expect(page.get_by_role("heading", level=1)).to_have_text(said)
    assert Result.objects.count() == 1
    page.get_by_role("button", name="Change something").click()
    expect(page.get_by_label("Permanent expansion")).to_have_value("3.11")
    page.get_by_role("button", name="Check before entering").click()
    page.get_by_role("button", name="Enter it in the ledger").click()
    expect(page.get_by_text("1 result on which the house and our arithmetic")).to_be_visible()
    expect(page.get_by_role("link", name="Settle it")).to_have_count(0)

    desk = open_page()
    sign_in(desk, manager)
    desk.get_by_role("link", name="Retests").click()
    desk.get_by_role("link", name="-001").click()
    desk.get_by_role("link", name="Settle it").click()
    desk.get_by_label("pass", exact=True).check()
    desk.get_by_label("Why").fill("Design standard allows 10 %, certificate seen.")
    desk.get_by_role("button", name="Settle it").click()
    expect(desk.get_by_text("settled by")).to_be_visible()
    assert Result.objects.get(our_word="condemn").counts_as == "pass"

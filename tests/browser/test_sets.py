"""A set is changed at the bench with gloves on: by the scanner alone. D2, D4, D15."""

import re

from django.contrib.auth.models import User
from playwright.sync_api import expect

from registry.sets.models import Fitting
from registry.sites.models import Site
from tests.browser.conftest import Fleet, OpenPage, sign_in
from tests.browser.keys import scan, tab_to
from tests.people import make_item


def test_a_mask_is_swapped_by_the_scanner_alone(
    open_page: OpenPage, fleet: Fleet, technician: User
) -> None:
    page = open_page()
    sign_in(page, technician)
    scan(page, "S031")
    page.wait_for_url(f"**{fleet.path('set')}")
    expect(page.get_by_role("heading", level=1)).to_contain_text("S031 is not ready")
    page.get_by_role("link", name="Change its parts").click()
    field = page.get_by_label("Scan the part that goes in")
    expect(field).to_be_focused()

    # The new mask goes in, and the one that was there comes out, by one scan.
    scan(page, "00124")
    expect(page.get_by_role("status")).to_contain_text("00124 is in S031 as mask, 00123 came out.")
    expect(field).to_be_focused()
    expect(field).to_have_value("")

    # What does not go in is said, and the field waits, empty, for the next scan.
    scan(page, "C0042")
    alert = page.get_by_role("alert")
    expect(alert).to_contain_text("C0042 was condemned")
    expect(field).to_be_focused()
    expect(field).to_have_value("")
    scan(page, "00124")
    expect(alert).to_contain_text("00124 is in S031 since")
    scan(page, "00123")
    expect(page.get_by_role("status")).to_contain_text("00123 is in S031 as mask, 00124 came out.")
    assert Fitting.objects.open().get(set=fleet["set"], place="mask").part == fleet["overdue"]


def test_a_cylinder_is_changed_by_keyboard_step_by_step(
    open_page: OpenPage, fleet: Fleet, technician: User, station: Site
) -> None:
    known = {"model": "Flask", "working_pressure_bar": "300", "connection": "G5/8-300"}
    make_item(station, "C0099", "cylinder", **known)
    page = open_page(360)
    sign_in(page, technician)
    page.goto(f"{fleet.path('set')}parts/")
    scan(page, "C0099")
    expect(page.get_by_role("heading", level=1)).to_have_text("C0099 goes into S031 as cylinder")
    expect(page.get_by_text("C0041 comes out.")).to_be_visible()
    expect(page.get_by_text("common practice", exact=False)).to_be_visible()
    confirm = page.get_by_label(re.compile("I have checked"))
    if confirm.count():
        confirm.check()
        page.get_by_label("How you know that it fits").fill("The maker's list of 2026.")
    button = page.get_by_role("button", name="Put C0099 in")
    button.click()
    expect(page.get_by_role("alert")).to_contain_text("Confirm the step: The cylinder valve is")
    page.wait_for_load_state()
    for tick in page.get_by_role("checkbox").all():
        if not tick.is_checked():
            tab_to(page, tick)
            page.keyboard.press("Space")
    tab_to(page, button)
    expect(button).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.get_by_role("status")).to_contain_text("Now check for leaks")
    assert Fitting.objects.open().get(set=fleet["set"], place="cylinder").part.tag == "C0099"

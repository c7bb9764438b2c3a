"""The buttons that end a page's work are in reach without scrolling, and Back asks nothing.

WCAG 2.4.11: what has the focus is not behind them.
"""

import re

import pytest
from django.contrib.auth.models import User
from playwright.sync_api import Page, expect

from registry.items.models import Item
from registry.sites.models import Site
from servicing.ledger.queries.records import history_of
from tests.browser.conftest import Fleet, OpenPage, days_ago, sign_in
from tests.people import make_filling_point
from tests.servicing.bench.conftest import make_instrument
from tests.work_in_hand import load

SCREENS = [(1280, 800), (390, 844)]
LOWEST_HEAD = 120
IN_REACH = """
button => {
  const box = button.getBoundingClientRect();
  const top = document.elementFromPoint(box.x + box.width / 2, box.y + box.height / 2);
  return window.scrollY < 2 && box.top >= 0 && box.bottom <= innerHeight
    && (top === button || button.contains(top));
}
"""
HIDDEN = """
() => {
  const at = document.activeElement, bar = document.querySelector('.reach > .acts');
  if (!bar || bar.contains(at)) return '';
  const box = at.getBoundingClientRect(), edge = bar.getBoundingClientRect();
  const covered = box.top >= edge.top && box.bottom <= edge.bottom + 1;
  return covered ? at.outerHTML.slice(0, 90) : '';
}
"""


def in_reach(page: Page, name: str) -> None:
    page.wait_for_load_state()
    page.evaluate("scrollTo(0, 0)")
    button = page.get_by_role("button", name=re.compile(name)).first
    expect(button).to_be_visible()
    assert button.evaluate(IN_REACH), f"{name} at {page.viewport_size}"


def nothing_with_the_focus_is_hidden(page: Page) -> None:
    page.evaluate("document.activeElement.blur()")
    for _ in range(45):
        page.keyboard.press("Tab")
        assert page.evaluate(HIDDEN) == ""


@pytest.mark.parametrize("screen", SCREENS)
def test_filling_is_logged_without_scrolling(
    open_page: OpenPage, fleet: Fleet, station: Site, technician: User, screen: tuple[int, int]
) -> None:
    make_filling_point(station, technician)
    page = open_page(screen[0])
    page.set_viewport_size({"width": screen[0], "height": screen[1]})
    page.goto("/")
    page.get_by_label("Username").fill(technician.username)
    page.get_by_label("Password").fill("a long invented pass phrase")
    page.get_by_role("button", name="Sign in").click()
    page.goto("/filling/?q=C0001")
    in_reach(page, "Fill from this one")
    page.get_by_label("P1, ").check()
    page.get_by_role("button", name="Fill from this one").click()
    # Chosen, the cylinder that was asked about has its answer, and its reading the focus.
    expect(page.get_by_role("heading", level=1)).to_have_text("FILL: C0001")
    expect(page.get_by_label("Pressure on the gauge")).to_be_focused()
    in_reach(page, "Log the filling")
    if screen[0] < 560:
        assert page.evaluate("document.querySelector('.head').offsetHeight") <= LOWEST_HEAD
        page.get_by_text("More").click()
        expect(page.get_by_role("button", name="Sign out")).to_be_visible()


@pytest.mark.parametrize("screen", SCREENS)
def test_a_failed_reading_and_a_signature_are_in_reach_and_back_asks_nothing(
    open_page: OpenPage, fleet: Fleet, station: Site, technician: User, screen: tuple[int, int]
) -> None:
    load("masks", "care")
    make_instrument(station, "B0001", days_ago(station, 30), technician)
    mask: Item = fleet["overdue"]
    page = open_page()
    sign_in(page, technician)
    page.set_viewport_size({"width": screen[0], "height": screen[1]})
    page.goto(f"/bench/{mask.pk}/tightness-test/")
    page.get_by_label("B0001").check()
    page.get_by_role("button", name="Go to the steps").click()
    heading = page.get_by_role("heading", level=1)
    for name, then in (
        ("Good", "Speech"),
        ("Good", "Renew"),
        ("Not renewed", "Moisten"),
        ("Done", "Draw"),
    ):
        page.get_by_role("button", name=name, exact=True).click()
        expect(heading).to_contain_text(then)
    page.get_by_label("Leak", exact=False).fill("1.3")
    page.get_by_role("button", name="Save the reading").click()
    expect(page.get_by_role("alert")).to_contain_text("Fail.")
    in_reach(page, "Test again")
    page.get_by_role("button", name="Stop here and check").click()
    expect(heading).to_contain_text("fail")
    in_reach(page, "Sign: failed")
    in_reach(page, "Test again")
    nothing_with_the_focus_is_hidden(page)
    if screen[0] < 560:
        assert page.evaluate("document.querySelector('.head').offsetHeight") <= LOWEST_HEAD
    page.get_by_role("button", name="Sign: failed").click()
    page.wait_for_url("**/records/1/")
    page.go_back()
    page.wait_for_load_state()
    assert page.locator("main").count() == 1  # a page of ours, and no question of the browser's
    page.goto(f"{mask.get_absolute_url()}service/?task=cleaning")
    page.get_by_role("button", name="Check before entering").click()
    expect(page.get_by_role("alert")).to_be_visible()
    page.get_by_label("pass:").check()
    page.get_by_role("button", name="Check before entering").click()
    page.wait_for_url("**&shown=1")
    in_reach(page, "Sign and enter it")
    page.reload()
    in_reach(page, "Sign and enter it")
    page.get_by_role("button", name="Sign and enter it").click()
    page.wait_for_url("**/records/2/")
    page.go_back()
    page.wait_for_url("**/service/?task=cleaning")
    assert page.locator("main").count() == 1
    page.go_back()  # to where it was refused
    page.wait_for_load_state()
    assert page.locator("main").count() == 1
    assert history_of(mask).count() == 2

"""The filling point by scanner alone: fill, do not fill, a rack. D1 to D3, D15, D16, D27, D29."""

import re
from pathlib import Path

import pytest
from django.contrib.auth.models import User
from PIL import Image
from playwright.sync_api import Page, Route, expect

from registry.items.models import Item
from registry.sites.clock import today_at
from registry.sites.models import Site
from servicing.ledger.queries.records import history_of
from tests.browser.conftest import PHONE, WIDE, OpenPage, sign_in
from tests.browser.keys import scan
from tests.browser.looking import Looker, Scheme
from tests.people import make_cylinder, make_filling_point, passed
from tests.worlds import world_fixture

SCAN = "Scan or type"
LOGGING = re.compile(r"/filling/(\?q=\w+)?$")
Screen = tuple[int, Scheme]


@world_fixture
def good(station: Site, technician: User) -> Item:
    """Two cylinders that may be filled, one that failed, and a compressor: C0001 to C0003, P1."""
    cylinder, _ = make_filling_point(station, technician)
    make_cylinder(station, "C0002", technician)
    failed = make_cylinder(station, "C0003", technician)
    passed(failed, "external-inspection", today_at(station), technician, "fail")
    return cylinder


def answered(page: Page, tag: str, words: str) -> None:
    """Expect an answer to a scan, and the field ready for the next one.

    After FILL the reading has the focus; the next scan goes where it belongs all the same.
    """
    expect(page.get_by_role("heading", level=1)).to_have_text(f"{words}: {tag}")
    field = page.get_by_label(SCAN)
    expect(field).to_have_value("")
    ready = words == "FILL" and "/rack/" not in page.url
    expect(page.get_by_label("Pressure on the gauge") if ready else field).to_be_focused()


def begin(page: Page, person: User) -> None:
    sign_in(page, person)
    page.goto("/filling/")
    page.get_by_label("P1, ").check()
    page.get_by_role("button", name="Fill from this one").click()
    expect(page.get_by_role("status")).to_contain_text("Filling from compressor P1")


def test_scan_after_scan_without_touching_anything_else(
    open_page: OpenPage, good: Item, technician: User
) -> None:
    page = open_page()
    begin(page, technician)
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url) if "q=" in request.url else None)
    for tag, words, ends in (
        ("C0001", "FILL", ["Enter"]),
        ("C0003", "DO NOT FILL", ["Tab"]),
        ("C0002", "FILL", ["Enter", "Enter"]),
        ("C0999", "DO NOT FILL", ["Enter"]),
        ("C0001", "FILL", ["Enter"]),
    ):
        scan(page, tag, *ends)
        answered(page, tag, words)
    assert [url.rpartition("q=")[2] for url in asked] == [
        "C0001",
        "C0003",
        "C0002",
        "C0999",
        "C0001",
    ]
    # The same code again is the same answer, and in a rack the same cylinder; nothing is
    # written by asking.
    scan(page, "C0001")
    answered(page, "C0001", "FILL")
    page.goto("/filling/rack/?c=C0001")
    scan(page, "C0001")
    expect(page.get_by_role("alert")).to_have_text("C0001 is in the rack already.")
    expect(page.get_by_role("heading", name="The rack: 1 of 1 may be filled")).to_be_visible()
    assert not history_of(good).filter(task="fill").exists()


def test_a_filling_is_logged_and_the_scanner_goes_on(
    open_page: OpenPage, good: Item, technician: User
) -> None:
    page = open_page(PHONE, scheme="dark")
    begin(page, technician)
    scan(page, "C0001")
    answered(page, "C0001", "FILL")
    page.get_by_label("Pressure on the gauge").fill("330")
    # Enter after the one reading goes to the other; after both it sends them.
    page.get_by_label("Pressure on the gauge").press("Enter")
    expect(page.get_by_label("Temperature of the cylinder")).to_be_focused()
    page.get_by_label("Temperature of the cylinder").fill("15")
    page.get_by_label("Temperature of the cylinder").press("Enter")
    expect(page.get_by_role("alert")).to_contain_text("Let it down to 300 bar")
    expect(page.get_by_label("Pressure on the gauge")).to_have_value("330")
    page.get_by_label("Pressure on the gauge").fill("300")
    # A scan that lands in the reading leaves it alone and writes nothing.
    for tag in ("S17", "C0002"):
        page.get_by_label("Pressure on the gauge").focus()
        scan(page, tag)
        expect(page.get_by_role("status")).to_contain_text(f"Scanned {tag}.")
        expect(page.get_by_label("Pressure on the gauge")).to_have_value("300")
    expect(page.get_by_role("status")).to_contain_text("Ask opens it")
    page.get_by_label(SCAN).fill("")
    page.get_by_role("button", name="Log the filling").click()
    expect(page.get_by_role("status")).to_contain_text("Logged: C0001, 300 bar at 15 °C")
    assert history_of(good).filter(task="fill").count() == 1
    expect(page.get_by_label(SCAN)).to_be_focused()
    scan(page, "C0002")
    answered(page, "C0002", "FILL")
    expect(page.get_by_label("Pressure on the gauge")).to_have_value("")


@pytest.mark.parametrize("script", [True, False])
def test_a_rack_by_scanner(open_page: OpenPage, good: Item, technician: User, script: bool) -> None:
    page = open_page(script=script)
    begin(page, technician)
    page.get_by_role("link", name="Fill a rack").click()
    for tag, words in (("C0001", "FILL"), ("C0003", "DO NOT FILL"), ("C0002", "FILL")):
        if script:
            scan(page, tag)
            answered(page, tag, words)
        else:
            page.get_by_label(SCAN).fill(tag)
            page.get_by_role("button", name="Add").click()
            expect(page.get_by_role("heading", level=1)).to_have_text(f"{words}: {tag}")
    expect(page.get_by_role("heading", name="The rack: 2 of 3 may be filled")).to_be_visible()
    page.get_by_label("Pressure on the gauge").fill("308")
    page.get_by_label("Temperature of the cylinder").fill("20")
    page.get_by_role("button", name="Log 2 fillings").click()
    said = page.get_by_role("status")
    expect(said).to_contain_text("Logged 2 fillings, 308 bar at 20 °C: C0001, C0002.")
    expect(said).to_contain_text("Not logged. C0003 may not be filled: Out of service")
    assert history_of(good).filter(task="fill").count() == 1


@pytest.mark.parametrize("screen", [(WIDE, "light"), (WIDE, "dark"), (PHONE, "light")])
def test_a_photo_of_a_quarter_the_size_still_tells(
    open_page: OpenPage, good: Item, technician: User, tmp_path: Path, screen: Screen
) -> None:
    width, scheme = screen
    page = open_page(width, scheme=scheme)
    begin(page, technician)
    inked: dict[str, int] = {}
    for tag in ("C0001", "C0003"):
        page.goto(f"/filling/?q={tag}")
        picture = tmp_path / f"{tag}.png"
        box = page.locator(".gate").bounding_box()
        assert box
        assert box["width"] > 0.8 * width
        letters = page.locator(".gate h1").evaluate("e => parseFloat(getComputedStyle(e).fontSize)")
        assert letters / 4 >= 14  # at a quarter of the size as large as text here ever is
        page.screenshot(path=picture, clip=box)
        with Image.open(picture) as taken:
            small = taken.convert("L").resize((taken.width // 4, taken.height // 4))
            ground = small.getpixel((small.width - 8, small.height // 2))
            assert isinstance(ground, int)
            inked[tag] = ground
    # The grounds differ by themselves, without a word and without colour.
    assert abs(inked["C0001"] - inked["C0003"]) > 100


def test_the_answers_pass_axe_and_leave_gloves_room(
    open_page: OpenPage, good: Item, technician: User
) -> None:
    looker, page = Looker(), open_page()
    begin(page, technician)
    for path in ("/filling/?q=C0001", "/filling/?q=C0003", "/filling/rack/?c=C0001&q=C0003"):
        page.goto(path)
        looker.look(page, path)
    assert not looker.findings, "\n".join(looker.findings)


def scans(page: Page, *codes: str, apart_ms: int) -> None:
    """Scan one code after the other with as long between them."""
    for number, code in enumerate(codes):
        if number:
            page.wait_for_timeout(apart_ms)
        scan(page, code)


def test_the_same_code_at_once_is_one_scan_and_later_another(
    open_page: OpenPage, good: Item, technician: User
) -> None:
    page = open_page()
    begin(page, technician)
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url) if "q=" in request.url else None)
    scans(page, "C0001", "C0001", apart_ms=30)
    answered(page, "C0001", "FILL")
    page.wait_for_timeout(2000)
    assert len(asked) == 1
    scan(page, "C0001")
    answered(page, "C0001", "FILL")
    page.wait_for_timeout(2000)
    assert len(asked) == 2


def test_two_codes_at_once_are_two_and_none_of_their_keys_is_lost(
    open_page: OpenPage, good: Item, technician: User
) -> None:
    page = open_page()
    begin(page, technician)
    for first, last, words in (
        ("C0001", "C0003", "DO NOT FILL"),
        ("C0003", "C0002", "FILL"),
        ("C0002", "C0001", "FILL"),
    ):
        scans(page, first, last, apart_ms=30)
        answered(page, last, words)
    page.goto("/filling/rack/")
    scans(page, "C0001", "C0003", "C0001", "C0002", apart_ms=30)
    expect(page.get_by_role("heading", name="The rack: 2 of 3 may be filled")).to_be_visible()
    answered(page, "C0002", "FILL")
    # What was scanned stands in the address, and Back takes the last one out.
    page.go_back()
    expect(page.get_by_text("C0001 is in the rack already.")).to_be_visible()
    page.reload()
    expect(page.get_by_role("heading", name="The rack: 1 of 2 may be filled")).to_be_visible()


def test_a_slow_answer_loses_no_scan(open_page: OpenPage, good: Item, technician: User) -> None:
    page = open_page()
    begin(page, technician)

    def slowly(route: Route) -> None:
        page.wait_for_timeout(400)
        route.continue_()

    page.route("**/filling/?q=*", slowly)
    page.evaluate("document.activeElement.blur()")
    scans(page, "C0001", "C0003", apart_ms=30)
    answered(page, "C0003", "DO NOT FILL")


def test_a_scan_after_the_session_ended_asks_to_sign_in(
    open_page: OpenPage, good: Item, technician: User
) -> None:
    page = open_page()
    begin(page, technician)
    page.context.clear_cookies()
    scan(page, "C0001")
    expect(page.get_by_label("Username")).to_be_visible()


def ready_to_log(page: Page, person: User, bar: str) -> None:
    """Ask for C0001, type its reading, and have the next log answered late."""
    begin(page, person)
    scan(page, "C0001")
    answered(page, "C0001", "FILL")
    page.get_by_label("Pressure on the gauge").fill(bar)
    page.get_by_label("Temperature of the cylinder").fill("15")

    def slowly(route: Route) -> None:
        if route.request.method == "POST":
            page.wait_for_timeout(400)
        route.continue_()

    page.route(LOGGING, slowly)


def test_a_scan_while_a_filling_is_logged_is_answered_after_it(
    open_page: OpenPage, good: Item, technician: User
) -> None:
    page = open_page()
    ready_to_log(page, technician, "300")
    button = page.get_by_role("button", name="Log the filling")
    button.evaluate("button => { button.click(); button.click(); }")
    scans(page, "C0003", "C0002", apart_ms=30)
    answered(page, "C0002", "FILL")
    expect(page).to_have_url(re.compile(r"/filling/\?q=C0002$"))
    assert history_of(good).filter(task="fill").count() == 1
    page.go_back()
    answered(page, "C0003", "DO NOT FILL")


def test_a_scan_right_after_logging_leaves_the_words_that_it_was_logged(
    open_page: OpenPage, good: Item, technician: User
) -> None:
    page = open_page()
    ready_to_log(page, technician, "300")
    page.get_by_role("button", name="Log the filling").evaluate("button => button.click()")
    scan(page, "C0002")
    answered(page, "C0002", "FILL")
    expect(page.get_by_role("status")).to_contain_text("Logged: C0001, 300 bar at 15 °C")


def test_a_scan_while_a_filling_is_refused_waits_until_that_is_seen_to(
    open_page: OpenPage, good: Item, technician: User
) -> None:
    page = open_page()
    ready_to_log(page, technician, "330")
    page.get_by_role("button", name="Log the filling").evaluate("button => button.click()")
    scan(page, "C0002")
    expect(page.get_by_role("alert")).to_contain_text("Let it down to 300 bar")
    expect(page.get_by_role("status")).to_contain_text("Scanned C0002.")
    expect(page.get_by_label(SCAN)).to_have_value("C0002")
    expect(page.get_by_label("Pressure on the gauge")).to_have_value("330")
    assert not history_of(good).filter(task="fill").exists()


def test_a_filling_that_could_not_be_sent_is_logged_once_when_the_button_is_pressed_again(
    open_page: OpenPage, good: Item, technician: User
) -> None:
    page = open_page()
    ready_to_log(page, technician, "300")
    page.route(LOGGING, lambda route: route.abort())
    button = page.get_by_role("button", name="Log the filling")
    button.click()
    expect(page.get_by_role("status")).to_contain_text("Not sent")
    expect(page.get_by_label("Pressure on the gauge")).to_have_value("300")
    page.unroute(LOGGING)
    button.click()
    expect(page.get_by_role("status")).to_contain_text("Logged: C0001, 300 bar at 15 °C")
    assert history_of(good).filter(task="fill").count() == 1

"""The bench in a browser: by scanner and keyboard, by phone, without script, without a network.

A17 to A21, D1, D2, D15 to D18, D22 to D29, D35.
"""

import re
import sys
import time
from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.contrib.sessions.models import Session
from playwright.sync_api import Browser, Page, expect
from pytest_django.live_server_helper import LiveServer

from registry.items.models import Item
from registry.sites.clock import today_at
from registry.sites.models import Site
from servicing.bench.models import Batch, Draft
from servicing.ledger.queries.records import history_of
from tests.browser.conftest import PATIENCE_MS, PHONE, Fleet, OpenPage, days_ago, sign_in
from tests.browser.keys import scan, tab_to, write
from tests.browser.looking import Looker
from tests.people import PASSWORD, make_item
from tests.servicing.bench.conftest import calibrate, make_instrument
from tests.work_in_hand import load
from tests.worlds import world_fixture

CRATE = 40
DO_IT = re.compile("^Do it.*tightness test")


@world_fixture
def test_bench(fleet: Fleet, station: Site, technician: User) -> Item:
    """The procedures of masks, and a test bench in calibration."""
    load("masks", "care")
    return make_instrument(station, "B0001", days_ago(station, 30), technician)


def heading(page: Page) -> Any:
    return page.get_by_role("heading", level=1)


def press(page: Page, name: str) -> None:
    """Go to a button with Tab and press it with Enter."""
    tab_to(page, page.get_by_role("button", name=name, exact=True))
    page.keyboard.press("Enter")


def go_to_the_reading(page: Page, mask: Item) -> None:
    """Begin the tightness test of a mask and answer every step before the reading."""
    page.goto(f"/bench/{mask.pk}/tightness-test/")
    page.get_by_label("B0001").check()
    page.get_by_role("button", name="Go to the steps").click()
    for name, then in (
        ("Good", "Speech"),
        ("Good", "Renew"),
        ("Not renewed", "Moisten"),
        ("Done", "Draw"),
    ):
        page.get_by_role("button", name=name, exact=True).click()
        expect(heading(page)).to_contain_text(then)


def test_a_mask_is_tested_and_signed_with_a_scanner_and_the_keyboard_alone(
    open_page: OpenPage, fleet: Fleet, technician: User, test_bench: Item
) -> None:
    mask, page = fleet["overdue"], open_page()
    sign_in(page, technician)
    scan(page, "00123")
    page.wait_for_url(f"**{mask.get_absolute_url()}")
    tab_to(page, page.get_by_role("link", name=DO_IT).first)
    page.keyboard.press("Enter")

    # The instrument is scanned, and that leads to the first step.
    expect(heading(page)).to_contain_text("Choose the day and the instruments")
    scan(page, "B0001")
    expect(heading(page)).to_contain_text("Face piece")
    expect(heading(page)).to_be_focused()
    press(page, "Good")
    expect(heading(page)).to_contain_text("Speech diaphragm")
    press(page, "Good")
    expect(heading(page)).to_contain_text("Renew the exhalation valve disc")
    press(page, "Not renewed")
    expect(heading(page)).to_contain_text("Moisten")
    press(page, "Done")

    # A scan that comes into the reading leaves it alone and sends nothing.
    expect(heading(page)).to_contain_text("Draw 10 mbar")
    reading = page.get_by_label("Leak", exact=False)
    expect(reading).to_be_focused()
    expect(page.get_by_text("Limit: at most 1 mbar.")).to_be_visible()
    write(page, "0,3")
    page.wait_for_timeout(300)  # the hand goes from the keys to the scanner
    scan(page, "00124")
    expect(page.get_by_role("status")).to_contain_text("Scanned 00124")
    expect(reading).to_have_value("0,3")
    reading.focus()
    page.keyboard.press("Enter")
    expect(heading(page)).to_contain_text("Demand-type mask")
    expect(page.get_by_role("status")).to_contain_text("Leak 0,3 mbar: pass, at most 1 mbar.")
    press(page, "Does not apply to this item")
    expect(heading(page)).to_contain_text("Positive-pressure mask")
    press(page, "Does not apply to this item")
    expect(heading(page)).to_contain_text("Take off")
    press(page, "Done")

    # Everything once more before it is signed; a change comes back here with the rest intact.
    expect(heading(page)).to_contain_text("00123, Tightness test of a full mask: pass")
    assert not history_of(mask).exists()
    tab_to(page, page.get_by_role("link", name="Change step 5"))
    page.keyboard.press("Enter")
    expect(reading).to_have_value("0,3")
    reading.fill("0,40")
    page.keyboard.press("Enter")
    expect(heading(page)).to_contain_text("pass")
    press(page, "Sign: passed")
    page.wait_for_url("**/records/1/")
    # The worst stands first, whatever was done; the task just done comes next.
    expect(page.locator(".stamp").nth(1)).to_contain_text("tightness test")
    (record,) = history_of(mask)
    assert record.entry.readings[0].typed == "0,40"
    assert [s.meaning for s in record.signatures.all()] == ["performed"]
    expect(page.get_by_label("Scan or type a tag")).to_be_focused()
    scan(page, "00124")
    page.wait_for_url(f"**{fleet.path('healthy')}")


def test_the_same_is_done_by_phone_without_script(
    open_page: OpenPage, fleet: Fleet, technician: User, test_bench: Item
) -> None:
    mask, page = fleet["overdue"], open_page(PHONE, script=False)
    sign_in(page, technician)
    page.goto(mask.get_absolute_url())
    page.get_by_role("link", name=DO_IT).first.click()
    page.get_by_label("B0001").check()
    page.get_by_role("button", name="Go to the steps").click()
    for name in ("Good", "Good", "Not renewed", "Done"):
        page.get_by_role("button", name=name, exact=True).click()
    expect(page.get_by_text("Wait one minute by the clock")).to_be_visible()
    page.get_by_label("Leak", exact=False).fill("13")
    page.get_by_role("button", name="Save the reading").click()
    expect(page.get_by_role("alert")).to_contain_text("is unusual here")
    page.get_by_label("Leak", exact=False).fill("1,3")
    page.get_by_role("button", name="Yes, that is what was measured").click()
    expect(page.get_by_role("alert")).to_contain_text("1.3 mbar is outside the limit")
    page.get_by_label("What was wrong").fill("exhalation valve")
    page.get_by_role("button", name="Test again: attempt 2").click()
    page.get_by_label("Batch number").fill("7731")
    page.get_by_role("button", name="Renewed", exact=True).click()
    page.get_by_role("button", name="Done", exact=True).click()
    page.get_by_label("Leak", exact=False).fill("0,3")
    page.get_by_role("button", name="Save the reading").click()
    for name in ("Does not apply to this item", "Does not apply to this item", "Done"):
        page.get_by_role("button", name=name, exact=True).click()
    expect(heading(page)).to_contain_text("pass")
    expect(page.get_by_text("Attempt 1: failed, and stays on record")).to_be_visible()
    page.get_by_role("button", name="Sign: passed").click()
    # The disc that was renewed is a record of its own, between the attempts.
    page.wait_for_url("**/records/3/")
    records = history_of(mask).order_by("position")
    assert [(r.task, r.outcome, r.attempt) for r in records] == [
        ("tightness-test", "fail", 1),
        ("disc-renewal", "pass", 1),
        ("tightness-test", "pass", 2),
    ]
    page.reload()
    assert history_of(mask).count() == 3


@pytest.mark.long
def test_a_crate_of_forty_masks_is_logged_by_scans_and_numbers(
    open_page: OpenPage, fleet: Fleet, station: Site, technician: User, test_bench: Item
) -> None:
    made_on = days_ago(station, 700)
    masks = [make_item(station, f"M{n:04}", made_on=made_on) for n in range(1, CRATE + 1)]
    page, scans, numbers, presses = open_page(), 0, 0, 0
    sign_in(page, technician)
    page.goto("/bench/batch/?procedure=mask-tightness-test")
    page.get_by_label("Demand-type mask").check()
    page.get_by_label("Positive-pressure mask").check()
    page.get_by_label("Mask test bench: scan").focus()
    scan(page, "B0001")
    page.wait_for_url("**/bench/batch/*/")
    presses, scans, began = 2, 1, time.monotonic()
    for number, mask in enumerate(masks):
        expect(page.locator("#id_tag")).to_be_focused()
        scan(page, mask.tag)
        scans += 1
        expect(heading(page)).to_contain_text(f"{mask.tag}: read it")
        expect(page.locator("input.reading")).to_be_focused()
        page.keyboard.type(f"0,{number % 9 + 1}")
        page.keyboard.press("Enter")
        numbers += 1
        expect(heading(page)).to_contain_text(f"{number + 1} scanned: {number + 1} pass")
    page.get_by_role("link", name="Check and sign the batch").click()
    expect(page.get_by_role("button", name=f"Sign all {CRATE} records")).to_be_visible()
    for box in page.get_by_role("checkbox").all():
        box.check()
        presses += 1
    page.get_by_role("button", name=f"Sign all {CRATE} records").click()
    presses += 2
    expect(heading(page)).to_contain_text(f"{CRATE} items signed: {CRATE} pass", timeout=60_000)
    took = time.monotonic() - began
    each = (scans + numbers + presses) / CRATE
    sys.stdout.write(
        f"\n{CRATE} masks: {scans} scans, {numbers} numbers with Enter, {presses} presses: "
        f"{each:.2f} interactions a mask, {took / CRATE:.2f} s of the machine a mask\n"
    )
    assert each < 2.5
    assert [history_of(mask).get().entry.readings[0].typed for mask in masks] == [
        f"0,{number % 9 + 1}" for number in range(CRATE)
    ]
    assert Batch.objects.get().signed_at is not None


@pytest.fixture
def offline(browser: Browser, live_server: LiveServer) -> Iterator[Page]:
    """A page whose network can be cut; the browser complains of that in its console."""
    context = browser.new_context(base_url=live_server.url)
    context.set_default_timeout(PATIENCE_MS)
    yield context.new_page()
    context.close()


def test_what_is_typed_without_a_network_stays_and_is_sent_once(
    offline: Page, fleet: Fleet, technician: User, test_bench: Item
) -> None:
    page, mask = offline, fleet["overdue"]
    sign_in(page, technician)
    go_to_the_reading(page, mask)
    page.get_by_label("Leak", exact=False).fill("0,3")
    page.context.set_offline(True)
    page.get_by_role("button", name="Save the reading").click()
    expect(page.get_by_role("status")).to_contain_text("The program can't be reached")
    expect(page.get_by_label("Leak", exact=False)).to_have_value("0,3")
    page.context.set_offline(False)
    page.get_by_role("button", name="Save the reading").click()
    expect(heading(page)).to_contain_text("Demand-type mask")
    assert Draft.objects.get().answers["leak"]["typed"] == "0,3"

    # Signed out and in again, as after a time-out: the work goes on where it was.
    page.get_by_role("button", name="Sign out").click()
    sign_in(page, technician)
    page.get_by_role("link", name="00123: tightness test").click()
    expect(heading(page)).to_contain_text("Demand-type mask")


@pytest.mark.parametrize("script", [False, True], ids=["without script", "with script"])
def test_a_reading_sent_after_the_session_ended_comes_back_to_its_owner_alone(
    open_page: OpenPage,
    fleet: Fleet,
    technician: User,
    manager: User,
    test_bench: Item,
    *,
    script: bool,
) -> None:
    page, mask = open_page(script=script), fleet["overdue"]
    sign_in(page, technician)
    go_to_the_reading(page, mask)
    leak = page.get_by_label("Leak", exact=False)
    leak.fill("0,3")
    Session.objects.all().delete()
    page.get_by_role("button", name="Save the reading").click()
    expect(page.get_by_text("What you typed is not lost")).to_be_visible()

    # Somebody else takes the same screen, asks for the same page, and finds it empty.
    page.get_by_label("Username").fill(manager.username)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    expect(heading(page)).to_contain_text("Choose the day and the instruments")
    expect(page.get_by_text("not saved yet")).to_have_count(0)
    page.get_by_role("button", name="Sign out").click()

    sign_in(page, technician)
    expect(heading(page)).to_contain_text("Draw")
    expect(page.get_by_text("not saved yet")).to_be_visible()
    expect(leak).to_have_value("0,3")
    page.reload()
    expect(leak).to_have_value("0,3")
    page.get_by_role("button", name="Save the reading").click()
    expect(heading(page)).to_contain_text("Demand-type mask")
    expect(page.get_by_role("status").first).to_contain_text("Leak 0,3 mbar: pass")
    assert Draft.objects.get().answers["leak"]["typed"] == "0,3"


@pytest.mark.long
def test_every_page_of_the_bench_can_be_read_and_used(
    open_page: OpenPage, fleet: Fleet, technician: User, manager: User, test_bench: Item
) -> None:
    looker, mask, page = Looker(), fleet["overdue"], open_page()
    sign_in(page, technician)
    path = f"/bench/{mask.pk}/tightness-test/"

    def look(where: str) -> None:
        looker.look(page, where)  # with all that folds open: the menu would lie over the page
        page.locator("details.menu").evaluate("menu => { menu.open = false; }")
        page.set_viewport_size({"width": 1280, "height": 800})
        page.emulate_media(color_scheme="light")

    page.goto(path)
    look("the day and the instruments")
    page.get_by_label("Mask test bench: scan").fill("nothing")
    page.get_by_role("button", name="Go to the steps").click()
    expect(page.get_by_role("alert")).to_be_visible()
    look("an unknown instrument")
    page.get_by_label("Mask test bench: scan").fill("B0001")
    page.get_by_role("button", name="Go to the steps").click()
    expect(heading(page)).to_contain_text("Face piece")
    look("a step by eye")
    page.get_by_role("button", name="Not good").click()
    expect(page.get_by_role("alert")).to_be_visible()
    look("not good without a note")
    for name, then in (
        ("Good", "Speech"),
        ("Good", "Renew"),
        ("Renewed", "Renew"),
        ("Not renewed", "Moisten"),
        ("Done", "Draw"),
    ):
        page.get_by_role("button", name=name, exact=True).click()
        expect(heading(page)).to_contain_text(then)
        if name == "Renewed":  # without its batch number
            expect(page.get_by_role("alert")).to_be_visible()
        if then == "Renew" and name == "Good":
            look("a part to renew")
    look("a reading")
    for typed, said in (
        ("a lot", "is not a number"),
        ("30", "is unusual here"),
        ("1,3", "is outside the limit"),
    ):
        page.get_by_label("Leak", exact=False).fill(typed)
        page.keyboard.press("Enter")
        expect(page.get_by_role("alert").first).to_contain_text(said)
        look(f"a reading that {said}")
    page.get_by_label("What was wrong").fill("W" * 200)
    page.get_by_role("button", name="Stop here and check").click()
    expect(heading(page)).to_contain_text("fail")
    look("the check of a failure")
    page.get_by_role("button", name="Test again").click()
    expect(heading(page)).not_to_contain_text("fail")
    page.goto(f"{path}check/")
    look("the check of work not finished")
    page.goto("/")
    look("the first page with a draft")
    page.goto(mask.get_absolute_url())
    look("an item with a draft")

    page.goto("/bench/batch/")
    look("the choice of a batch")
    page.get_by_role("link", name="Tightness test of a full mask").click()
    expect(page.get_by_role("button", name="Begin the batch")).to_be_visible()
    look("the setting of a batch")
    page.get_by_label("B0001").check()
    page.get_by_role("button", name="Begin the batch").click()
    expect(page.locator("#id_tag")).to_be_visible()
    look("a batch without items")
    page.locator("#id_tag").fill("nothing")
    page.keyboard.press("Enter")
    expect(page.get_by_role("alert")).to_be_visible()
    look("a batch and an unknown tag")
    page.locator("#id_tag").fill("00126")
    page.keyboard.press("Enter")
    expect(heading(page)).to_contain_text("00126")
    look("an item of a batch")
    page.get_by_label("Leak", exact=False).fill("1,3")
    page.keyboard.press("Enter")
    expect(heading(page)).to_contain_text("fail")
    look("a failed item of a batch")
    page.get_by_role("link", name="Check and sign the batch").click()
    expect(page.get_by_role("button", name="Sign all 1 record")).to_be_visible()
    look("the check of a batch")
    for box in page.get_by_role("checkbox").all():
        box.check()
    page.get_by_role("button", name="Sign all 1 record").click()
    expect(heading(page)).to_contain_text("1 item signed")
    look("a signed batch")

    calibrate(test_bench, today_at(test_bench.site) - timedelta(days=0), "fail", technician)
    page.goto(f"/bench/instruments/{test_bench.pk}/")
    expect(heading(page)).to_contain_text("to be tested again")
    look("records in doubt")
    page.get_by_role("region", name="Records in doubt").get_by_role("link").first.click()
    expect(page.get_by_text("In doubt: it was measured with")).to_be_visible()
    look("a record in doubt")
    page.get_by_role("link", name="Back to").click()
    expect(page.get_by_text("is in doubt and to be done again")).to_be_visible()
    look("an item of which a record is in doubt")
    page.goto(test_bench.get_absolute_url())
    look("an instrument in doubt")
    page.goto("/")
    look("a first page with something in doubt")
    other = open_page()
    sign_in(other, manager)
    page = other
    page.goto(f"/bench/types/{mask.type_id}/limits/")
    look("the limits of a type")
    page.get_by_role("button", name="Keep this limit").click()
    expect(page.get_by_role("alert")).to_be_visible()
    look("the limits of a type, with errors")
    page.goto("/")
    page.get_by_role("link", name="Wexalune Bench 3", exact=True).click()
    expect(heading(page)).to_contain_text("Nobody has said yet")
    page.get_by_label("mask test bench").check()
    page.get_by_label("It shows").fill("-30 to 30 mbar")
    page.get_by_label("Why it is said or changed").fill("its plate")
    page.get_by_role("button", name="Keep this").click()
    expect(page.get_by_text("Wexalune Bench 3 serves as mask test bench")).to_be_visible()
    look("the types, with what an instrument serves as")
    assert not looker.findings, "\n".join(looker.findings)

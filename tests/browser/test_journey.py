"""A technician's work, from sign-in to the next scan. D1, D2, D23, D24, D26, D35."""

from datetime import date

from dateutil.relativedelta import relativedelta
from django.contrib.auth.models import User
from playwright.sync_api import Page, expect

from registry.items.models import Item
from registry.sites.clock import today_at
from servicing.ledger.queries.records import history_of
from tests.browser.conftest import PHONE, Fleet, OpenPage, sign_in
from tests.browser.keys import scan, tab_to, write

SIX_MONTHS = relativedelta(months=6)  # full masks, tightness: DGUV G 305-002, annex 2


def moved(page: Page, task: str) -> tuple[str, str]:
    """Return the dates before and after that the check page shows for a task."""
    row = page.get_by_role("row").filter(has_text=task).filter(has_text="moves")
    before, after = row.locator("time").all()
    return before.get_attribute("datetime") or "", after.get_attribute("datetime") or ""


def readings_of(item: Item) -> list[list[str]]:
    return [[r.name, r.typed] for record in history_of(item) for r in record.readings_as_read]


def go_back_and_forth(page: Page) -> None:
    """Go back from what was entered: an empty form waits there, and nothing to enter twice."""
    page.go_back()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Log a service")
    expect(page.get_by_role("button", name="Enter it in the ledger")).to_have_count(0)
    page.go_forward()
    page.wait_for_url("**/records/1/")


def test_a_service_is_logged_with_a_scanner_and_the_keyboard_alone(
    open_page: OpenPage, fleet: Fleet, technician: User
) -> None:
    mask, page = fleet["overdue"], open_page()
    today = today_at(mask.site)
    sign_in(page, technician)

    # The first page waits for a scan, and the scan opens the item.
    expect(page.get_by_label("Scan or type a tag")).to_be_focused()
    scan(page, "00123")
    page.wait_for_url(f"**{mask.get_absolute_url()}")
    expect(page.get_by_role("heading", level=1)).to_contain_text("00123 is not ready")

    # The form, field by field.
    tab_to(page, page.get_by_role("link", name="Log a service"))
    page.keyboard.press("Enter")
    page.wait_for_url("**/service/?task=*")
    tab_to(page, page.get_by_label("Task"))
    write(page, "tight")
    expect(page.get_by_label("Task")).to_have_value("tightness-test")
    expect(page.get_by_label("Done on")).to_have_value(today.isoformat())
    tab_to(page, page.get_by_label("pass:"))
    page.keyboard.press("Space")
    tab_to(page, page.get_by_label("Measured 1"))
    write(page, "leak")
    tab_to(page, page.get_by_label("Value 1, with unit"))
    write(page, "0.30 mbar")
    expect(page.get_by_label("Done by")).to_have_value("Tekla Merrow")
    tab_to(page, page.get_by_role("button", name="Check before entering"))
    page.keyboard.press("Enter")

    # The check page: nothing is written, and what would move is shown.
    expect(page.get_by_role("heading", level=1)).to_contain_text("Check")
    before, after = moved(page, "tightness test")
    assert date.fromisoformat(before) < today
    assert date.fromisoformat(after) == today + SIX_MONTHS
    assert not history_of(mask).exists()

    # "Change something" brings the form back with everything in it.
    tab_to(page, page.get_by_role("button", name="Change something"))
    page.keyboard.press("Enter")
    expect(page.get_by_label("Value 1, with unit")).to_have_value("0.30 mbar")
    expect(page.get_by_label("pass:")).to_be_checked()
    tab_to(page, page.get_by_role("button", name="Check before entering"))
    page.keyboard.press("Enter")
    tab_to(page, page.get_by_role("button", name="Enter it in the ledger"))
    page.keyboard.press("Enter")

    # The confirmation: an address of its own, what is worst first, then the date just moved.
    page.wait_for_url("**/records/1/")
    confirmation = page.url
    stamp = page.locator(".stamp").nth(1)
    expect(stamp).to_contain_text("tightness test")
    expect(stamp.locator("time")).to_have_attribute("datetime", (today + SIX_MONTHS).isoformat())
    expect(stamp.locator(".state-word")).to_have_text("current")
    page.reload()
    expect(page).to_have_url(confirmation)
    assert readings_of(mask) == [["leak", "0.30 mbar"]]

    # Back and again, as after a doubtful network.
    go_back_and_forth(page)
    assert history_of(mask).count() == 1

    # And on with the next scan.
    expect(page.get_by_label("Scan or type a tag")).to_be_focused()
    scan(page, "00124")
    page.wait_for_url(f"**{fleet.path('healthy')}")
    expect(page.get_by_role("heading", level=1)).to_contain_text("00124 has nothing overdue")


def test_the_same_work_is_done_without_script_on_a_phone(
    open_page: OpenPage, fleet: Fleet, technician: User
) -> None:
    mask, page = fleet["overdue"], open_page(PHONE, script=False)
    today = today_at(mask.site)
    sign_in(page, technician)

    page.get_by_label("Scan or type a tag").click()
    scan(page, "00123")
    page.wait_for_url(f"**{mask.get_absolute_url()}")
    page.get_by_role("link", name="Log a service").click()
    page.get_by_label("Task").select_option("tightness-test")
    page.get_by_role("button", name="Check before entering").click()

    # The outcome is missing: said at the top, which has the focus without script too.
    expect(page).to_have_title("Error: Log a service: 00123 - Neckring")
    expect(page.get_by_role("alert")).to_be_focused()
    expect(page.get_by_role("alert")).to_contain_text("Outcome: choose pass or fail.")
    page.get_by_text("pass: done, and found good").click()
    page.get_by_role("button", name="Check before entering").click()

    before, after = moved(page, "tightness test")
    assert date.fromisoformat(before) < today
    assert date.fromisoformat(after) == today + SIX_MONTHS
    assert not history_of(mask).exists()
    page.get_by_role("button", name="Enter it in the ledger").click()

    page.wait_for_url("**/records/1/")
    stamp = page.locator(".stamp").nth(1)
    expect(stamp.locator("time")).to_have_attribute("datetime", (today + SIX_MONTHS).isoformat())
    page.reload()
    go_back_and_forth(page)
    assert history_of(mask).count() == 1

    page.get_by_role("link", name="Scan the next item").click()
    page.get_by_label("Scan or type a tag").click()
    scan(page, "00124")
    page.wait_for_url(f"**{fleet.path('healthy')}")

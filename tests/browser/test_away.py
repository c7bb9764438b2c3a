"""Who is away is warned before being signed out, and may stay. B8."""

from django.contrib.auth.models import User
from playwright.sync_api import expect

from tests.browser.conftest import OpenPage, sign_in


def test_two_minutes_before_the_end_a_press_keeps_the_session(
    open_page: OpenPage, technician: User
) -> None:
    page = open_page()
    page.clock.install()
    sign_in(page, technician)
    page.wait_for_load_state()  # the script has begun to count
    warning = page.get_by_text("You will be signed out in 2 minutes.")
    page.clock.fast_forward("57:00")
    expect(warning).to_have_count(0)
    page.clock.fast_forward("01:30")
    expect(warning).to_be_visible()
    page.get_by_role("button", name="Stay signed in").click()
    expect(warning).to_have_count(0)
    page.clock.fast_forward("58:30")
    expect(warning).to_be_visible()
    page.clock.fast_forward("02:00")
    expect(page.get_by_text("What you typed is still here")).to_be_visible()

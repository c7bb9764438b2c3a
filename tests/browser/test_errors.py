"""A form with errors: said at the top first, at the field in the same words. D19, D20, D21."""

import re

from django.contrib.auth.models import User
from playwright.sync_api import expect

from registry.items.models import Item
from tests.browser.conftest import OpenPage, sign_in
from tests.browser.keys import tab_to

WRONG = ["Tag", "Made on", "Working pressure"]


def test_three_errors_are_summed_up_and_lead_to_their_fields(
    open_page: OpenPage, mask: Item, technician: User
) -> None:
    page = open_page()
    sign_in(page, technician)
    page.goto("/items/add/")
    page.get_by_label("Maker").fill("Pellwright")
    page.get_by_label("Serial").fill("S-00777")
    page.get_by_label("Kind", exact=True).select_option("mask")
    page.get_by_label("Site").select_option(label="ST1 Station one")
    page.get_by_label("Made on").fill("2021-02-29")
    page.get_by_label("Working pressure").fill("three hundred")
    page.get_by_label("Size").fill("L")
    page.get_by_role("button", name="Register the item").click()

    summary = page.get_by_role("alert")
    expect(page).to_have_title("Error: Register an item - Neckring")
    expect(summary).to_be_focused()
    assert page.evaluate("document.querySelector('main :is(.problem, h1)').className") == "problem"
    links = summary.get_by_role("link")
    messages = links.all_inner_texts()
    assert [words.partition(":")[0] for words in messages] == WRONG
    assert "invalid" not in " ".join(messages).lower()

    # Each link leads to its field, which says the same and is tied to what it says.
    for label, words in zip(WRONG, messages, strict=True):
        summary.focus()
        tab_to(page, links.filter(has_text=words))
        page.keyboard.press("Enter")
        field = page.locator("main").get_by_label(label)
        expect(field).to_be_focused()
        expect(field).to_have_attribute("aria-invalid", "true")
        expect(field).to_have_accessible_description(re.compile(re.escape(words)))

    # What was typed is still there, the good and the bad.
    expect(page.get_by_label("Maker")).to_have_value("Pellwright")
    expect(page.get_by_label("Kind", exact=True)).to_have_value("mask")
    expect(page.get_by_label("Made on")).to_have_value("2021-02-29")
    expect(page.get_by_label("Working pressure")).to_have_value("three hundred")
    expect(page.get_by_label("Size")).to_have_value("L")

    page.get_by_label("Tag", exact=True).fill("00777")
    page.get_by_label("Made on").fill("2021-02")
    page.get_by_label("Working pressure").fill("")
    page.get_by_role("button", name="Register the item").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("00777 ")
    expect(page.get_by_label("Scan or type a tag")).to_be_focused()
    assert Item.objects.get(tag="00777").serial == "S-00777"

"""A scanner is a fast keyboard: where its keys land and where not (D1, D2, D4, D5, D18)."""

from urllib.parse import parse_qs, urlsplit

from django.contrib.auth.models import User
from playwright.sync_api import Page, Request, expect

from servicing.ledger.queries.records import history_of
from tests.browser.conftest import Fleet, OpenPage, sign_in
from tests.browser.keys import scan, write


def let_go(page: Page) -> None:
    """Take the focus away from every control."""
    page.evaluate("document.activeElement.blur()")
    assert page.evaluate("document.activeElement === document.body")


def test_a_scan_opens_the_item_wherever_the_focus_is(
    open_page: OpenPage, fleet: Fleet, technician: User
) -> None:
    page = open_page()
    sign_in(page, technician)
    looked_for: list[str] = []

    def note(request: Request) -> None:
        if "/find/" in request.url:
            looked_for.extend(parse_qs(urlsplit(request.url).query)["q"])

    page.on("request", note)
    # From the body, from a link, with a tabulator behind it, and with carriage return and
    # line feed behind it, which are two keys and one scan.
    for begin, tag, ends in (
        (let_go, "00123", ["Enter"]),
        (lambda page: page.get_by_role("link", name="Rules").focus(), "00124", ["Enter"]),
        (let_go, "C0041", ["Tab"]),
        (let_go, "C0042", ["Enter", "Enter"]),
        (lambda page: page.get_by_label("Scan or").focus(), "00126", ["Enter", "Enter"]),
    ):
        begin(page)
        scan(page, tag, *ends)
        page.wait_for_url("**/items/*/")
        expect(page.get_by_role("heading", level=1)).to_contain_text(f"{tag} ")
        expect(page.get_by_label("Scan or type a tag")).to_be_focused()
        expect(page.get_by_label("Scan or type a tag")).to_have_value("")
        page.goto("/due/")
    assert looked_for == ["00123", "00124", "C0041", "C0042", "00126"]

    # A hand is slower, and sets nothing off: no letter is a shortcut.
    here = page.url
    let_go(page)
    write(page, "sdf/?00123")
    page.keyboard.press("Enter")
    expect(page.get_by_label("Scan or type a tag")).to_have_value("")
    assert page.evaluate("document.activeElement === document.body")
    assert page.url == here


def test_a_scan_leaves_a_half_filled_service_as_it_is(
    open_page: OpenPage, fleet: Fleet, technician: User
) -> None:
    mask, page = fleet["overdue"], open_page()
    sign_in(page, technician)
    page.goto(f"{mask.get_absolute_url()}service/?task=cleaning")
    here = page.url
    value, note = page.get_by_label("Value 1, with unit"), page.get_by_label("Note")
    page.get_by_label("pass:").check()
    page.get_by_label("Measured 1").fill("leak")
    value.fill("1.10 mbar")
    status, field = page.get_by_role("status"), page.get_by_label("Scan or type a tag")
    expect(status).to_have_text("")  # it is there before there is something to say

    # In a reading, a choice and on a button: nothing changes, the tag waits above.
    for focus in (value, page.get_by_label("Task"), page.get_by_role("button", name="Check")):
        focus.focus()
        scan(page, "00124")
        expect(status).to_contain_text("Scanned 00124. Nothing in this form was changed.")
        expect(field).to_have_value("00124")
        expect(focus).to_be_focused()
        field.fill("")
        page.evaluate("document.getElementById('status').replaceChildren()")
    expect(value).to_have_value("1.10 mbar")
    expect(page.get_by_label("Task")).to_have_value("cleaning")

    # From the body too, for there is work on the page that is not saved.
    let_go(page)
    scan(page, "00124")
    expect(status).to_contain_text("Scanned 00124.")

    # A note is text: what is typed or scanned there stays there.
    field.fill("")
    note.focus()
    scan(page, "SN-4711")
    write(page, "a")
    expect(note).to_have_value("SN-4711\na")
    expect(field).to_have_value("")

    assert page.url == here
    assert not history_of(mask).exists()

    # The tag that waits is opened on purpose only.
    field.fill("00124")
    page.get_by_role("button", name="Find").click()
    page.wait_for_url(f"**{fleet.path('healthy')}")


def test_an_unknown_tag_is_shown_as_read_with_what_is_near_it(
    open_page: OpenPage, fleet: Fleet, technician: User, auditor: User
) -> None:
    page = open_page()
    sign_in(page, technician)
    scan(page, "123")
    page.wait_for_url("**/find/?q=123")
    expect(page.get_by_role("heading", level=1)).to_have_text("Nothing carries the mark 123")
    expect(page.get_by_text("That is what was read, 3 characters.")).to_be_visible()
    near = page.get_by_role("heading", name="Did you mean").locator("+ ul > li")
    said = " ".join(near.all_inner_texts()[0].split())
    assert said.startswith("00123 mask, Pellwright Vizard, serial S-00123")
    assert said.endswith("only zeros in front differ")
    expect(page.get_by_role("link", name="Register 123")).to_have_count(0)

    # Zeros in front stay, on the way to the register too; nothing is taken without asking.
    scan(page, "000900")
    page.wait_for_url("**/find/?q=000900")
    expect(page.get_by_text("That is what was read, 6 characters.")).to_be_visible()
    page.get_by_role("link", name="Register 000900").click()
    expect(page.get_by_label("Tag", exact=True)).to_have_value("000900")

    # Markup in a code is text.
    page.goto("/find/?q=<b>1</b>")
    expect(page.get_by_role("heading", level=1)).to_have_text("Nothing carries the mark <b>1</b>")

    reader = open_page()
    sign_in(reader, auditor)
    reader.goto("/find/?q=123")
    expect(reader.get_by_role("link", name="00123")).to_be_visible()
    expect(reader.get_by_role("link", name="Register")).to_have_count(0)

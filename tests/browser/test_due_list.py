"""The list of what is due: a sentence, an order, an address, a paper. D18, D31, D36."""

import io
import re
from collections import Counter

import pytest
from django.contrib.auth.models import User
from playwright.sync_api import Page, expect
from pypdf import PdfReader

from registry.sites.models import Site
from tests.browser.conftest import Fleet, OpenPage, days_ago, sign_in
from tests.browser.keys import tab_to, write
from tests.people import make_item
from tests.worlds import world_fixture

SIZES_PT = {"Letter": (612, 792), "A4": (595, 842)}
HEADER = "Due Tag Kind Task Site Source Counted from"
NAVIGATION = (
    "Skip to",
    "Scan or type",
    "Find",
    "Work",
    "Items",
    "Types",
    "Rules",
    "Sign out",
    "Sort by",
    "Previous",
    "Next",
    "Print this list",
    "YYYY",
)
SENTENCE = "All tasks of every mask at all sites that are overdue"
PRINTED = r"Printed \d+ \w+ 20\d\d, \d\d:\d\d \(Europe/Vienna\) by Manfrid Merrow, manager"
COLOURS = """
() => ['body', 'main'].map(name => getComputedStyle(document.querySelector(name)))
  .map(style => [style.color, style.backgroundColor])
"""


@world_fixture
def stock(fleet: Fleet, station: Site) -> None:
    """Enough old masks for two pages of overdue obligations."""
    for number in range(15):
        made_on = days_ago(station, 2000 + 20 * number)
        make_item(station, f"M{number:03}", made_on=made_on, size="M")


def rows(page: Page) -> list[list[str]]:
    """Return the rows of the list as a reader sees them."""
    page.wait_for_load_state()  # all of them, and not those that have come so far
    found: list[list[str]] = page.locator("table.list tbody tr").evaluate_all(
        "rows => rows.map(row => [...row.cells].map(cell => cell.innerText))"
    )
    return found


def test_a_filtered_and_sorted_list_is_an_address_to_pass_on(
    open_page: OpenPage, stock: None, manager: User, auditor: User
) -> None:
    page = open_page()
    sign_in(page, manager)
    page.goto("/due/")

    # The sentence is edited with the keyboard.
    tab_to(page, page.get_by_label("Kind"))
    write(page, "mask")
    tab_to(page, page.get_by_label("State"))
    write(page, "over")
    tab_to(page, page.get_by_label("up to"))
    write(page, "31 Dec 2026")
    tab_to(page, page.get_by_role("button", name="Show"))
    page.keyboard.press("Enter")
    page.wait_for_url("**state=overdue**")
    expect(page.get_by_label("Kind")).to_have_value("mask")
    expect(page.get_by_label("State")).to_have_value("overdue")
    count = int(page.locator("caption .count").inner_text().split()[0])
    assert count > 50
    expect(page.get_by_role("heading", level=1)).to_contain_text(f"{count} obligations")

    # By tag, then by tag the other way round.
    for arrow in ("ascending", "descending"):
        tab_to(page, page.get_by_role("link", name="Sort by Tag"))
        page.keyboard.press("Enter")
        expect(page.locator(f"th[aria-sort={arrow}]")).to_contain_text("Tag")
        tags = [row[1] for row in rows(page)]
        assert tags == sorted(tags, reverse=arrow == "descending")
        assert len(tags) == 50
    first_page = page.url

    page.get_by_role("link", name="Next").press("Enter")
    expect(page.get_by_text("page 2 of 2")).to_be_visible()
    seen = rows(page)
    assert len(seen) == count - 50
    assert {(row[2], re.search("overdue", row[0]) is not None) for row in seen} == {("mask", True)}
    for part in ("kind=mask", "state=overdue", "sort=-tag", "page=2"):
        assert part in page.url

    # Somebody else opens the address and sees the same; Back leads to page 1.
    other = open_page()
    sign_in(other, auditor)
    other.goto(page.url)
    assert rows(other) == seen
    page.go_back()
    expect(page).to_have_url(first_page)
    expect(page.get_by_text("page 1 of 2")).to_be_visible()


def printed(page: Page, paper: str) -> list[str]:
    """Print the open page; return the text of each sheet, with a space between words."""
    reader = PdfReader(io.BytesIO(page.pdf(format=paper)))
    for sheet in reader.pages:
        size = (sheet.mediabox.width, sheet.mediabox.height)
        assert size == pytest.approx(SIZES_PT[paper], abs=1.5)
    return [" ".join(sheet.extract_text().split()) for sheet in reader.pages]


def test_the_list_prints_with_its_header_on_every_page(
    open_page: OpenPage, stock: None, manager: User
) -> None:
    page = open_page(scheme="dark")
    sign_in(page, manager)
    page.goto("/due/?state=overdue&kind=mask")
    tags = [row[1] for row in rows(page)]
    for paper in SIZES_PT:
        texts = printed(page, paper)
        assert len(texts) > 1
        lists = [text for text in texts if re.search(r"\bM\d{3}\b", text)]
        assert all(HEADER in text for text in lists), paper

    # All of the rows, what was asked, how much of it this is, when and by whom it was made.
    whole = " ".join(texts)
    assert {tag: len(re.findall(rf"\b{tag}\b", whole)) for tag in tags} == Counter(tags)
    assert "Show all tasks of mask overdue at all sites" in whole
    assert "page 1 of 2" in whole
    for text in lists:  # on each sheet of the list
        assert f"{SENTENCE}. Rows 1 to 50 of " in text
        assert re.search(PRINTED, text)
    for number, text in enumerate(texts, 1):
        assert f"{number} / {len(texts)}" in text
    # A row is as low as its longest text lets it be.
    assert max(len(re.findall(r"\bM\d{3}\b", text)) for text in lists) >= 22
    assert "Manfrid Merrow, manager" in whole
    assert re.search(
        r"This page was made on \d+ \w+ 20\d\d, \d\d:\d\d\. Times are those of ", whole
    )
    assert "somebody competent must check" in whole.lower()
    for word in NAVIGATION:
        assert word not in whole, word

    # Black on white, whatever the screen was.
    page.emulate_media(media="print", color_scheme="dark")
    colours = page.evaluate(COLOURS)
    assert colours == [["rgb(0, 0, 0)", "rgb(255, 255, 255)"]] * 2

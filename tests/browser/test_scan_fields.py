"""Good, bad, good into every field that takes scans: none has to be cleared by hand. D2, D4, D18.

tests/servicing/bench/test_scan_fields.py lists the fields, and tries the same without script.
"""

from django.contrib.auth.models import User
from playwright.sync_api import Locator, Page, expect

from registry.sites.models import Site
from tests.browser.conftest import Fleet, OpenPage, days_ago, sign_in
from tests.browser.keys import scan
from tests.people import make_cylinder, make_filling_point, make_item
from tests.servicing.bench.conftest import make_instrument
from tests.work_in_hand import load

BAD = "WRONG123"


def let_go(page: Page) -> None:
    page.evaluate("document.activeElement.blur()")


def refused(page: Page, field: Locator) -> None:
    """Expect the bad code in the message, and the field empty and at hand."""
    expect(page.get_by_role("alert").first).to_contain_text(BAD)
    expect(field).to_have_value("")
    expect(field).to_be_focused()


def test_good_bad_good_at_the_bench(
    open_page: OpenPage, fleet: Fleet, station: Site, technician: User
) -> None:
    load("masks", "care")
    make_instrument(station, "B0001", days_ago(station, 30), technician)
    make_item(station, "M0002", made_on=days_ago(station, 90))
    page = open_page()
    sign_in(page, technician)

    # The instrument of a batch, from wherever the focus is.
    page.goto("/bench/batch/?procedure=mask-tightness-test")
    instrument = page.get_by_label("scan or type its tag")
    scan(page, BAD)
    refused(page, instrument)
    let_go(page)
    scan(page, BAD)
    refused(page, instrument)
    page.get_by_label("Done on").focus()
    scan(page, "B0001")
    page.wait_for_url("**/bench/batch/*/")

    # The next item: good, bad, bad, good, the last from the reading of the first.
    field = page.get_by_label("Scan the next mask")
    scan(page, "00124")
    heading = page.get_by_role("heading", level=1)
    expect(heading).to_have_text("00124: read it")
    scan(page, BAD)
    refused(page, field)
    let_go(page)
    scan(page, BAD)
    refused(page, field)
    scan(page, "M0002")
    expect(heading).to_have_text("M0002: read it")

    # A number of a new part is no code of ours; one scanned after another takes its place.
    page.get_by_text("Something is not as with the others").click()
    part = page.get_by_label("renewed: batch number").first
    part.focus()
    scan(page, BAD, "Tab")
    part.focus()
    scan(page, "LOT7731", "Tab")
    expect(part).to_have_value("LOT7731")

    # The instrument of one item's service.
    page.goto(f"/bench/{fleet['overdue'].pk}/tightness-test/?step=setting")
    scan(page, BAD)
    refused(page, page.get_by_label("scan or type its tag"))
    let_go(page)
    scan(page, "B0001")
    expect(heading).to_contain_text("Face piece")

    # A part of a set, though the focus went astray.
    page.goto(f"{fleet.path('set')}parts/")
    field = page.get_by_label("Scan the part that goes in")
    scan(page, BAD)
    refused(page, field)
    let_go(page)
    scan(page, "00124")
    expect(page.get_by_role("status")).to_contain_text("00124 is in S031 as mask")


def test_good_bad_good_elsewhere(
    open_page: OpenPage, fleet: Fleet, station: Site, technician: User
) -> None:
    make_filling_point(station, technician)
    make_cylinder(station, "C0002", technician)
    page = open_page()
    sign_in(page, technician)
    heading = page.get_by_role("heading", level=1)

    # The field above every page: a code that is held there gives way to the next one.
    page.goto(f"{fleet.path('overdue')}service/")
    page.get_by_label("Note").fill("half")
    page.get_by_label("Done on").focus()
    scan(page, BAD)
    field = page.get_by_label("Scan or type a tag")
    expect(field).to_have_value(BAD)
    field.focus()
    page.keyboard.press("End")
    scan(page, BAD[::-1])
    expect(heading).to_have_text(f"Nothing carries the mark {BAD[::-1]}")
    scan(page, "00124")
    expect(heading).to_contain_text("00124 ")

    for path, good, words in (
        ("/filling/", "C0001", "Which compressor?: C0001"),
        ("/filling/rack/", "C0002", "Which compressor?: C0002"),
    ):
        page.goto(path)
        for code, said in ((good, words), (BAD, f"DO NOT FILL: {BAD}"), (good, words)):
            scan(page, code)
            if path == "/filling/" or code == BAD:
                expect(heading).to_have_text(said)
        expect(page.get_by_label("Scan or type")).to_have_value("")

    # A list: what is good stays in it.
    page.goto("/retests/add/")
    page.get_by_label("Test house").fill("Ferrule")
    lines = page.get_by_label("Cylinders")
    lines.focus()
    scan(page, "C0001")
    scan(page, BAD)
    page.get_by_role("button", name="Begin it").click()
    expect(page.get_by_role("alert")).to_contain_text(BAD)
    expect(lines).to_have_value("C0001\n")
    expect(lines).to_be_focused()
    scan(page, "C0002")
    page.get_by_role("button", name="Begin it").click()
    expect(heading).to_contain_text("2 cylinders")

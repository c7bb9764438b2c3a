"""The filling point's pages: the answer first, nothing lost, and the same few queries."""

import re
from datetime import timedelta
from decimal import Decimal

import pytest
from django.contrib.auth.models import User
from django.db import connection
from django.test.utils import CaptureQueriesContext

from registry.items.models import Item
from registry.sites.clock import today_at
from registry.sites.models import Site
from servicing.desk.filling.views.rack import MOST
from servicing.due.models import StoredObligation
from servicing.filling.actions import log_fill
from servicing.ledger.queries.records import history_of
from servicing.rules.pure.durations import add_months
from tests.people import make_compressor, make_cylinder, make_item, passed, signed_in
from tests.servicing.filling.conftest import FULL, KEY, Point


def heading(page: str) -> str:
    found = re.search(r"<h1.*?</h1>", page, re.S)
    assert found
    return re.sub(r"<.*?>", "", found[0], flags=re.S).replace("&nbsp;", " ").strip()


def sheet(page: str) -> str:
    """Return the words of the sheet."""
    inside = page.split('id="sheet"')[1].split("</main>", maxsplit=1)[0]
    return " ".join(re.sub(r"<.*?>", " ", inside, flags=re.S).split())


def ask(point: Point, query: str) -> str:
    answer = point.client().get(f"/filling/?{query}")
    assert answer.status_code == 200
    return answer.content.decode()


def test_a_good_cylinder_is_answered_with_fill_and_the_pressure(point: Point) -> None:
    page = ask(point, "q=C0001")
    assert heading(page) == "FILL: C0001"
    assert "C0001 to 300 bar" in sheet(page)
    assert "40 °C 341 bar" in sheet(page)
    assert "Log the filling" in page
    assert re.search(r'id="scan"[^>]*value=', page) is None  # the field is empty again


def test_without_a_compressor_nothing_is_filled(point: Point) -> None:
    page = signed_in(point.technician).get("/filling/?q=C0001").content.decode()
    # That is not held against the cylinder: it has no answer yet.
    assert heading(page) == "Which compressor?: C0001"
    assert "DO NOT FILL" not in sheet(page)
    assert "C0001 has no answer yet" in sheet(page)
    assert "P1, Stourmund Bellow, Station one: air test good until" in sheet(page)
    assert "Log the filling" not in page


def test_scanning_a_compressor_chooses_it_for_the_session(point: Point) -> None:
    client = signed_in(point.technician)
    page = client.get("/filling/?q=P1", follow=True).content.decode()
    assert "Filling from compressor P1 from now on." in page
    assert heading(client.get("/filling/?q=C0001").content.decode()) == "FILL: C0001"
    # The cylinder that was asked about first has its answer at once.
    other = signed_in(point.technician)
    waiting = other.get("/filling/?q=C0001").content.decode()
    assert '<input type="hidden" name="next" value="C0001">' in waiting
    page = other.get("/filling/?q=P1&next=C0001", follow=True).content.decode()
    assert heading(page) == "FILL: C0001"
    rack = client.get("/filling/rack/?c=C0001&q=P1")
    assert (rack.status_code, rack["Location"]) == (302, "/filling/rack/?c=C0001")
    gone = client.post("/filling/compressor/", {"compressor": "999999"}, follow=True)
    assert "Choose a compressor from the list" in gone.content.decode()


def test_an_asked_pressure_above_the_rating_is_a_no_and_stays_asked(point: Point) -> None:
    page = ask(point, "q=C0001&bar=330")
    assert heading(page) == "DO NOT FILL: C0001"
    assert "330 bar asked for; its working pressure is 300 bar." in sheet(page)
    assert '<input type="hidden" name="bar" value="330">' in page
    assert "C0001 to 200 bar" in sheet(ask(point, "q=C0001&bar=200"))
    bad = point.client().get("/filling/?bar=lots")
    assert bad.status_code == 422
    assert "lots" in bad.content.decode()


@pytest.mark.parametrize(
    ("code", "word"),
    [("00999", "Unknown code"), ("00123", "Not a cylinder"), ("<b>1</b>", "Unknown code")],
)
def test_what_is_no_cylinder_of_ours_is_a_no(
    point: Point, mask: Item, code: str, word: str
) -> None:
    page = ask(point, f"q={code}")
    assert heading(page).startswith("DO NOT FILL")
    assert word in sheet(page)
    assert "<b>1</b>" not in page


def test_a_near_mark_is_offered_and_never_taken(point: Point) -> None:
    page = ask(point, "q=c0001")
    assert heading(page) == "DO NOT FILL: c0001"
    assert 'href="/filling/?q=C0001"' in page


def test_two_makers_with_one_serial_are_a_no(point: Point, station: Site) -> None:
    for maker in ("Bregel", "Castrum"):
        make_item(station, f"T-{maker}", "cylinder", maker=maker, serial="777")
    page = ask(point, "q=777")
    assert heading(page) == "DO NOT FILL: 777"
    assert "T-Bregel" in page


@pytest.fixture
def overdue(point: Point) -> Item:
    """A cylinder filled in time, whose retest fell due ten days ago."""
    item = make_cylinder(point.site, "C0009", point.technician)
    log_fill(
        item=item,
        compressor=point.compressor,
        reading=FULL,
        user=point.technician,
        entry_key=KEY,
    )
    return item


def test_what_was_filled_in_time_may_be_used_up_and_says_so_in_both_places(
    overdue: Item, point: Point, monkeypatch: pytest.MonkeyPatch
) -> None:
    today = today_at(point.site)
    later = add_months(today, 61)
    for module in ("filling.queries.today_in", "due.queries.rows.today_in"):
        monkeypatch.setattr(f"servicing.{module}", lambda zone: later)
    page = sheet(ask(point, "q=C0009"))
    assert "Retest overdue" in page
    assert "The air inside: ask before it is used up." in page
    assert f"Filled on {today.day} {today:%b %Y}, before its" in page
    assert "ADR 4.1.6.10" in page
    open_page = point.client().get(f"{overdue.get_absolute_url()}?on={later}")
    assert "The air inside: ask before it is used up." in sheet(open_page.content.decode())


def test_a_reading_is_logged_and_the_next_one_can_be_scanned(point: Point) -> None:
    client = point.client()
    page = client.get("/filling/?q=C0001").content.decode()
    key = re.search(r'name="key" value="(\w+)"', page)
    assert key
    form = {
        "item": point.cylinder.pk,
        "key": key[1],
        "compressor": point.compressor.pk,
        "pressure_bar": "317",
        "at_c": "25,5",
    }
    for _ in range(2):  # a double press makes one record
        answer = client.post("/filling/", form, follow=True)
        assert answer.redirect_chain == [("/filling/", 302)]
        assert "Logged: C0001, 317 bar at 25.5 °C, which settles to 300 bar" in (
            answer.content.decode()
        )
    assert history_of(point.cylinder).filter(task="fill").count() == 1


def test_a_reading_too_high_comes_back_as_typed_and_nothing_is_written(point: Point) -> None:
    client = point.client()
    form = {
        "item": point.cylinder.pk,
        "key": KEY,
        "compressor": point.compressor.pk,
        "pressure_bar": "330",
        "at_c": "15",
    }
    answer = client.post("/filling/", form)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "Sent back</b> to be put right" in page
    assert "Let it down to 300 bar at that temperature" in page
    assert "UN P200(4)" in page
    assert 'value="330"' in page
    assert heading(page) == "FILL: C0001"
    assert client.post("/filling/", {**form, "pressure_bar": "many"}).status_code == 422
    assert client.post("/filling/", {**form, "item": "x"}).status_code == 404
    assert not history_of(point.cylinder).filter(task="fill").exists()


def test_a_refused_filling_can_not_be_logged_by_a_form_kept_open(point: Point) -> None:
    client = point.client()
    form = {
        "item": point.cylinder.pk,
        "key": KEY,
        "compressor": point.compressor.pk,
        "pressure_bar": "300",
        "at_c": "15",
    }
    passed(point.cylinder, "external-inspection", today_at(point.site), point.technician, "fail")
    answer = client.post("/filling/", form)
    assert answer.status_code == 422
    assert heading(answer.content.decode()) == "DO NOT FILL: C0001"
    assert "Log the filling" not in answer.content.decode()
    stale = make_compressor(point.site, "P2", point.technician, days_ago=200)
    other = make_cylinder(point.site, "C0010", point.technician)
    answer = client.post("/filling/", {**form, "item": other.pk, "compressor": stale.pk})
    assert answer.status_code == 422
    assert "Air test overdue" in answer.content.decode()
    # Without a compressor in the form the one of the session does not step in unseen.
    answer = client.post("/filling/", {**form, "item": other.pk, "compressor": ""})
    assert answer.status_code == 422
    for item in (point.cylinder, other):
        assert not history_of(item).filter(task="fill").exists()


def test_an_auditor_looks_and_logs_nothing(point: Point, auditor: User) -> None:
    client = signed_in(auditor)
    client.get("/filling/?q=P1")
    page = client.get("/filling/?q=C0001").content.decode()
    assert heading(page) == "FILL: C0001"
    assert "Log the filling" not in page
    assert client.post("/filling/", {"item": point.cylinder.pk}).status_code == 403
    assert client.post("/filling/rack/", {"c": "C0001"}).status_code == 403


def test_a_rack_grows_scan_by_scan_and_a_code_twice_is_one_cylinder(point: Point) -> None:
    make_cylinder(point.site, "C0002", point.technician)
    client = point.client()
    assert "1 of 1" in sheet(client.get("/filling/rack/?q=C0001").content.decode())
    two = client.get("/filling/rack/?c=C0001&q=C0002").content.decode()
    assert heading(two) == "FILL: C0002"
    assert two.count('name="c" value="C0001"') == 2  # for the next scan, and for the log
    twice = sheet(client.get("/filling/rack/?c=C0001&c=C0001&q=C0001").content.decode())
    assert "C0001 is in the rack already." in twice
    assert "1 of 1 may be filled" in twice
    unknown = client.get("/filling/rack/?c=C0001&q=nothing").content.decode()
    assert heading(unknown) == "DO NOT FILL: nothing"
    assert 'name="c" value="nothing"' not in unknown


def test_a_full_rack_takes_no_more(point: Point) -> None:
    for number in range(MOST):
        make_item(point.site, f"F{number:03}", "cylinder")
    query = "&".join(f"c=F{number:03}" for number in range(MOST))
    page = sheet(point.client().get(f"/filling/rack/?{query}&q=C0001").content.decode())
    assert f"The rack is full with {MOST} cylinders; C0001 was not added." in page


def test_a_rack_is_logged_in_one_go_and_the_refused_are_named(point: Point) -> None:
    weak = make_cylinder(
        point.site,
        "C0002",
        point.technician,
        working_pressure_bar=Decimal(200),
        test_pressure_bar=Decimal(300),
    )
    make_item(point.site, "C0003", "cylinder")
    client = point.client()
    page = client.get("/filling/rack/?c=C0001&c=C0002&c=C0003").content.decode()
    assert "The ratings differ: fill to the lowest, 200 bar." in sheet(page)
    form = {
        "c": ["C0001", "C0002", "C0003"],
        "key": KEY,
        "compressor": point.compressor.pk,
        "pressure_bar": "300",
        "at_c": "15",
    }
    answer = client.post("/filling/rack/", form, follow=True)
    words = " ".join(answer.content.decode().split())
    assert "Logged 1 filling, 300 bar at 15 °C: C0001." in words
    assert "Not logged. C0002 may not be filled: 300 bar at 15 °C is more than" in words
    assert "Not logged. C0003 may not be filled:" in words
    assert history_of(point.cylinder).filter(task="fill").count() == 1
    assert not history_of(weak).filter(task="fill").exists()
    none = client.post("/filling/rack/", {**form, "c": ["C0003"], "key": "y" * 32})
    assert none.status_code == 422
    assert "C0003 may not be filled" in none.content.decode()
    empty = client.post("/filling/rack/", {**form, "c": [], "key": "w" * 32})
    assert "The rack is empty" in empty.content.decode()


def test_the_service_form_does_not_offer_fill(point: Point) -> None:
    page = point.client().get(f"{point.cylinder.get_absolute_url()}service/").content.decode()
    assert '<option value="fill"' not in page
    assert '<option value="use"' in page


def test_how_long_it_lasts_says_real_and_ideal(point: Point) -> None:
    page = sheet(point.client().get("/filling/air/?capacity=6.8&pressure=300").content.decode())
    assert "36 minutes to the warning, 45 to empty" in page
    for figure in ("1826", "2040", "36.3", "41.7", "45.6", "51.0", "41.0", "2.25"):
        assert figure in page, "G1 of the worked examples, CoolProp 8.0.0"
    assert "breathed at 40 L/min" in page
    bad = point.client().get("/filling/air/?capacity=x&pressure=300")
    assert bad.status_code == 422


def queries_of(point: Point, path: str) -> int:
    client = point.client()
    client.get(path)  # what is loaded once is loaded
    with CaptureQueriesContext(
        connection,
    ) as seen:
        assert client.get(path).status_code == 200
    return len(seen)


def test_the_number_of_queries_depends_neither_on_the_register_nor_on_the_rack(
    point: Point,
) -> None:
    one = queries_of(point, "/filling/?q=C0001")
    rack_of_one = queries_of(point, "/filling/rack/?c=C0001")
    for number in range(20):
        make_cylinder(point.site, f"Q{number:03}", point.technician)
    assert StoredObligation.objects.count() > 60
    assert queries_of(point, "/filling/?q=C0001") == one
    query = "&".join(f"c=Q{number:03}" for number in range(20))
    assert queries_of(point, f"/filling/rack/?{query}") == rack_of_one
    assert one <= 22


def test_the_day_at_the_cylinders_own_site_counts(point: Point, valley: Site) -> None:
    """Kiritimati is a day ahead of Vienna for part of each day, and never behind."""
    far = Site(code="FAR", name="Far", parent=valley, timezone="Pacific/Kiritimati")
    far.save()
    there = today_at(far)
    item = make_cylinder(far, "C0011", point.technician)
    form = {
        "item": item.pk,
        "key": KEY,
        "compressor": point.compressor.pk,
        "pressure_bar": "300",
        "at_c": "15",
    }
    point.client().post("/filling/", form)
    record = history_of(item).get(task="fill")
    assert record.done_on in (there, there + timedelta(days=1))

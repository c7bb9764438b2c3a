"""Every place that takes a scanned tag offers what a near miss means by one press: D4, D5, D8.

Nothing is ever taken by itself, and Enter after the next scan presses the form's own button.
"""

import io
import re
from datetime import date

import pytest
from django.contrib.auth.models import User
from django.core.management import CommandError, call_command

from registry.items.models import Item
from registry.sets.models import Fitting
from registry.sites.models import Site
from servicing.away.models import Consigned
from servicing.bench.models import Draft
from tests.people import make_cylinder, make_item, signed_in
from tests.servicing.bench.test_batches import Crate


def presses(page: str) -> list[tuple[str, str]]:
    """Return the submit buttons of the form that a near miss stands in, in their order."""
    for form in re.findall(r"<form.*?</form>", page, re.S):
        if "did you mean" in form.casefold():
            buttons = re.findall(r"<button[^>]*?>", form)
            named = (re.search(r'name="(.*?)" value="(.*?)"', each) for each in buttons)
            return [(each[1], each[2]) if each else ("", "") for each in named]
    return []


def test_a_batch_offers_the_mask_that_was_meant(technician: User, test_bench: Item) -> None:
    mask = make_item(test_bench.site, "M001", made_on=date(2022, 1, 1))
    crate = Crate(technician, test_bench)
    refused = crate.scan("m01")
    page = refused.content.decode()
    assert (refused.status_code, Draft.objects.count()) == (422, 0)
    assert presses(page) == [("", ""), ("tag", "M001")]
    assert "Did you mean M001?" in page
    assert crate.scan("M001")["Location"] == f"{crate.path}?item={mask.pk}"


def test_an_instrument_is_offered_where_an_instrument_is_needed(
    technician: User, test_bench: Item, today: date
) -> None:
    make_item(test_bench.site, "BO-1", made_on=date(2022, 1, 1))  # a mask is no instrument
    client = signed_in(technician)
    start = "/bench/batch/?procedure=mask-tightness-test"
    sent = {"scan_mask-test-bench": "b1", "done_on": today.isoformat()}
    page = client.post(start, sent).content.decode()
    assert presses(page)[1:] == [("scan_mask-test-bench", test_bench.tag)]
    mask = make_item(test_bench.site, "M001", made_on=date(2022, 1, 1))
    bench = f"/bench/{mask.pk}/tightness-test/?step=setting"
    page = client.post(bench, {**sent, "step": "setting"}).content.decode()
    assert ("scan_mask-test-bench", test_bench.tag) in presses(page)[1:]


def test_a_set_offers_the_part_that_was_meant(station: Site, technician: User) -> None:
    whole = make_item(station, "S001", "set", made_on=date(2020, 1, 1))
    make_item(station, "M001", made_on=date(2022, 1, 1))
    path = f"/items/{whole.pk}/parts/"
    client = signed_in(technician)
    key = client.get(path).context["form"]["key"].value()
    page = client.post(path, {"key": key, "tag": "M-1"}).content.decode()
    assert presses(page) == [("", ""), ("tag", "M001")]
    assert not Fitting.objects.exists()


def test_a_consignment_puts_a_line_right_by_one_press(station: Site, technician: User) -> None:
    for tag in ("C0001", "C0002"):
        make_cylinder(station, tag, technician)
    client = signed_in(technician)
    sent = {"key": "k", "from_site": station.pk, "house": "House", "tags": "\nC0001\nCOO2\n"}
    page = client.post("/retests/add/", sent).content.decode()
    assert "Not in the register: COO2" in page
    assert presses(page)[1:] == [("instead", "1 C0002")]
    pressed = {**sent, "tags": "C0001", "lines": "C0001\nCOO2", "instead": "1 C0002"}
    done = client.post("/retests/add/", pressed)
    assert done.status_code == 302, done.context["form"].errors
    assert {row.item.tag for row in Consigned.objects.all()} == {"C0001", "C0002"}


def test_a_rack_offers_the_cylinder_and_a_command_names_it(station: Site, technician: User) -> None:
    make_cylinder(station, "C0001", technician)
    make_cylinder(station, "C0002", technician)
    page = signed_in(technician).get("/filling/rack/?c=C0002&q=c1").content.decode()
    assert '<a href="/filling/rack/?c=C0002&amp;q=C0001">C0001</a>' in page
    with pytest.raises(CommandError, match=r"did you mean C0001 \(only capitals"):
        call_command("explain", "c0001", stdout=io.StringIO())

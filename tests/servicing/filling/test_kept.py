"""A filling that is sent after the session ended is not lost. D26."""

import re
from urllib.parse import quote

from django.contrib.sessions.models import Session
from django.test import Client

from registry.people.models import KeptForm
from registry.sites.clock import today_at
from servicing.ledger.queries.records import history_of
from tests.people import PASSWORD, make_cylinder, make_item, passed
from tests.servicing.filling.conftest import Point

HERE = "/filling/?q=C0001"
TYPED = {"pressure_bar": "300", "at_c": "15"}


def hidden(page: str) -> dict[str, list[str]]:
    """Return what the reading's form sends by itself."""
    names = ("item", "c", "kept_for", "key", "compressor")
    found = {name: re.findall(rf'name="{name}" value="([^"]+)"', page) for name in names}
    return {name: values for name, values in found.items() if values}


def sent_too_late(point: Point, address: str) -> Client:
    """Send a reading from a page whose session has ended, and sign in again."""
    client = point.client()
    page = client.get(address).content.decode()
    assert f'action="{address}"' in page.replace("&amp;", "&")
    Session.objects.all().delete()
    sent = client.post(address, {**hidden(page), **TYPED})
    assert sent["Location"] == f"/sign-in/?next={quote(address)}"
    assert b"What you typed is not lost" in client.get(sent["Location"]).content
    back = client.post("/sign-in/", {"username": "tekla", "password": PASSWORD, "next": address})
    assert back["Location"] == address
    return client


def test_it_is_typed_in_again_with_its_compressor_and_logged_once(point: Point) -> None:
    client = sent_too_late(point, HERE)
    assert not history_of(point.cylinder).filter(task="fill").exists()
    page = client.get(HERE).content.decode()
    assert "FILL<" in page
    assert "Typed here, but not saved yet" in page
    assert 'value="300"' in page
    # Choosing a compressor meanwhile, or looking at another cylinder, takes nothing away.
    client.post("/filling/compressor/", {"compressor": point.compressor.pk})
    page = client.get(HERE).content.decode()
    assert 'value="300"' in page
    for _ in range(2):
        assert client.post(HERE, {**hidden(page), **TYPED})["Location"] == "/filling/"
    assert history_of(point.cylinder).filter(task="fill").count() == 1
    assert not KeptForm.objects.exists()


def test_what_may_not_be_filled_any_more_says_what_was_sent(point: Point) -> None:
    client = sent_too_late(point, HERE)
    passed(point.cylinder, "external-inspection", today_at(point.site), point.technician, "fail")
    page = client.get(HERE).content.decode()
    assert "DO&nbsp;NOT FILL" in page
    assert "Not logged: 300 bar at 15 °C" in page


def test_a_rack_of_a_crate_is_kept_whole(point: Point) -> None:
    tags = [f"C-{number:020}" for number in range(24)]
    for tag in tags[:2]:
        make_cylinder(point.site, tag, point.technician)
    for tag in tags[2:]:
        make_item(point.site, tag, "cylinder")
    address = "/filling/rack/?" + "&".join(f"c={tag}" for tag in tags)
    client = sent_too_late(point, address)
    page = client.get(address).content.decode()
    assert "Typed here, but not saved yet" in page
    done = client.post(address, {**hidden(page), **TYPED}, follow=True).content.decode()
    assert "Logged 2 fillings" in done

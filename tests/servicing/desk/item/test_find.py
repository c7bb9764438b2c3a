"""Finding by codes and by photo: what is near is offered, never taken. D4 to D9, D11, D35."""

import pytest
from django.contrib.auth.models import User
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext

from registry.items.models import Item
from registry.items.queries import named_by
from registry.sites.clock import today_at
from registry.sites.models import Site
from registry.wording.pure.dates import day_words
from tests.people import make_item, retag, signed_in
from tests.registry.scanning.test_photos import label, photo
from tests.servicing.filling.test_pages import sheet

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    "read",
    [
        "00123\r\n",
        "]C000123",
        "]d100123\r",
        "(8004)00123",
        "]Q3800400123",
        "800400123",
        "https://id.example/8004/00123",
        "https://example.org/things/00123",
    ],
)
def test_a_code_that_says_the_tag_leads_to_its_item(
    mask: Item, technician: User, read: str
) -> None:
    answer = signed_in(technician).get("/find/", {"q": read})
    assert (answer.status_code, answer.headers.get("Location")) == (302, f"/items/{mask.pk}/")


def test_a_tag_that_looks_like_gs1_goes_before_what_it_would_mean(
    mask: Item, technician: User
) -> None:
    own = make_item(mask.site, "800400123")
    answer = signed_in(technician).get("/find/", {"q": "800400123"})
    assert answer["Location"] == f"/items/{own.pk}/"


@pytest.mark.parametrize(
    ("read", "says"),
    [
        ("(01)09521234567899(21)S-00123", "What the code says"),
        ("00\x07123", "[control character, U+0007]"),
        ("00\x07123", "can&#x27;t be printed"),
    ],
)
def test_what_comes_near_is_offered(mask: Item, technician: User, read: str, says: str) -> None:
    answer = signed_in(technician).get("/find/", {"q": read})
    page = answer.content.decode()
    assert answer.status_code == 404
    assert says in page
    assert f'<a href="/items/{mask.pk}/">00123</a>' in page


@pytest.mark.parametrize("read", ["Kß1", "K/1", "K'1"])
def test_a_wrong_keyboard_layout_is_suggested(mask: Item, technician: User, read: str) -> None:
    item = make_item(mask.site, "K-1")
    answer = signed_in(technician).get("/find/", {"q": read})
    page = answer.content.decode()
    assert answer.status_code == 404
    assert "another keyboard layout?" in page
    assert f'<a href="/items/{item.pk}/">K-1</a> would fit' in page


@pytest.mark.parametrize(
    ("tag", "read", "says"),
    [
        ("M040", "M40", "only zeros in front differ"),
        ("M040", "m040", "only capitals and small letters differ"),
        ("M040", "M04O", "letters and figures that look alike differ"),
        ("M040", "M-040", "only a hyphen or a space differs"),
        ("S17", "S017", "only zeros in front differ"),
        ("S017", "5017", "letters and figures that look alike differ"),
    ],
)
def test_a_near_miss_offers_the_item_and_never_a_duplicate(
    station: Site, technician: User, tag: str, read: str, says: str
) -> None:
    item = make_item(station, tag)
    answer = signed_in(technician).get("/find/", {"q": read})
    page = answer.content.decode()
    assert answer.status_code == 404
    assert f"Did you mean {tag}?" in page
    assert f'<a href="/items/{item.pk}/">{tag}</a>' in page
    assert says in page
    assert "keyboard layout" not in page
    assert "Register" not in sheet(page)


def test_a_tag_that_was_replaced_finds_its_item(
    mask: Item, technician: User, manager: User
) -> None:
    retag(mask, "00999", manager)
    page = signed_in(technician).get("/find/", {"q": "00123"}).content.decode()
    assert "Did you mean 00999?" in page
    assert f"the tag 00123 was replaced on {day_words(today_at(mask.site))}" in page
    assert f'<a href="/items/{mask.pk}/">00999</a>' in page
    assert "Register" not in sheet(page)
    misread = signed_in(technician).get("/find/", {"q": "0O123"}).content.decode()
    assert f'<a href="/items/{mask.pk}/">00999</a>' in misread


def test_a_tag_that_another_item_carries_again_leads_to_that_one(
    mask: Item, technician: User, manager: User
) -> None:
    retag(mask, "00999", manager)
    other = make_item(mask.site, "00123", serial="another")
    answer = signed_in(technician).get("/find/", {"q": "00123"})
    assert answer["Location"] == f"/items/{other.pk}/"


def test_a_tag_that_changes_moves_no_date(mask: Item, manager: User) -> None:
    form = signed_in(manager).get(f"/items/{mask.pk}/edit/").context["form"]
    sent = {name: form[name].value() or "" for name in form.fields}
    sent |= {"tag": "00999", "why": "the label came off"}
    client = signed_in(manager)
    page = client.post(f"/items/{mask.pk}/edit/", sent, follow=True).content.decode()
    assert "Due then" not in page
    mask.refresh_from_db()
    assert mask.tag == "00999"


@pytest.mark.skipif(connection.vendor != "sqlite", reason="only SQLite plans without counting rows")
def test_what_is_misread_is_looked_up_without_reading_every_tag(mask: Item) -> None:
    with CaptureQueriesContext(connection) as asked:
        named_by("no-such-tag")
    for each in asked.captured_queries:
        with connection.cursor() as cursor:
            cursor.execute(f"EXPLAIN QUERY PLAN {each['sql']}")
            steps = [row[3] for row in cursor.fetchall()]
        assert not [step for step in steps if step.startswith("SCAN")], each["sql"]


def sent(content: bytes) -> dict[str, SimpleUploadedFile]:
    return {"photo": SimpleUploadedFile("label.png", content, "image/png")}


def test_a_photo_of_a_label_leads_to_its_item(mask: Item, technician: User) -> None:
    client = signed_in(technician)
    answer = client.post("/find/photo/", sent(photo(label("00123"))), follow=True)
    assert answer.redirect_chain[-1][0] == f"/items/{mask.pk}/"


def test_of_several_codes_in_a_photo_one_is_chosen(mask: Item, technician: User) -> None:
    content = photo(label("00123"), label("a/b&c"))
    answer = signed_in(technician).post("/find/photo/", sent(content), follow=True)
    page = answer.content.decode()
    assert "2 codes are in the photo: which one?" in page
    assert 'href="/find/?q=%5DQ1a%2Fb%26c"' in page


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (photo(label("A1"))[:150], "This is no photo that can be read"),
        (b"", "The file is empty"),
        (photo(label("x").point(lambda _: 200)), "No code was found in the photo"),
    ],
)
def test_a_photo_that_says_nothing_is_told_so(
    mask: Item, technician: User, content: bytes, says: str
) -> None:
    answer = signed_in(technician).post("/find/photo/", sent(content))
    assert answer.status_code == 422
    assert says in answer.content.decode()


def test_the_find_page_takes_a_photo_without_script(mask: Item, technician: User) -> None:
    page = signed_in(technician).get("/find/?q=nothing").content.decode()
    assert 'action="/find/photo/" enctype="multipart/form-data"' in page
    assert 'accept="image/*" capture="environment"' in page

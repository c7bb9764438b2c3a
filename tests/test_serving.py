"""How pages go out: below a path, packed, static files under names with a hash. E15."""

import gzip
import re
from collections.abc import Iterator
from html import unescape
from typing import Any
from urllib.parse import urljoin, urlsplit

import pytest
from django.conf import settings
from django.contrib.auth.models import User
from django.core.signals import request_finished
from django.db import close_old_connections
from django.test import Client, override_settings
from django.urls import set_script_prefix

from config.serving import hashed_names
from registry.items.models import Item
from tests.console import ROOT, python
from tests.people import PASSWORD, signed_in

LINK = re.compile(r"""\b(?:href|src|action|hx-[a-z]+|data-home)="([^"]*)\"""")
MOST_PAGES = 40
KEPT_FOR_EVER = "max-age=315360000, public, immutable"


@pytest.fixture
def below() -> Iterator[str]:
    """The program as NECKRING_PATH_PREFIX=/x sets it up."""
    changed: dict[str, Any] = {
        "PATH_PREFIX": "/x",
        "FORCE_SCRIPT_NAME": "/x",
        "STATIC_URL": "/x/static/",
        "STORAGES": dict(settings.STORAGES),  # has Django make them anew, with the new address
    }
    with override_settings(**changed):
        set_script_prefix("/x/")
        yield "/x/"
    set_script_prefix("/")


def content(answer: Any) -> bytes:
    """Return all of an answer, and close it as Django's client does: not the database with it."""
    body = b"".join(answer.streaming_content) if answer.streaming else answer.content
    request_finished.disconnect(close_old_connections)
    answer.close()
    request_finished.connect(close_old_connections)
    return bytes(body)


def links(page: bytes) -> set[str]:
    return {unescape(found) for found in LINK.findall(page.decode())}


def test_below_a_path_no_link_leads_out_of_it(
    below: str, mask: Item, technician: User, manager: User
) -> None:
    client = signed_in(manager)
    asked: set[str] = set()
    wanted = [below, f"{below}items/{mask.pk}/", f"{below}bench/", f"{below}nowhere/"]
    while wanted and len(asked) < MOST_PAGES:
        address = wanted.pop(0)
        asked.add(address)
        answer = client.get(address)
        if answer.status_code in (301, 302):
            found = {answer["Location"]}
        elif "html" in answer["Content-Type"]:
            found = links(content(answer))
        else:
            found = set()
            content(answer)
        for link in found:
            whole = urlsplit(urljoin(f"http://testserver{address}", link))
            assert whole.netloc == "testserver", f"{address} leads to {link}"
            assert whole.path.startswith(below), f"{address} leads out of {below}: {link}"
            to = whole._replace(scheme="", netloc="", fragment="").geturl()
            if to not in asked and to not in wanted and "/static/" not in to:
                wanted.append(to)
    assert len(asked) == MOST_PAGES, "so many pages, and more are there"


def test_below_a_path_one_signs_in_and_out_and_cookies_stay_there(
    below: str, technician: User
) -> None:
    client = Client()
    to = client.get(below)
    assert to["Location"] == "/x/sign-in/?next=/x/"
    page = client.get(to["Location"])
    assert {cookie["path"] for cookie in page.cookies.values()} == {below}
    sent = {"username": "tekla", "password": PASSWORD, "next": "/x/due/"}
    inside = client.post("/x/sign-in/", sent)
    assert inside["Location"] == "/x/due/"
    assert {cookie["path"] for cookie in inside.cookies.values()} == {below}
    out = client.post("/x/sign-out/")
    assert out["Location"] == "/x/sign-in/"
    assert {cookie["path"] for cookie in out.cookies.values()} == {below}


@pytest.mark.parametrize("path", ["/sign-in/", "/x/sign-in/"])
def test_a_proxy_may_take_the_path_off_or_leave_it(below: str, db: None, path: str) -> None:
    answer = Client().get(path)
    assert answer.status_code == 200
    assert {"/x/"} <= links(answer.content)


def test_scripts_and_templates_know_no_address_by_heart() -> None:
    by_heart = re.compile(r"""["'`]/[a-z]|(?:href|src|action)="/""")
    files = [*(ROOT / "config/static").rglob("*.js"), *(ROOT / "templates").rglob("*.html")]
    assert len(files) > 50
    for file in files:
        text = re.sub(r"{%.*?%}|{#.*?#}|//.*", "", file.read_text())
        assert by_heart.findall(text) == [], file.name


def test_cookies_promise_no_more_than_holds_below_a_path(tmp_path: Any) -> None:
    show = "from config import settings as s; print(s.SESSION_COOKIE_NAME, s.CSRF_COOKIE_NAME)"
    https = {"NECKRING_HTTPS": "1"}
    said = python(tmp_path, "-c", show, **https)
    assert said.out.split() == ["__Host-session", "__Host-csrf"]
    said = python(tmp_path, "-c", show, NECKRING_PATH_PREFIX="/x/", **https)
    assert said.out.split() == ["__Secure-session", "__Secure-csrf"]
    for wrong in ("x", "//x", "/x y", "http://host/x"):
        said = python(tmp_path, "manage.py", "check", NECKRING_PATH_PREFIX=wrong)
        assert (said.status, said.err.count("\n")) == (2, 1)


# ── Static files ────────────────────────────────────────────────────────────────────────────────


def test_a_page_names_its_files_by_their_content_and_they_are_kept(db: None) -> None:
    client = Client()
    files = {link for link in links(client.get("/sign-in/").content) if "/static/" in link}
    assert len(files) == 3
    for file in files:
        assert re.search(r"\.[0-9a-f]{12}\.(css|js|svg)$", file)
        answer = client.get(file)
        assert answer.status_code == 200
        assert answer["Cache-Control"] == KEPT_FOR_EVER
        plain = client.get(re.sub(r"\.[0-9a-f]{12}\.", ".", file))
        assert plain["Cache-Control"] != KEPT_FOR_EVER, "its content may change under this name"
        assert content(answer) == content(plain)


def test_every_static_file_is_served_under_its_hash_and_none_names_another(db: None) -> None:
    client = Client()
    ours = [name for name in hashed_names() if name.startswith(("neckring/", "django_htmx/"))]
    assert {"neckring/neckring.css", "neckring/stay.js"} <= set(ours)
    for name in ours:
        answer = client.get(f"/static/{hashed_names()[name][0]}")
        assert answer.status_code == 200
        # A file that names another one would name it without its hash.
        assert b"url(" not in content(answer), name


# ── Packed ──────────────────────────────────────────────────────────────────────────────────────


def test_pages_and_styles_are_packed_for_who_can_unpack(mask: Item, manager: User) -> None:
    client = signed_in(manager)
    for address in ("/due/", f"/static/{hashed_names()['neckring/neckring.css'][0]}"):
        plain = content(client.get(address))
        answer = client.get(address, headers={"accept-encoding": "gzip"})
        assert answer["Content-Encoding"] == "gzip"
        assert "Accept-Encoding" in answer["Vary"]
        packed = content(answer)
        assert len(packed) < len(plain) / 2
        assert gzip.decompress(packed)[:15] == plain[:15]


def test_a_paper_is_not_packed_twice(mask: Item, manager: User) -> None:
    packs = {"accept-encoding": "gzip"}
    answer = signed_in(manager).get("/papers/overdue.pdf", headers=packs)
    assert answer["Content-Type"] == "application/pdf"
    assert "Content-Encoding" not in answer


def test_the_forms_token_looks_different_in_each_packed_page(db: None) -> None:
    # What is packed beside a secret tells its length; a masked token is another text each time.
    client = Client()
    token = re.compile(rb'name="csrfmiddlewaretoken" value="([^"]+)"')
    packs = {"accept-encoding": "gzip"}
    pages = [gzip.decompress(client.get("/sign-in/", headers=packs).content) for _ in range(2)]
    first, second = (token.findall(page) for page in pages)
    assert first
    assert first != second

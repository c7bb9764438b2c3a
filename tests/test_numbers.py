"""Every number on every page equals the list behind it.

A walk from the first page over all links whose words begin with a number and that open a
list: the list must say the same number. Tags and days begin with digits too, but what they
open states no number of rows.
"""

import re
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass, field
from html import unescape
from pathlib import Path
from urllib.parse import urljoin, urlsplit

import pytest
from django.contrib.auth.models import User
from django.core.management import call_command
from django.db import connection
from django.test import Client
from django.urls import resolve

from registry.sites.models import Site
from servicing.due.actions.register import save_site
from tests.people import signed_in
from tests.servicing.desk.work.listed import fill

LINK = re.compile(r'<a\b[^>]*\bhref="([^"]*)"[^>]*>(.*?)</a>', re.DOTALL)
FOR_EARS = re.compile(r'<span class="vh">.*?</span>', re.DOTALL)
DRAWN = re.compile(r"<svg.*?</svg>", re.DOTALL)
TAG = re.compile(r"<[^>]*>")
NUMBER = re.compile(r"(?:All )?(0|[1-9]\d*)\b(?! [A-Z])(?!-)")  # 00283 is a tag, 3 Mar a day
STATED = re.compile(r'<(?:span|h1) class="(?:count|answer)">(?:<[^>]*>)*(\d+) \w')
NO_LISTS = {"item", "record", "set-parts", "fittings", "bench"}
ROLES = 3 if connection.vendor == "sqlite" else 1
"""On a second engine the manager walks alone: who asks doesn't change what is counted."""
HERE_ONLY = "on a page"  # a length of page, and no number of rows


@dataclass
class Walk:
    """A walk of one person: which numbers were tried, and which list said something else."""

    client: Client
    tried: int = 0
    wrong: list[str] = field(default_factory=list)
    stated: dict[str, int | None] = field(default_factory=dict)
    views: set[str] = field(default_factory=set)
    pages: dict[str, str] = field(default_factory=dict)

    def from_page(self, path: str) -> None:
        """Try the numbers of a page, and go on to one page of each view not seen yet."""
        waiting = [path]
        while waiting:
            here = waiting.pop()
            page = self._open(here)
            for href, text in links(page):
                there = urljoin(here, href)
                if not there.startswith("/") or view_of(there).endswith(("-pdf", "-csv")):
                    continue
                self._try(here, there, text)
                if view_of(there) not in self.views:
                    self.views.add(view_of(there))
                    waiting.append(there)

    def _try(self, here: str, there: str, text: str) -> None:
        number = NUMBER.match(text)
        if number is None or HERE_ONLY in text or view_of(there) in NO_LISTS:
            return
        if there not in self.stated:
            found = STATED.search(self._open(there))
            self.stated[there] = int(found[1]) if found else None
        if self.stated[there] is None:
            return
        self.tried += 1
        if self.stated[there] != int(number[1]):
            self.wrong.append(f"{here}: {text!r} opens {there}: {self.stated[there]}")

    def _open(self, path: str) -> str:
        if path not in self.pages:
            answer = self.client.get(path, follow=True)
            is_page = answer["Content-Type"].startswith("text/html")
            good = is_page and answer.status_code == 200
            self.pages[path] = answer.content.decode() if good else ""
        return self.pages[path]


def links(page: str) -> Iterator[tuple[str, str]]:
    """Yield the address and the seen words of each link."""
    for href, inside in LINK.findall(page):
        seen = TAG.sub("", DRAWN.sub("", FOR_EARS.sub("", inside)))
        if "#" not in href:  # a part of a page, which states no number for itself
            yield unescape(href), " ".join(unescape(seen).split())


def view_of(path: str) -> str:
    return resolve(urlsplit(path).path).url_name or ""


@pytest.fixture(autouse=True)
def short_pages(monkeypatch: pytest.MonkeyPatch) -> None:
    """Have lists show three rows a page; they count all of them, and the walk is faster."""
    monkeypatch.setattr("servicing.desk.parts.tables.PAGE", 3)


def walked(user: User) -> Walk:
    walk = Walk(signed_in(user))
    walk.from_page("/")
    return walk


@pytest.mark.long
def test_every_number_of_an_invented_fleet_is_that_of_the_list_behind_it(
    station: Site, manager: User, technician: User, auditor: User
) -> None:
    wagon = Site(code="ST1-A", name="Wagon 3", parent=station, timezone="Pacific/Kiritimati")
    save_site(wagon, tables=[])
    fill(station, range(60), ("ST1", "VAL", "ST1-A"))
    for user in (manager, technician, auditor)[:ROLES]:
        walk = walked(user)
        assert walk.wrong == []
        assert walk.tried > 50


@pytest.mark.long
@pytest.mark.django_db(transaction=connection.vendor == "sqlite")
def test_every_number_of_the_demo_is_that_of_the_list_behind_it(demo: Path) -> None:
    if connection.vendor == "sqlite":  # the same that a shell has made for other tests
        with closing(sqlite3.connect(demo / "neckring.sqlite3")) as made:
            connection.ensure_connection()
            made.backup(connection.connection)
    else:
        call_command("demo", "--no-serve")
    for name in ("demo-manager", "demo-technician", "demo-auditor")[:ROLES]:
        walk = walked(User.objects.get(username=name))
        assert walk.wrong == []
        assert walk.tried > 50

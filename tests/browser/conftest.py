"""A headless Chromium, people who sign in through the page, and a small invented fleet.

Every page opened here is watched: an error in the console, a violation of the content
security policy or a request to another host fails the test that caused it.
"""

import threading
from collections.abc import Iterator
from datetime import date, timedelta
from functools import partial
from pathlib import Path
from time import monotonic
from typing import Any, Literal, Protocol
from urllib.parse import urlsplit

import pytest
from django.contrib.auth.models import User
from playwright.sync_api import (
    Browser,
    BrowserContext,
    ConsoleMessage,
    Page,
    Playwright,
    Request,
    expect,
    sync_playwright,
)
from pytest_django.live_server_helper import LiveServer

from registry.items.models import Item
from registry.sites.clock import today_at
from registry.sites.models import Site
from servicing.due.actions.register import load_rules
from servicing.due.actions.services import Service, log_service
from servicing.due.actions.sets import fit
from servicing.due.pure.obligations import State
from servicing.due.queries.engine import owed
from servicing.ledger.queries.records import history_of
from servicing.rules.pure.tables import read_table
from tests.conftest import lacking
from tests.people import PASSWORD, RULES, approve, make_item
from tests.worlds import world_fixture

CHROMIUM = Path("/usr/bin/chromium")
WIDE, PHONE, NARROWEST = 1280, 360, 320
# Long enough for a machine that does something else as well; a page that works is never so late.
PATIENCE_MS = 30_000
TABLES = ("general-apparatus.toml", "iso-en-cylinders.toml", "us-own-cylinders.toml")
STEEL: dict[str, Any] = {
    "model": "Flask",
    "specification": "EN-1964-2",
    "construction": "type-1",
    "water_capacity_l": "6.000",
    "working_pressure_bar": "300",
    "test_pressure_bar": "450",
    "tare_kg": "8.100",
}
LONG: dict[str, Any] = {
    "maker": "Ardenholm-" * 8,
    "model": "Ventilstock" * 6,
    "serial": "0123456789" * 6,
}


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    here = Path(__file__).parent
    for item in items:
        if here in item.path.parents:
            item.add_marker(pytest.mark.browser)


class OpenPage(Protocol):
    """Opens an empty page of its own, as on another device."""

    def __call__(
        self,
        width: int = WIDE,
        *,
        scheme: Literal["light", "dark"] = "light",
        script: bool = True,
        scale: float = 1,
    ) -> Page: ...


class Watch:
    """What went wrong in a browser context, besides what a test looks for."""

    def __init__(self, context: BrowserContext, home: str) -> None:
        self.complaints: list[str] = []
        self._home = urlsplit(home).netloc
        context.on("console", self._console)
        context.on("weberror", lambda fault: self.complaints.append(f"script: {fault.error}"))
        context.on("request", self._request)

    def _console(self, message: ConsoleMessage) -> None:
        page = message.page
        # The browser says in the console, too, that the page itself was answered 403, 404
        # or 422. Tests look at the status of pages, and here at everything else.
        # What is asked of it does not count: a form may be sent with a step's name behind.
        place = message.location["url"].partition("?")[0]
        of_the_page = page is not None and place == page.url.partition("?")[0]
        if "Failed to load resource" in message.text and of_the_page:
            return
        if message.type in ("error", "warning"):
            self.complaints.append(f"console: {message.text} at {message.location['url']}")

    def _request(self, request: Request) -> None:
        if urlsplit(request.url).netloc != self._home:
            self.complaints.append(f"request to elsewhere: {request.url}")


@pytest.fixture(scope="session")
def playwright() -> Iterator[Playwright]:
    if not CHROMIUM.exists():
        lacking("Chromium", "install Debian's chromium")
    with sync_playwright() as started:
        yield started


@pytest.fixture(scope="session")
def browser(playwright: Playwright, live_server: LiveServer) -> Iterator[Browser]:
    """One browser for all tests; it closes before the server does, and with it what it holds open.

    A socket that it keeps for later keeps a thread of the server, and that its connection.
    """
    expect.set_options(timeout=PATIENCE_MS)
    with playwright.chromium.launch(executable_path=CHROMIUM) as launched:
        yield launched


@pytest.fixture(scope="session")
def live_server(django_db_setup: None, live_server: LiveServer) -> Iterator[LiveServer]:
    """The server of all browser tests; it ends only after its threads have, before the database.

    Each thread closes its connection to the database as it ends, and once the server is
    gone the database in memory is no longer shared with them: they would fail.
    """
    yield live_server
    deadline = monotonic() + PATIENCE_MS / 1000
    for thread in threading.enumerate():
        if "process_request_thread" in thread.name:
            thread.join(max(0, deadline - monotonic()))


@pytest.fixture
def open_page(browser: Browser, live_server: LiveServer) -> Iterator[OpenPage]:
    """A page factory; at the end no page may have complained."""
    contexts: list[BrowserContext] = []
    watches: list[Watch] = []

    def opened(
        width: int = WIDE,
        *,
        scheme: Literal["light", "dark"] = "light",
        script: bool = True,
        scale: float = 1,
    ) -> Page:
        context = browser.new_context(
            base_url=live_server.url,
            viewport={"width": width, "height": 800},
            color_scheme=scheme,
            java_script_enabled=script,
            device_scale_factor=scale,
        )
        context.set_default_timeout(PATIENCE_MS)
        contexts.append(context)
        watches.append(Watch(context, live_server.url))
        return context.new_page()

    yield opened
    for context in contexts:
        context.close()
    assert [complaint for watch in watches for complaint in watch.complaints] == []


def sign_in(page: Page, user: User) -> None:
    """Sign in as people do, and land on the first page."""
    page.goto("/")
    page.get_by_label("Username").fill(user.username)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("navigation", name="Main")).to_be_visible()


def days_ago(site: Site, days: int) -> date:
    """Return the day so many days before today at a site."""
    return today_at(site) - timedelta(days=days)


@world_fixture
def rules(db: None) -> None:
    """The rule tables that the fleet's site follows, and no others: pages stay short."""
    tables = [read_table(name, (RULES / name).read_text())[0] for name in TABLES]
    load_rules(tables)


class Fleet(dict[str, Item]):
    """The items by what they are an example of, and the id of what is fitted to the set."""

    fitting = 0

    def path(self, name: str) -> str:
        return self[name].get_absolute_url()


def _records(item: Item, user: User, *services: Service) -> None:
    for service in services:
        key = f"{item.tag}-{history_of(item).count()}"
        log_service(item=item, service=service, user=user, entry_key=key)


def _cared_for(item: Item, user: User, on: date) -> Item:
    """Log a pass of everything the item owes that is not current, until nothing is left."""
    while asked := [o.task for o in owed(item, on) if o.state(on) is not State.CURRENT]:
        # Washing asks for a test afterwards, so it comes first.
        task = min(asked, key=lambda name: name != "cleaning")
        _records(item, user, Service(task, on, "pass", "Tekla Merrow"))
    return item


@world_fixture
def fleet(mask: Item, station: Site, valley: Site, technician: User) -> Fleet:
    """An item of every state, one with a past, and one with everything as long as may be."""
    ago = partial(days_ago, station)

    def done(task: str, days: int, outcome: str = "pass", **more: Any) -> Service:
        return Service(task, ago(days), outcome, "Tekla Merrow", **more)

    healthy = make_item(station, "00124", made_on=ago(90), in_service_on=ago(80))
    compressor = make_item(station, "K0001", "compressor", made_on=ago(400))
    failed = make_item(station, "00126", made_on=ago(300), in_service_on=ago(200))
    condemned = make_item(station, "C0042", "cylinder", made_on=ago(5000), **STEEL)
    history = make_item(station, "C0041", "cylinder", made_on=ago(3000), **STEEL)
    expansion = (("permanent expansion", "1.10 mL"), ("test pressure", "450 bar"))
    records = {
        compressor: [done("air-quality-test", 83)],
        failed: [done("tightness-test", 3, "fail", readings=(("leak", "1.3 mbar"),))],
        condemned: [done("internal-inspection", 20, "condemned", note="pitted")],
        history: [
            done("hydrostatic-retest", 700, readings=expansion),
            done("external-inspection", 300, "fail", note="paint <b>gone</b>"),
            done("external-inspection", 290),
        ],
    }
    for item, services in records.items():
        _records(item, technician, *services)
    for maker in ("Bregel", "Castrum"):  # two makers have stamped the same number
        make_item(valley, f"T-{maker}", "demand-valve", maker=maker, serial="777")
    found = Fleet(
        set=make_item(station, "S031", "set", model="Ravine", made_on=ago(80)),
        overdue=mask,
        healthy=_cared_for(healthy, technician, ago(0)),
        soon=compressor,
        undetermined=make_item(station, "C0043", "cylinder", **STEEL),
        history=history,
        failed=failed,
        condemned=condemned,
        long=make_item(station, "L" * 64, "reducer", made_on=ago(900), **LONG),
    )
    approve(found["set"], mask, history, found["long"])
    put = partial(fit, set_item=found["set"], on=ago(0), by=technician)
    put(part=mask, entry_key="mask")
    found.fitting = put(part=history, entry_key="cylinder").pk
    return found

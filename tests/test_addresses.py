"""Every address times every person: who gets what, and who writes what. B9, B10, B12, B13, E8.

An address that is added to the program and not to this table makes these tests fail.
"""

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

import pytest
from django.contrib.auth.models import Group, User
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from registry.items.models import Item
from registry.people.actions.authorisations import grant_authorisation
from registry.people.pure import Role
from registry.sets.models import Fitting
from registry.sites.clock import now, today_at
from registry.sites.models import Site
from servicing.bench.models import Draft
from servicing.due.actions import local_rules
from servicing.due.actions.local_rules import approve_rule, propose_rule
from servicing.due.actions.services import Service, log_service
from servicing.due.actions.sets import fit
from servicing.due.models import StoredObligation
from servicing.ledger.models import Record
from tests.people import (
    OWN_RULE,
    PASSWORD,
    approve,
    make_filling_point,
    make_item,
    make_person,
    signed_in,
)
from tests.servicing.hydrostatic.away import HOUSE, Away, by_hand, own_test, retests
from tests.work_in_hand import ALL_SAID, MONTHLY, begin_work, seen_batch, seen_single
from tests.worlds import world_fixture

ALL, RECORDING, MANAGING = (200, 200, 200), (200, 200, 403), (403, 200, 403)
ROLES = ("technician", "manager", "auditor")
ANOTHER = "seven loose shingles on a barn"


@dataclass(frozen=True)
class Address:
    """What an address answers.

    get: the status for technician, manager and auditor; post: for the same three, where
    the address takes one. args: what stands in it, by name; query: what is asked.
    """

    get: tuple[int, int, int]
    post: tuple[int, int, int] | None = None
    args: tuple[str, ...] = ()
    query: dict[str, str] = field(default_factory=dict)
    public: bool = False


ADDRESSES = {
    "login": Address(ALL, ALL, public=True),
    "logout": Address((405, 405, 405), (302, 302, 302)),
    "home": Address(ALL),
    "find": Address((302, 302, 302), query={"q": "00123"}),
    "find-photo": Address(ALL, (422, 422, 422)),
    "due-list": Address(ALL),
    "filling": Address(ALL, (302, 302, 403), query={"q": "C0001"}),
    "filling-rack": Address(ALL, (302, 302, 403), query={"q": "C0001"}),
    # Which compressor fills here is remembered for the session and written nowhere.
    "filling-compressor": Address((405, 405, 405), (303, 303, 303)),
    "air": Address(ALL, query={"capacity": "6.8", "pressure": "300"}),
    "item-list": Address(ALL),
    "item-add": Address(RECORDING, (302, 302, 403)),
    "item": Address(ALL, args=("item",)),
    "item-json": Address(ALL, args=("item",)),
    "item-edit": Address(RECORDING, (302, 302, 403), args=("item",)),
    "log-service": Address(RECORDING, (302, 302, 403), args=("item",)),
    "record": Address(ALL, args=("item", "position")),
    "set-list": Address(ALL),
    "set-parts": Address(RECORDING, (302, 302, 403), args=("set",)),
    "part-out": Address(RECORDING, (302, 302, 403), args=("set", "fitting")),
    "fittings": Address(ALL, args=("set",)),
    "correct-record": Address(RECORDING, (302, 302, 403), args=("item", "position")),
    "decide": Address(RECORDING, (302, 302, 403), args=("item", "decision")),
    # Nothing of the record is in doubt, and the page says so.
    "let-stand": Address(MANAGING, (403, 422, 403), args=("item", "position")),
    "check-yourself": Address(ALL),
    "type-list": Address(ALL),
    "type-edit": Address(RECORDING, (302, 302, 403), args=("type",)),
    "site-list": Address(ALL),
    "site-add": Address(MANAGING, (403, 302, 403)),
    "site-edit": Address(MANAGING, (403, 302, 403), args=("site",)),
    "rule-list": Address(ALL),
    "trail": Address(ALL),
    "trail-csv": Address(ALL),
    "trail-review": Address((403, 403, 200), (403, 403, 302)),
    "own-account": Address(ALL, (302, 302, 302)),
    "who-may": Address(ALL),
    "paper-list": Address(ALL),
    "people": Address((403, 200, 200)),
    "person": Address((403, 200, 200), args=("person",)),
    "person-add": Address(MANAGING, (403, 302, 403)),
    "person-edit": Address(MANAGING, (403, 302, 403), args=("person",)),
    "person-close": Address(MANAGING, (403, 302, 403), args=("person",)),
    "person-password": Address(MANAGING, (403, 302, 403), args=("person",)),
    "person-authorise": Address(MANAGING, (403, 302, 403), args=("person",)),
    "authorisation-end": Address(MANAGING, (403, 302, 403), args=("authorisation",)),
    "live": Address(ALL, public=True),
    "ready": Address(ALL, public=True),
    "fact-list": Address(ALL),
    "local-rules": Address(ALL),
    "local-rule-add": Address(MANAGING, (403, 302, 403)),
    "local-rule-change": Address(MANAGING, (403, 302, 403), args=("rule",)),
    "local-rule-end": Address(MANAGING, (403, 302, 403), args=("rule",)),
    "rule-proposal": Address(ALL, (403, 302, 403), args=("proposal",)),
    "consignment-list": Address(ALL),
    "stamp-list": Address(ALL),
    "consignment-add": Address(RECORDING, (302, 302, 403)),
    "consignment": Address(ALL, args=("away",)),
    "consignment-change": Address(RECORDING, (302, 302, 403), args=("packed",)),
    "consignment-move": Address(RECORDING, (302, 302, 403), args=("packed",)),
    "consignment-csv": Address(ALL, args=("away",)),
    "consignment-results": Address(RECORDING, (302, 302, 403), args=("away",)),
    "result-add": Address(RECORDING, (302, 302, 403), args=("waiting",)),
    "consigned-back": Address(RECORDING, (302, 302, 403), args=("waiting",)),
    "result-settle": Address(MANAGING, (403, 302, 403), args=("disputed",)),
    "own-test": Address(RECORDING, (302, 302, 403), args=("cylinder",)),
    "consignment-pdf": Address(ALL, args=("away",)),
    "bench": Address(
        RECORDING, (302, 302, 403), args=("item", "task"), query={"step": "condition"}
    ),
    "bench-check": Address(RECORDING, (302, 302, 403), args=("item", "task")),
    "bench-aside": Address(RECORDING, (302, 302, 403), args=("item", "task")),
    "bench-batch-away": Address((200, 404, 403), (302, 404, 403), args=("batch",)),
    "bench-thrown": Address(RECORDING, (302, 404, 403)),
    "bench-batch-start": Address(RECORDING, (302, 302, 403)),
    "bench-batch": Address((200, 404, 403), (302, 404, 403), args=("batch",)),
    "bench-batch-check": Address((200, 404, 403), (302, 404, 403), args=("batch",)),
    "bench-batch-done": Address((200, 404, 403), args=("signed",)),
    "instrument-records": Address(ALL, args=("item",)),
    "instrument-csv": Address(ALL, args=("item",)),
    "type-limits": Address(MANAGING, (403, 302, 403), args=("type",)),
    "type-serving": Address(MANAGING, (403, 302, 403), args=("type of instrument",)),
    "due-pdf": Address(ALL),
    "overdue-pdf": Address(ALL),
    "record-pdf": Address(ALL, args=("item",)),
    "set-pdf": Address(ALL, args=("set",)),
}
WRITING = [name for name, address in ADDRESSES.items() if address.post]


@dataclass(frozen=True)
class World:
    """One item with a record, a set with a part, and everybody who may or may not look."""

    item: Item
    cylinder: Item
    compressor: Item
    gauge: Item
    people: dict[str, User]
    rule: str
    proposal: int
    authorisation: int
    set: Item
    fitting: Fitting
    retests: Away
    batch: int
    signed: int

    def path(self, name: str) -> str:
        item = self.item
        here: dict[str, Any] = {
            "item": item.pk,
            "position": 1,
            "site": item.site_id,
            "type": item.type_id,
            "type of instrument": self.gauge.type_id,
            "decision": "withdraw",
            "rule": self.rule,
            "proposal": self.proposal,
            "person": self.people["stranger"].pk,
            "authorisation": self.authorisation,
            **self.retests.here,
            "task": MONTHLY,
            "batch": self.batch,
            "signed": self.signed,
        }
        here |= {"set": self.set.pk, "fitting": self.fitting.pk}
        return reverse(name, args=[here[arg] for arg in ADDRESSES[name].args])

    def form(self, name: str) -> dict[str, Any]:
        """Return what somebody would send to an address that writes."""
        today = today_at(self.item.site)
        item = {
            "kind": "mask",
            "maker": "Pellwright",
            "model": "Vizard",
            "size": "L",
            "site": self.item.site_id,
        }
        site = {"name": "Station two", "timezone": "Europe/Vienna", "parent": ""}
        service = {
            "key": "k" * 32,
            "task": "tightness-test",
            "outcome": "pass",
            "step": "enter",
            "done_on": today.isoformat(),
            "performed_by": "Somebody",
        }
        filling = {
            "key": "k" * 32,
            "compressor": self.compressor.pk,
            "pressure_bar": "300",
            "at_c": "15",
        }
        person = {"full_name": "Oda Fenwright", "role": "auditor", "site": self.item.site_id}
        password = "another invented pass phrase"
        rule = {
            "step": "propose",
            "kind": ["mask"],
            "task": "tightness-test",
            "how": "every",
            "number": "4",
            "unit": "M",
            "counted_from": "in-service",
            "bars": "use",
            "level": "maker",
            "source": "Pellwright manual 4711, 8.2",
            "edition": "third",
            "seen": "text",
        }
        forms: dict[str, dict[str, Any]] = {
            "filling": {**filling, "item": self.cylinder.pk},
            "filling-rack": {**filling, "c": [self.cylinder.tag]},
            "filling-compressor": {"compressor": self.compressor.pk},
            "trail-review": {"number": 1, "moment": now().isoformat()},
            "person-add": {**person, "username": "oda", "password": password},
            "person-edit": person,
            "person-close": {"why": "left"},
            "person-password": {"password": password},
            "person-authorise": {"task": "cleaning", "valid_from": "2026-01-01"},
            "authorisation-end": {"why": "left"},
            "own-account": {"current": PASSWORD, "password": ANOTHER, "again": ANOTHER},
            "login": {"username": "nobody", "password": "nothing"},
            "find-photo": {},
            "logout": {},
            "item-add": {**item, "tag": "00777", "serial": "S-00777"},
            "item-edit": {
                **item,
                "tag": "00123",
                "serial": "S-00123",
                "why": "card",
                "step": "enter",
            },
            "log-service": service,
            "set-parts": {"key": "s" * 32, "tag": "F002"},
            "part-out": {"key": "o" * 32, "on": today.isoformat(), "note": "worn"},
            "type-edit": {"maker": "Pellwright", "model": "Vizard II", "why": "x"},
            "correct-record": {**service, "reason": "The wrong day was written."},
            "let-stand": {"key": "l" * 32, "reason": "Looked at again."},
            "decide": {"key": "d" * 32, "reason": "Fell off the truck.", "step": "enter"},
            "site-add": {**site, "code": "ST2"},
            "site-edit": {**site, "code": "ST1", "why": "it stands alone"},
            "local-rule-add": {**rule, "site": self.item.site_id},
            "local-rule-change": {**rule, "reason": "another edition"},
            "local-rule-end": {"step": "propose", "reason": "taken back"},
            "rule-proposal": {"step": "approve"},
            **self._retest_forms(),
            "bench": {"step": "condition", "word": "good"},
            "bench-check": {"act": "sign", "seen": seen_single()},
            "bench-aside": {},
            "bench-batch-away": {},
            "bench-thrown": {"draft": Draft.with_thrown.exclude(thrown_at=None).get().pk},
            "bench-batch-start": {"procedure": "mask-cleaning", "done_on": today.isoformat()},
            "bench-batch": {"tag": "00124"},
            "bench-batch-check": {"act": "sign", "seen": seen_batch(self.batch), **ALL_SAID},
            "type-limits": {
                "reading": "mask-leak",
                "high": "0.5",
                "unit": "mbar",
                "source": "Pellwright manual 12",
                "why": "new edition",
            },
            "type-serving": {
                "words": ["calibrated-cylinder"],
                "ranges": "0 to 400 bar",
                "why": "its plate",
            },
        }
        return forms[name]

    def _retest_forms(self) -> dict[str, dict[str, Any]]:
        at_home = self.retests.at_home
        came = by_hand(at_home, "enter", permanent_ml="1.2")
        row = {"tag": "C0104", "outcome": "pass", "test_pressure_bar": "450"}
        row |= {name: came[name] for name in ("tested_on", "method", "by")}
        row |= {"held_s": "30", "total_ml": "62", "permanent_ml": "1.2"}
        content = ",".join(row) + "\n" + ",".join(row.values()) + "\n"
        begun = {"key": "c" * 32, "from_site": self.item.site_id, "house": HOUSE, "tags": "C0105"}
        return {
            "consignment-add": begun,
            "consignment-change": {"tags": "C0105"},
            "consignment-move": {"on": today_at(at_home.site).isoformat()},
            "consignment-results": {"file": SimpleUploadedFile("back.csv", content.encode())},
            "result-add": came,
            "consigned-back": {"on": today_at(at_home.site).isoformat()},
            "result-settle": {"word": "pass", "why": "certificate 4711 seen"},
            "own-test": own_test(at_home, "enter"),
        }


def _made(site: Site, tag: str, kind: str) -> Item:
    return make_item(site, tag, kind, model="Rygg", made_on=date(2024, 5, 1))


@world_fixture
def world(mask: Item, technician: User, manager: User, auditor: User, stranger: User) -> World:
    log_service(
        item=mask,
        service=Service("cleaning", today_at(mask.site) - timedelta(days=9), "pass", "Tekla"),
        user=technician,
        entry_key="first",
    )
    people = {"technician": technician, "manager": manager, "auditor": auditor}
    frames = [_made(mask.site, tag, "frame") for tag in ("F001", "F002")]
    set_item = _made(mask.site, "S001", "set")
    approve(set_item, *frames)
    fitting = fit(
        set_item=set_item,
        part=frames[0],
        on=today_at(mask.site),
        by=technician,
        entry_key="first",
    )
    held = grant_authorisation(
        person=stranger, task="*", valid_from=date(2026, 1, 1), valid_until=None, user=manager
    )
    # Two managers beside those of the table: one rule that counts, one that waits.
    first, second = (make_person(name, Role.MANAGER, mask.site) for name in ("mona", "milan"))
    draft = local_rules.Draft(mask.site, today_at(mask.site), OWN_RULE)
    counts, waits = propose_rule(draft, by=first), propose_rule(draft, by=first)
    approve_rule(counts, by=second)
    batch, signed = begin_work(mask, [technician, manager])
    make_item(mask.site, "00124", made_on=date(2020, 3, 10))
    cylinder, compressor = make_filling_point(mask.site, technician)
    return World(
        item=mask,
        cylinder=cylinder,
        compressor=compressor,
        gauge=_made(mask.site, "G001", "instrument"),
        people={**people, "stranger": stranger},
        rule=f"local-st1-{counts.pk}",
        proposal=waits.pk,
        authorisation=held.pk,
        set=set_item,
        fitting=fitting,
        batch=batch,
        signed=signed,
        retests=retests(mask.site, technician),
    )


def named_addresses(patterns: list[URLPattern | URLResolver]) -> Iterator[str]:
    for pattern in patterns:
        if isinstance(pattern, URLResolver):
            yield from named_addresses(pattern.url_patterns)
        else:
            yield pattern.name or str(pattern.pattern)


def everything() -> dict[str, str]:
    """Return a digest of every table's rows but those of the sessions and of wrong tries.

    Nor of the register of papers: it logs what was given out, as a server's log does, and
    `tests/reports/documents/test_papers_made.py` says what is added to it.
    """
    found = {}
    with connection.cursor() as cursor:
        for table in sorted(connection.introspection.table_names(cursor)):
            if table not in (
                "django_session",
                "registry_tries",
                "servicing_paper",
                "servicing_carried",
            ):
                cursor.execute(f"SELECT * FROM {table}")
                rows = sorted(repr(row) for row in cursor.fetchall())
                found[table] = hashlib.sha256("\n".join(rows).encode()).hexdigest()
    return found


def changed_since(before: dict[str, str]) -> set[str]:
    return {table for table, digest in everything().items() if before[table] != digest}


def test_every_address_of_the_program_stands_in_the_table() -> None:
    assert sorted(named_addresses(get_resolver().url_patterns)) == sorted(ADDRESSES)


def test_signing_in_and_health_are_the_only_public_pages(world: World) -> None:
    client = Client()
    answers = {}
    for name, address in ADDRESSES.items():
        answer = client.get(world.path(name), address.query)
        answers[name] = (answer.status_code, answer.get("Location", "").partition("?")[0])
    sent_away = dict.fromkeys(ADDRESSES, (302, "/sign-in/"))
    open_to_all = dict.fromkeys(("login", "live", "ready"), (200, ""))
    assert answers == {**sent_away, **open_to_all}


def test_who_is_not_signed_in_writes_nothing(world: World) -> None:
    client, before = Client(), everything()
    for name in WRITING:
        answer = client.post(world.path(name), world.form(name))
        if not ADDRESSES[name].public:
            assert answer.status_code == 302, name
            assert answer["Location"].startswith("/sign-in/"), name
    assert changed_since(before) == set()


def test_an_account_without_a_role_sees_and_writes_nothing(world: World) -> None:
    client = signed_in(world.people["stranger"])
    before = everything()
    seen = {
        name: client.get(world.path(name), ADDRESSES[name].query).status_code for name in ADDRESSES
    }
    public = dict.fromkeys(("login", "live", "ready"), 200)
    assert seen == {**dict.fromkeys(ADDRESSES, 403), **public, "logout": 405}
    for name in set(WRITING) - {"login", "logout"}:
        assert client.post(world.path(name), world.form(name)).status_code == 403, name
    assert changed_since(before) == set()


@pytest.mark.parametrize("role", ROLES)
def test_each_role_sees_what_it_may_and_looking_writes_nothing(world: World, role: str) -> None:
    client = signed_in(world.people[role])
    before = everything()
    seen = {
        name: client.get(world.path(name), address.query).status_code
        for name, address in ADDRESSES.items()
    }
    assert seen == {name: address.get[ROLES.index(role)] for name, address in ADDRESSES.items()}
    assert changed_since(before) == set()


@pytest.mark.parametrize("role", ROLES)
@pytest.mark.parametrize("name", [name for name in WRITING if name not in ("login", "logout")])
def test_each_role_writes_what_it_may_and_a_refusal_writes_nothing(
    world: World, name: str, role: str
) -> None:
    client = signed_in(world.people[role])
    before = everything()
    expected = (ADDRESSES[name].post or ())[ROLES.index(role)]
    assert client.post(world.path(name), world.form(name)).status_code == expected
    assert bool(changed_since(before)) == (expected == 302)


@pytest.mark.parametrize("role", ROLES)
def test_sending_a_form_to_a_page_that_only_shows_writes_nothing(world: World, role: str) -> None:
    client = signed_in(world.people[role])
    before = everything()
    for name in set(ADDRESSES) - set(WRITING):
        answer = client.post(world.path(name), {"tag": "00777", "key": "x", "q": "00123"})
        seen = ADDRESSES[name].get[ROLES.index(role)]
        assert answer.status_code in ((403,) if seen == 403 else (200, 302, 404, 405)), name
    assert changed_since(before) == set()


@pytest.mark.parametrize("name", WRITING)
def test_a_form_without_its_token_is_refused(world: World, name: str) -> None:
    client = Client(enforce_csrf_checks=True)
    client.force_login(world.people["manager"])
    before = everything()
    answer = client.post(world.path(name), world.form(name))
    assert answer.status_code == 403
    assert "Nothing was saved" in answer.content.decode()
    assert changed_since(before) == set()


@pytest.mark.parametrize(
    "path",
    [
        "/items/999999/",
        "/items/999999/edit/",
        "/items/999999/service/",
        "/retests/999999/",
        "/retests/items/999999/test/",
        "/retests/999999/list.csv",
        "/items/999999/records/1/",
        "/papers/items/999999/record.pdf",
        "/sites/999999/edit/",
        "/types/999999/edit/",
        "/items/999999/parts/",
        "/items/999999/parts/1/out/",
        "/items/999999/fittings/",
        "/papers/items/999999/set.pdf",
        "/people/999999/",
        "/people/999999/edit/",
        "/people/999999/close/",
        "/people/authorisations/999999/end/",
        "/items/99999999999999999999999/",
        "/items/1/records/99999999999999999999999/",
        "/items/-1/",
        "/items/x/",
        "/admin/",
        "/nowhere/",
    ],
)
def test_what_does_not_exist_is_not_found(world: World, path: str) -> None:
    answer = signed_in(world.people["manager"]).get(path)
    assert answer.status_code == 404
    assert "There is nothing at this address" in answer.content.decode()


def test_a_role_taken_away_counts_from_the_next_request(world: World) -> None:
    person = world.people["technician"]
    client = signed_in(person)
    assert client.get("/items/add/").status_code == 200
    person.groups.set([Group.objects.get(name="auditor")])
    assert client.get("/items/add/").status_code == 403
    assert client.get("/items/").status_code == 200
    person.groups.clear()
    assert client.get("/items/").status_code == 403


def test_a_closed_account_is_out_at_the_next_request(world: World) -> None:
    client = signed_in(world.people["manager"])
    User.objects.filter(username="manfrid").update(is_active=False)
    assert client.get("/")["Location"].startswith("/sign-in/")


def test_what_a_form_does_not_ask_for_cannot_be_sent_along(world: World) -> None:
    client = signed_in(world.people["technician"])
    smuggled = {
        "entered_at": "2020-01-01",
        "entered_by": "somebody else",
        "entered_by_user": "1",
        "position": "77",
        "hash": "0" * 64,
        "carried_over_from": "a file",
        "item": "99",
        "standing": "in-service",
        "marked_as": "other",
    }
    before = today_at(world.item.site)
    client.post(world.path("log-service"), {**world.form("log-service"), **smuggled})
    record = Record.objects.get(item=world.item, position=2)
    assert record.entered_by == "Tekla Merrow (tekla)"
    assert record.entered_by_user == world.people["technician"]
    assert record.entered_at.date() >= before - timedelta(days=1)
    assert record.carried_over_from == ""
    assert record.marked_as == "00123 · Pellwright · S-00123"


def test_an_item_cannot_be_given_a_due_date_by_a_form(world: World) -> None:
    client = signed_in(world.people["technician"])
    owed = StoredObligation.objects.order_by("pk").values_list("task", "due_on")
    before = list(owed)
    answer = client.post(
        world.path("item-edit"),
        {**world.form("item-edit"), "size": "M", "made_on": "2020-03-10"}
        | {"in_service_on": "2020-04-01", "due_on": "2099-01-01", "standing": "condemned"},
    )
    assert answer.status_code == 302
    assert sorted(owed.all()) == sorted(before)


def test_a_site_is_changed_by_a_manager_only(world: World) -> None:
    for role, name in (("technician", "Station one"), ("manager", "Station two")):
        signed_in(world.people[role]).post(world.path("site-edit"), world.form("site-edit"))
        assert Site.objects.get(code="ST1").name == name

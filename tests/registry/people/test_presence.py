"""Signing in, proving presence, being away: A17, B7, B8, B14, B15, B16, B26."""

import logging
import re
from collections.abc import Callable, Iterator
from datetime import timedelta
from typing import Any

import pytest
import time_machine
from django.contrib.auth.hashers import MD5PasswordHasher
from django.contrib.auth.models import User
from django.contrib.sessions.backends.db import SessionStore
from django.db import connection, transaction
from django.test import Client, RequestFactory, override_settings
from django.test.utils import CaptureQueriesContext

from registry.people.actions.presence import (
    NotLocal,
    WrongPassword,
    address_of,
    needs_password,
    prove_presence,
)
from registry.people.actions.tries import TooManyTries, begin_try
from registry.people.models import Tries
from registry.people.pure import PRESENCE, guessable, pause_after, typed
from registry.sites.clock import now
from registry.trail.models import TrailEntry
from tests.people import PASSWORD, signed_in

WRONG = "not the pass phrase at all"


def sign_in(name: str, password: str, address: str = "192.0.2.1") -> Any:
    return Client(REMOTE_ADDR=address).post("/sign-in/", {"username": name, "password": password})


def asked_by(user: User) -> Any:
    request = RequestFactory().post("/")
    request.user = user
    request.session = SessionStore()
    return request


# ── Presence ────────────────────────────────────────────────────────────────────────────────────


def test_ten_minutes_after_the_password_it_is_asked_for_again(technician: User) -> None:
    request = asked_by(technician)
    assert needs_password(request, now())
    at = prove_presence(request, PASSWORD)
    assert not needs_password(request, at + PRESENCE - timedelta(seconds=1))
    assert needs_password(request, at + PRESENCE)


def test_an_account_of_the_demo_signs_nothing_where_the_program_is_open(technician: User) -> None:
    technician.username = "demo-tekla"
    technician.save()
    request = asked_by(technician)
    with override_settings(ON_LOOPBACK_ONLY=False), pytest.raises(NotLocal, match="demo"):
        prove_presence(request, PASSWORD)
    assert needs_password(request, now())
    assert TrailEntry.objects.latest("number").why == "an account of the demo"
    prove_presence(request, PASSWORD)  # on this machine it does


@pytest.mark.parametrize("path", ["/", "/items/", "/due/", "/rules/"])
def test_a_page_asks_once_for_the_role_of_its_reader(path: str, manager: User) -> None:
    client = signed_in(manager)
    client.get(path)
    with CaptureQueriesContext(connection) as asked:
        assert client.get(path).status_code == 200
    assert sum('FROM "auth_group"' in query["sql"] for query in asked.captured_queries) == 1


def test_signing_in_is_the_first_proof_in_a_session(technician: User) -> None:
    client = Client()
    client.post("/sign-in/", {"username": "tekla", "password": PASSWORD})
    request = asked_by(technician)
    request.session = client.session
    assert not needs_password(request, now())
    assert needs_password(request, now() + PRESENCE)


def test_a_wrong_password_is_refused_counted_and_in_the_trail(technician: User) -> None:
    request = asked_by(technician)
    with pytest.raises(WrongPassword):
        prove_presence(request, WRONG)
    assert needs_password(request, now())
    entry = TrailEntry.objects.latest("number")
    assert (entry.what, entry.subject, entry.why) == ("signing-refused", "tekla", "wrong password")
    assert entry.by_user == technician
    assert set(Tries.objects.values_list("failures", flat=True)) == {1}
    for _ in range(5):
        with pytest.raises(WrongPassword):
            prove_presence(request, WRONG)
    with pytest.raises(TooManyTries):
        prove_presence(request, PASSWORD)
    assert TrailEntry.objects.latest("number").why == "too many wrong tries"


# ── Guessing ────────────────────────────────────────────────────────────────────────────────────


def test_pauses_grow_to_a_quarter_of_an_hour_and_no_further() -> None:
    seconds = [pause_after(n, "name").total_seconds() for n in (0, 5, 6, 7, 10, 15, 20, 1000)]
    assert seconds == [0, 0, 2, 4, 32, 900, 900, 900]
    assert pause_after(20, "from").total_seconds() == 0


def test_guessing_is_slowed_and_the_right_password_works_after_the_stated_pause(
    technician: User,
) -> None:
    start = now()
    with time_machine.travel(start, tick=False):
        answers = [sign_in("tekla", WRONG) for _ in range(20)]
        slowed = sign_in("tekla", PASSWORD, "198.51.100.7")
    assert all(answer.status_code == 200 for answer in answers)
    found = re.search(r"Too many wrong tries. Wait (\d+) s", slowed.content.decode())
    assert found is not None
    with time_machine.travel(start + timedelta(seconds=int(found[1]) + 1)):
        assert sign_in("tekla", PASSWORD, "198.51.100.7").status_code == 302
        assert sign_in("tekla", PASSWORD).status_code == 302


def test_knocking_during_a_pause_makes_it_no_longer(technician: User) -> None:
    start = now()
    with time_machine.travel(start, tick=False):
        for _ in range(100):
            sign_in("tekla", WRONG)
    with time_machine.travel(start + timedelta(seconds=3)):
        assert sign_in("tekla", PASSWORD, "198.51.100.7").status_code == 302


def test_one_address_that_tries_many_names_is_slowed(technician: User) -> None:
    with time_machine.travel(now(), tick=False):
        for number in range(22):
            sign_in(f"nobody-{number}", WRONG)
        assert "Too many wrong tries" in sign_in("tekla", PASSWORD).content.decode()
        assert sign_in("tekla", PASSWORD, "198.51.100.7").status_code == 302


def test_names_in_other_capitals_are_one_name_to_the_counter(technician: User) -> None:
    with time_machine.travel(now(), tick=False):
        for name in ("tekla", "TEKLA", "Tekla", "tEkla", "teKla", "tekLa"):
            begin_try(username=name, address=name)
        with pytest.raises(TooManyTries, match="Wait 2 s"):
            begin_try(username="tekla", address="elsewhere")


def test_a_pause_is_the_same_for_a_name_that_nobody_has(technician: User) -> None:
    pages: list[str] = []
    for name in ("tekla", "nobody"):
        with time_machine.travel(now(), tick=False):
            answers = [sign_in(name, WRONG, f"192.0.2.{len(pages)}") for _ in range(8)]
        page = answers[-1].content.decode().replace(name, "NAME")
        pages.append(re.sub(r'value="\w{64}"|This page was made.*', "", page))
    assert pages[0] == pages[1]
    assert "Too many wrong tries" in pages[0]


def test_a_right_password_forgets_the_wrong_ones(technician: User) -> None:
    for _ in range(4):
        sign_in("tekla", WRONG)
    assert sign_in("tekla", PASSWORD).status_code == 302
    assert list(Tries.objects.values_list("failures", flat=True)) == [4]  # of the address


def test_nobody_costs_as_many_password_hashes_as_a_wrong_password(
    technician: User, auditor: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    # The hash is what takes time; that one is reckoned in each case makes the answers alike.
    User.objects.filter(pk=auditor.pk).update(is_active=False)
    hashed: list[str] = []
    encode = MD5PasswordHasher.encode

    def counted(self: MD5PasswordHasher, password: str, *rest: Any) -> str:
        hashed.append(password)
        return str(encode(self, password, *rest))

    monkeypatch.setattr(MD5PasswordHasher, "encode", counted)
    for name in ("tekla", "nobody", "audra"):
        sign_in(name, WRONG)
        assert hashed == [WRONG], name
        hashed.clear()


@pytest.mark.parametrize(
    ("behind", "header", "expected"),
    [
        (False, "203.0.113.9", "192.0.2.1"),
        (True, "203.0.113.9", "203.0.113.9"),
        (True, "10.0.0.1, 203.0.113.9", "203.0.113.9"),  # what the proxy itself saw is last
        (True, "", "192.0.2.1"),
    ],
)
def test_the_address_is_the_one_that_can_be_trusted(
    behind: bool, header: str, expected: str
) -> None:
    request = RequestFactory().get("/", REMOTE_ADDR="192.0.2.1", HTTP_X_FORWARDED_FOR=header)
    with override_settings(BEHIND_PROXY=behind):
        assert address_of(request) == expected


# ── Passwords ───────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    "good",
    [
        "a long invented pass phrase",
        "correct horse battery staple, with spaces and sixty-four signs or more",
        "Grüße aus dem Tal, 40 Masken 🔧",
        "kx7#Lm2!qW9zT4vB",
    ],
)
def test_long_pass_phrases_of_any_script_are_taken(good: str) -> None:
    assert guessable(good, ["Tarn Valley", "TV"]) == ""


def test_a_long_password_counts_to_its_last_sign_however_it_is_typed(technician: User) -> None:
    long = "tall fir, grey scree, é" + " and so on" * 12
    technician.set_password(typed(long))
    technician.save()
    assert sign_in("tekla", long.replace("é", "e\u0301")).status_code == 302
    assert sign_in("tekla", long[:-1]).status_code == 200


# ── Away ────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("steps", "inside"),
    [
        ([timedelta(minutes=59)], True),
        ([timedelta(minutes=60)], False),
        ([timedelta(minutes=59)] * 3, True),
        ([timedelta(minutes=55)] * 13, True),
        ([timedelta(minutes=55)] * 14, False),  # 12 h 50 min since signing in
    ],
    ids=str,
)
def test_an_hour_away_or_half_a_day_in_all_ends_a_session(
    technician: User, steps: list[timedelta], inside: bool
) -> None:
    at = now()
    with time_machine.travel(at, tick=False):
        client = signed_in(technician)
    for step in steps:
        at += step
        with time_machine.travel(at, tick=False):
            answer = client.get("/items/")
    assert answer.status_code == (200 if inside else 302)
    if not inside:
        assert "You were signed out" in client.get(answer["Location"]).content.decode()


# ── The security log ────────────────────────────────────────────────────────────────────────────


@pytest.fixture
def log(caplog: pytest.LogCaptureFixture) -> Iterator[Callable[[], list[str]]]:
    with caplog.at_level(logging.INFO, "neckring.security"):
        yield lambda: [r.getMessage() for r in caplog.records if r.name == "neckring.security"]


def test_sign_ins_good_and_bad_are_lines_without_a_password(
    technician: User, log: Callable[[], list[str]]
) -> None:
    sign_in("tekla", WRONG)
    sign_in("tekla", PASSWORD)
    sign_in("a password in the wrong field", WRONG)
    refused, signed, nobody = log()
    assert re.fullmatch(
        r'\d{4}-\d\d-\d\dT[\d:]{8}Z sign-in-refused account="tekla" address="192.0.2.1" '
        'why="not right"',
        refused,
    )
    assert 'signed-in account="tekla"' in signed
    assert 'account="of nobody"' in nobody
    assert not [line for line in log() if WRONG in line or PASSWORD in line or "field" in line]


def test_a_line_break_in_a_name_makes_no_second_line(
    auditor: User, log: Callable[[], list[str]]
) -> None:
    User.objects.filter(pk=auditor.pk).update(username='audra\nsigned-in account="manfrid"')
    client = Client()
    with transaction.atomic():
        client.force_login(User.objects.get(pk=auditor.pk))
    client.get("/items/add/")
    signed, refused = log()
    assert "\n" not in signed + refused
    assert 'account="audra\\u000asigned-in account=\\u0022manfrid\\u0022"' in refused
    assert 'path="/items/add/"' in refused

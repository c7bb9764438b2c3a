"""What every answer carries, what is refused at the door, and how it starts: B1 to B9, B16, B22.

Rights have a file of their own, `test_addresses.py`.
"""

import json
import re
import stat
import string
from datetime import date
from pathlib import Path
from typing import Any
from urllib.parse import urljoin, urlsplit

import pytest
from django.contrib.auth.models import Group, User
from django.contrib.sessions.models import Session
from django.core.exceptions import ValidationError
from django.test import Client, override_settings

from registry.items.models import Item
from registry.people.actions import add_person
from registry.people.pure import Role
from registry.sites.models import Site
from tests.console import manage, python
from tests.people import PASSWORD, signed_in

KEY = (string.ascii_letters + string.digits)[:60]
INLINE = re.compile(
    r"<style|<script(?![^>]*\ssrc=)|\sstyle=|\son[a-z]+=|javascript:", re.IGNORECASE
)
HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
}
POLICY = {
    "default-src 'self'",
    "object-src 'none'",
    "base-uri 'none'",
    "frame-ancestors 'none'",
    "form-action 'self'",
}


def asked(client: Client, path: str) -> Any:
    answer = client.get(path)
    answer.close()
    return answer


# ── Every answer ────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/sign-in/", 200),
        ("/", 200),
        ("/due/", 200),
        ("/items/add/", 200),
        ("/find/?q=nothing", 404),
        ("/due/?on=never", 422),
        ("/papers/overdue.pdf", 200),
        ("/nowhere/", 404),
        ("/static/neckring/neckring.css", 200),
        ("/static/neckring/icon.svg", 200),
    ],
)
def test_every_answer_says_what_a_browser_may_do_with_it(
    mask: Item, manager: User, path: str, status: int
) -> None:
    answer = asked(signed_in(manager), path)
    assert answer.status_code == status
    assert {name: answer.get(name) for name in HEADERS} == HEADERS
    assert set(answer["Content-Security-Policy"].split("; ")) == POLICY


@pytest.mark.parametrize("name", ["neckring.css", "scan.js", "away.js", "icon.svg"])
def test_a_static_file_is_taken_for_nothing_else(db: None, name: str) -> None:
    answer = asked(Client(), f"/static/neckring/{name}")
    assert answer.status_code == 200
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["Referrer-Policy"] == "same-origin"
    assert "Access-Control-Allow-Origin" not in answer


def test_no_page_needs_what_the_policy_forbids(mask: Item, manager: User) -> None:
    client = signed_in(manager)
    own = (f"/items/{mask.pk}/", f"/items/{mask.pk}/edit/", f"/items/{mask.pk}/service/")
    for path in ("/", "/due/", "/items/", "/items/add/", "/find/?q=1", "/sites/", "/rules/", *own):
        assert INLINE.findall(client.get(path).content.decode()) == [], path


def test_a_fault_of_the_program_shows_no_insides(
    mask: Item, manager: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object) -> None:
        raise RuntimeError("select secret from somewhere")

    monkeypatch.setattr("servicing.desk.work.views.home.months_ahead", broken)
    client = signed_in(manager)
    client.raise_request_exception = False
    answer = client.get("/")
    assert answer.status_code == 500
    assert {name: answer.get(name) for name in HEADERS} == HEADERS
    assert not re.search("secret|Traceback|RuntimeError|settings", answer.content.decode())


# ── The door ────────────────────────────────────────────────────────────────────────────────────


def sign_in(client: Client, name: str, password: str = PASSWORD, **more: str) -> Any:
    return client.post("/sign-in/", {"username": name, "password": password, **more})


@pytest.mark.parametrize(
    "elsewhere",
    [
        "//evil.example",
        "///evil.example",
        "https://evil.example/",
        "https:evil.example",
        "http:///evil.example",
        r"\\evil.example",
        r"/\evil.example",
        r"\evil",
        "javascript:alert(1)",
        "data:text/html,x",
        "//testserver@evil.example",
        "\t//evil",
    ],
)
def test_signing_in_never_leads_away(technician: User, elsewhere: str) -> None:
    location = sign_in(Client(), "tekla", next=elsewhere)["Location"]
    assert urlsplit(urljoin("http://testserver/sign-in/", location)).netloc == "testserver"
    assert "evil.example" not in location


def test_signing_in_leads_to_the_page_that_was_asked_for(technician: User) -> None:
    client = Client()
    sent_away = client.get("/due/?state=overdue")["Location"]
    assert sent_away == "/sign-in/?next=/due/%3Fstate%3Doverdue"
    page = client.get(sent_away).content.decode()
    assert 'name="next" value="/due/?state=overdue"' in page
    answer = sign_in(client, "tekla", next="/due/?state=overdue")
    assert answer["Location"] == "/due/?state=overdue"


def test_cookies_are_out_of_reach_of_scripts_and_of_other_places(technician: User) -> None:
    cookies = sign_in(Client(), "tekla").cookies
    assert set(cookies) == {"session", "csrf"}
    for cookie in cookies.values():
        assert (cookie["httponly"], cookie["samesite"]) == (True, "Lax")
    assert cookies["session"]["max-age"] == 12 * 60 * 60


def test_signing_in_gives_a_new_session_and_signing_out_ends_it(technician: User) -> None:
    client = Client()
    sign_in(client, "tekla")
    first = client.cookies["session"].value
    client.post("/sign-out/")
    assert not Session.objects.exists()
    client.cookies["session"] = first
    assert client.get("/")["Location"] == "/sign-in/?next=/"
    sign_in(client, "tekla")
    assert client.cookies["session"].value != first


def test_a_wrong_name_and_a_wrong_password_get_the_same_answer(technician: User) -> None:
    def said(name: str, password: str) -> str:
        answer = sign_in(Client(), name, password)
        assert answer.status_code == 200
        page = answer.content.decode().replace(name, "NAME")
        return re.sub(r'name="csrfmiddlewaretoken" value="\w+"|This page was made.*', "", page)

    assert said("tekla", "not the pass phrase") == said("nobody", "not the pass phrase")


def demo_person(site: Site) -> User:
    return add_person(
        username="demo-manager",
        full_name="Hedda Vantorre",
        role=Role.MANAGER,
        site=site,
        password=PASSWORD,
    )


def test_an_account_of_the_demo_opens_nothing_that_others_can_reach(station: Site) -> None:
    demo_person(station)
    with override_settings(ON_LOOPBACK_ONLY=False):
        answer = sign_in(Client(), "demo-manager")
    assert answer.status_code == 200
    assert "demo&#x27;s accounts work only where the program is local" in answer.content.decode()
    assert not Session.objects.exists()


def test_an_account_of_the_demo_opens_the_program_on_its_own_machine(station: Site) -> None:
    demo_person(station)
    assert sign_in(Client(), "demo-manager").status_code == 302


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"password": "short one here"}, "15 characters"),
        ({"password": "1q2w3e4r5t6y7u8i"}, "too common"),
        ({"password": "Password123456!"}, "easy to guess.*password"),
        ({"password": "P4$$w0rd 2026 !!!!"}, "easy to guess.*password"),
        ({"password": "neckring neckring neckring"}, "easy to guess.*neckring"),
        ({"password": "Station one 12345 St1"}, "easy to guess.*stationone"),
        ({"password": "aaaaaaaaaaaaaaaaaaaa"}, "easy to guess"),
        ({"username": "TEKLA"}, "taken"),
        ({"username": "line\nbreak"}, "valid username"),
        ({"username": "x" * 151}, "150"),
    ],
    ids=str,
)
def test_a_weak_password_or_a_name_that_cannot_be_is_refused(
    technician: User, station: Site, changes: dict[str, str], words: str
) -> None:
    asked_for: dict[str, Any] = {"username": "manfrid", "password": PASSWORD, **changes}
    with pytest.raises(ValidationError, match=words):
        add_person(full_name="Manfrid Merrow", role=Role.MANAGER, site=station, **asked_for)
    assert list(User.objects.all()) == [technician]


def test_a_fresh_database_has_the_roles_and_nobody_in_them(db: None) -> None:
    assert not User.objects.exists()
    assert set(Group.objects.values_list("name", flat=True)) == set(Role)


# ── Absurd questions ────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    "text",
    [
        "1" * 100_000,
        "(01)" * 25_000,
        "(" * 100_000,
        "%" * 100_000,
        "\\" * 100_000,
        "a" * 99_999 + "!",
        "\x1d01" * 30_000,
        "😷" * 25_000,
    ],
    ids=lambda text: repr(text[:6]),
)
def test_a_scan_of_any_length_is_answered(mask: Item, manager: User, text: str) -> None:
    answer = signed_in(manager).get("/find/", {"q": text})
    assert answer.status_code == 404
    assert len(answer.content) < 20_000


ANSWERED = (200, 302, 404, 422)
ABSURD = (
    "/due/?per_page=0",
    "/due/?per_page=1000000000",
    "/due/?per_page=x",
    "/items/?per_page=0",
    "/due/?page=0",
    "/due/?page=-1",
    "/due/?page=99999999999999999999",
    "/due/?page=x",
    "/due/?sort=password",
    "/due/?sort=-due_on,tag",
    "/items/?sort=site__parent__name",
    "/due/?on=9999-12-31",
    "/due/?on=0001-01-01",
    "/due/?on=2026-02-30",
    "/due/?on=x",
    "/due/?on=1950-01-01",
    "/due/?on=2150-12-31",
    "/due/?since=9999-12-31",
    "/due/?until=0",
    "/due/?since=2100-01-01&until=1950-01-01",
    "/due/?task=%00",
    "/due/?site=%00",
    "/due/?state=x",
    "/due/?kind=x",
    "/items/?kind=x",
    "/items/?standing=x&site=NOPE",
    "/items/?text=%00",
    f"/items/?text={'(' * 1000}",
    "/find/?q=00123&on=9999-12-31",
    "/find/?q=%FF%FE",
    f"/items/add/?tag={'x' * 5000}",
    "/papers/overdue.pdf?on=x",
    "/papers/overdue.pdf?site=NOPE",
    "/papers/overdue.pdf?on=9999-12-31",
    "/items/{pk}/?on=9999-12-31",
    "/items/{pk}/?on=x",
    "/items/{pk}/?on=%00",
    "/items/{pk}/service/?task=%00",
    "/papers/items/{pk}/record.pdf?on=9999-12-31",
    "/papers/items/{pk}/record.pdf?on=1950-01-01",
)


def test_absurd_questions_are_answered(mask: Item, manager: User) -> None:
    client = signed_in(manager)
    client.raise_request_exception = False
    answers = {path: client.get(path.format(pk=mask.pk)).status_code for path in ABSURD}
    assert {path: code for path, code in answers.items() if code not in ANSWERED} == {}
    assert answers["/due/?on=9999-12-31"] == 422


@pytest.mark.parametrize("path", ["/due/?per_page=-5", "/items/?per_page=-5"])
def test_a_page_length_below_nothing_is_answered(mask: Item, manager: User, path: str) -> None:
    client = signed_in(manager)
    client.raise_request_exception = False
    assert client.get(path).status_code in (200, 422)


@pytest.mark.parametrize("text", ["\x00", "a\x00b"])
def test_a_scan_with_a_nought_character_finds_nothing(mask: Item, manager: User, text: str) -> None:
    client = signed_in(manager)
    client.raise_request_exception = False
    assert client.get("/find/", {"q": text}).status_code == 404


@pytest.mark.parametrize(
    "path",
    [
        "/items/{pk}/?on=2026-02-30",
        "/papers/items/{pk}/record.pdf?on=2026-02-30",
        "/papers/overdue.pdf?on=2026-02-30",
        "/papers/overdue.pdf?site=NOPE",
        "/items/?kind=x",
    ],
)
def test_a_question_that_cannot_be_read_is_not_answered_as_another(
    mask: Item, manager: User, path: str
) -> None:
    assert signed_in(manager).get(path.format(pk=mask.pk)).status_code == 422


# ── The start ───────────────────────────────────────────────────────────────────────────────────


def test_the_settings_for_other_machines_pass_the_deployment_check(tmp_path: Path) -> None:
    hosts = {"NECKRING_ALLOWED_HOSTS": "neckring.example", "NECKRING_SECRET_KEY": KEY}
    done = manage(tmp_path, "check", "--deploy", "--fail-level", "WARNING", **hosts)
    assert (done.status, done.err) == (0, "")
    assert "no issues (0 silenced)" in done.out
    names = (
        "SESSION_COOKIE_NAME",
        "CSRF_COOKIE_NAME",
        "SESSION_COOKIE_SECURE",
        "CSRF_COOKIE_SECURE",
        "SECURE_HSTS_SECONDS",
        "DEBUG",
        "ON_LOOPBACK_ONLY",
    )
    show = f"import json, config.settings as s; print(json.dumps([getattr(s, n) for n in {names}]))"
    assert json.loads(python(tmp_path, "-c", show, **hosts).out) == [
        "__Host-session",
        "__Host-csrf",
        True,
        True,
        365 * 24 * 60 * 60,
        False,
        False,
    ]


@pytest.mark.parametrize(
    ("settings", "words"),
    [
        ({"NECKRING_SECRET_KEY": "short"}, "NECKRING_SECRET_KEY is too short; use 50 characters."),
        ({"NECKRING_DEBUG": "yes"}, "NECKRING_DEBUG is 'yes'; write 1 or 0."),
        ({"NECKRING_LEAST_FREE_MB": "-1"}, "NECKRING_LEAST_FREE_MB is '-1'; write a whole number."),
        ({"NECKRING_HTTPS": "true"}, "NECKRING_HTTPS is 'true'; write 1 or 0."),
        ({"DATABASE_URL": "nonsense"}, "DATABASE_URL can't be read; write one such as"),
        ({"DATABASE_URL": "mysql://x/y"}, "DATABASE_URL must begin with sqlite:// or postgres://"),
        ({"DATABASE_URL": "oracle-of-delphi://x/y"}, "DATABASE_URL can't be read; write one"),
        ({"NECKRING_DATA_DIR": "/dev/null/x"}, "NECKRING_DATA_DIR: the folder /dev/null/x can't"),
    ],
    ids=str,
)
def test_a_setting_that_cannot_be_is_refused_in_one_line(
    tmp_path: Path, settings: dict[str, str], words: str
) -> None:
    done = manage(tmp_path, "due", **settings)
    assert (done.status, done.out) == (2, "")
    assert done.err.startswith(words)
    assert done.err.count("\n") == 1


def test_every_installation_has_a_key_of_its_own_that_its_owner_alone_can_read(
    tmp_path: Path,
) -> None:
    show = "import config.settings as s; print(s.SECRET_KEY)"
    keys = [python(tmp_path / name, "-c", show).out.strip() for name in ("one", "two", "one")]
    assert keys[0] == keys[2] != keys[1]
    assert min(map(len, keys)) >= 50
    assert stat.S_IMODE((tmp_path / "one" / "secret-key").stat().st_mode) == 0o600


def test_the_program_answers_on_its_own_machine_only_unless_told(tmp_path: Path) -> None:
    show = "import config.settings as s; print(s.ALLOWED_HOSTS, s.ON_LOOPBACK_ONLY, s.DEBUG)"
    assert python(tmp_path, "-c", show).out == ("['localhost', '127.0.0.1', '[::1]'] True False\n")


def test_a_day_of_the_far_future_is_refused_in_words(mask: Item, manager: User) -> None:
    page = signed_in(manager).get("/due/", {"on": date(9999, 12, 31).isoformat()})
    assert "As of: the year 9999 can&#x27;t be meant." in page.content.decode()

"""Changing one's own password: A17, B7, B14, B15, B26."""

import logging

import pytest
from django.contrib.auth.models import User
from django.contrib.sessions.models import Session
from django.test import Client

from registry.people.models import Tries
from registry.trail.models import TrailEntry
from tests.people import PASSWORD, signed_in

ANOTHER = "seven loose shingles on a barn"
FORM = {"current": PASSWORD, "password": ANOTHER, "again": ANOTHER}


def may_sign_in(user: User, password: str) -> bool:
    user.refresh_from_db()
    return user.check_password(password)


def test_somebody_changes_their_password_and_stays_signed_in_here_alone(
    auditor: User, caplog: pytest.LogCaptureFixture
) -> None:
    here, elsewhere = signed_in(auditor), signed_in(auditor)
    page = here.get("/").content.decode()
    assert '<a href="/account/">Audra Merrow</a>' in page
    before = here.cookies["session"].value
    with caplog.at_level(logging.INFO, "neckring.security"):
        answer = here.post("/account/", FORM)
    assert answer["Location"] == "/account/"
    assert "Your password is changed." in here.get("/account/").content.decode()
    assert here.cookies["session"].value != before
    assert elsewhere.get("/").status_code == 302
    assert Session.objects.count() == 1
    assert may_sign_in(auditor, ANOTHER)
    entry = TrailEntry.objects.latest("number")
    assert (entry.what, entry.subject, entry.by_user) == ("person", "audra", auditor)
    assert entry.after == '{"password":"changed by its owner"}'
    assert 'password-changed account="audra" by="audra"' in caplog.text
    assert ANOTHER not in caplog.text
    assert PASSWORD not in caplog.text


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"current": ""}, "Current password: write the one you signed in with."),
        ({"password": "", "again": ""}, "New password: write one."),
        ({"again": "seven loose shingles on a bran"}, "it differs from the one above"),
        ({"password": "too short", "again": "too short"}, "at least 15 characters"),
        ({"password": "Password123456!", "again": "Password123456!"}, "easy to guess"),
    ],
    ids=str,
)
def test_what_can_be_no_password_is_refused_in_words(
    technician: User, changes: dict[str, str], words: str
) -> None:
    answer = signed_in(technician).post("/account/", {**FORM, **changes})
    assert answer.status_code == 422
    page = answer.content.decode()
    assert words in page
    assert ANOTHER not in page
    assert may_sign_in(technician, PASSWORD)


def test_without_the_old_password_nothing_changes_and_the_try_counts(technician: User) -> None:
    client = signed_in(technician)
    answers = [
        client.post("/account/", {**FORM, "current": "not it, not at all"}) for _ in "123456"
    ]
    assert {answer.status_code for answer in answers} == {422}
    assert "Current password: this is not your password" in answers[0].content.decode()
    assert max(Tries.objects.values_list("failures", flat=True)) == 6
    entry = TrailEntry.objects.latest("number")
    assert (entry.what, entry.why) == ("password-change-refused", "wrong password")
    paused = client.post("/account/", FORM)
    assert "Too many wrong tries" in paused.content.decode()
    assert may_sign_in(technician, PASSWORD)


def test_a_password_counts_to_its_last_sign_however_it_is_typed(technician: User) -> None:
    long = "tall fir, grey scree, é" + " and so on" * 12
    client = signed_in(technician)
    assert client.post("/account/", {**FORM, "password": long, "again": long}).status_code == 302
    fresh = Client()
    said = {"username": "tekla", "password": long.replace("é", "e\u0301")}
    assert fresh.post("/sign-in/", said).status_code == 302


def test_a_manager_gives_their_own_another_password_by_the_old_one_only(manager: User) -> None:
    client = signed_in(manager)
    path = f"/people/{manager.pk}/password/"
    for answer in (client.get(path), client.post(path, {"password": ANOTHER})):
        assert answer["Location"] == "/account/"
    assert may_sign_in(manager, PASSWORD)

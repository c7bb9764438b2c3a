"""What is typed and sent after the session's end comes back to whoever typed it. D26, A17, B8."""

import re
from datetime import timedelta
from typing import Any

import pytest
import time_machine
from django.contrib.auth.models import User
from django.contrib.sessions.models import Session
from django.test import Client

from registry.items.models import Item
from registry.people.models import KeptForm
from registry.people.pure import KEPT_FOR, LONGEST_AWAY, LONGEST_KEPT
from registry.sites.clock import now
from servicing.bench.models import Draft
from servicing.ledger.models import Record
from tests.people import PASSWORD, signed_in
from tests.servicing.bench.desk import DONE, STEPS, Desk
from tests.servicing.bench.test_batches import Crate

LEAK = "?step=leak"
KEPT = "Typed here, but not saved yet"


def hidden(page: str, name: str) -> str:
    found = re.search(rf'name="{name}" value="([^"]*)"', page)
    assert found is not None, name
    return found[1]


def promised(client: Client, path: str) -> dict[str, str]:
    """Open a page and return what its form sends by itself."""
    return {"kept_for": hidden(client.get(path).content.decode(), "kept_for")}


def sign_in(client: Client, name: str, following: str) -> Any:
    said = {"username": name, "password": PASSWORD, "next": following}
    return client.post("/sign-in/", said)


@pytest.fixture
def leak(desk: Desk) -> dict[str, str]:
    """The work at its reading, the page with it open, and the session at its end."""
    for step, given in STEPS[:4]:
        desk.answer(step, given)
    form = promised(desk.client, desk.path + LEAK)
    Session.objects.all().delete()
    return {**form, "step": "leak", "typed": "0,37", "unit": "mbar", "note": "cold"}


def test_a_reading_sent_after_the_end_is_typed_in_again_and_not_judged(
    desk: Desk, leak: dict[str, str]
) -> None:
    sent = desk.client.post(desk.path + LEAK, leak)
    assert sent["Location"] == f"/sign-in/?next={desk.path}%3Fstep%3Dleak"
    page = desk.client.get(sent["Location"]).content.decode()
    assert "What you typed is not lost" in page
    assert "0,37" not in page
    assert "leak" not in Draft.objects.get().answers

    back = sign_in(desk.client, "tekla", desk.path + LEAK)
    page = desk.client.get(back["Location"]).content.decode()
    assert KEPT in page
    assert 'value="0,37"' in page
    assert "cold" in page
    assert "Pass." not in page
    assert "leak" not in Draft.objects.get().answers

    # Looking again changes nothing; pressing the button judges it, once.
    assert KEPT in desk.client.get(desk.path + LEAK).content.decode()
    assert desk.client.post(desk.path + LEAK, leak).status_code == 302
    assert Draft.objects.get().answers["leak"]["typed"] == "0,37"
    assert not KeptForm.objects.exists()
    assert KEPT not in desk.client.get(desk.path + LEAK).content.decode()


def test_a_session_that_ran_out_keeps_it_as_well(desk: Desk) -> None:
    for step, given in STEPS[:4]:
        desk.answer(step, given)
    form = promised(desk.client, desk.path + LEAK)
    with time_machine.travel(now() + LONGEST_AWAY + timedelta(minutes=1)):
        sent = desk.client.post(desk.path + LEAK, {**form, "step": "leak", "typed": "0.3"})
        page = desk.client.get(sent["Location"]).content.decode()
        assert "You were signed out" in page
        assert "What you typed is not lost" in page
    assert KeptForm.objects.get().fields == {"typed": "0.3"}


def test_somebody_else_at_the_same_screen_never_sees_it(
    desk: Desk, leak: dict[str, str], manager: User
) -> None:
    desk.client.post(desk.path + LEAK, leak)
    landed = sign_in(desk.client, manager.username, desk.path + LEAK)
    for path in (landed["Location"], desk.path, "/", f"{desk.path}check/"):
        page = desk.client.get(path, follow=True).content.decode()
        assert "0,37" not in page, path
        assert KEPT not in page, path
    desk.client.post("/sign-out/")
    # The owner finds it, at any screen, also without having asked for the page.
    elsewhere = Client()
    landed = sign_in(elsewhere, "tekla", "/")
    assert landed["Location"] == desk.path + LEAK
    assert 'value="0,37"' in elsewhere.get(landed["Location"]).content.decode()


def test_a_form_from_before_signing_in_again_elsewhere_is_typed_in_again(
    desk: Desk, manager: User
) -> None:
    for step, given in STEPS[:4]:
        desk.answer(step, given)
    client = Client(enforce_csrf_checks=True)
    client.force_login(desk.user)
    old = client.get(desk.path + LEAK).content.decode()
    sent = {name: hidden(old, name) for name in ("csrfmiddlewaretoken", "kept_for")}
    sent |= {"step": "leak", "typed": "0,37", "unit": "mbar"}
    client.force_login(desk.user)  # in another window, which changes the token of all forms
    client.get("/sign-in/")
    client.cookies["csrf"] = "x" * 32
    answer = client.post(desk.path + LEAK, sent)
    assert (answer.status_code, answer["Location"]) == (302, desk.path + LEAK)
    page = client.get(desk.path + LEAK).content.decode()
    assert KEPT in page
    assert 'value="0,37"' in page
    assert "leak" not in Draft.objects.get().answers

    client.force_login(manager)  # somebody else has signed in in that other window
    client.cookies["csrf"] = "x" * 32
    refused = client.post(desk.path + LEAK, {**sent, "typed": "0,44"})
    assert refused.status_code == 403
    assert "kept on the server for the person whose page it was" in refused.content.decode()
    assert KeptForm.objects.get().user == desk.user
    client.logout()
    client.cookies["csrf"] = "x" * 32
    assert client.post(desk.path + LEAK, sent)["Location"].startswith("/sign-in/?next=/bench/")


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"kept_for": ""}, "nothing was promised"),
        ({"kept_for": "made:up"}, "it was not promised here"),
        ({"typed": "9" * (LONGEST_KEPT + 1), "note": ""}, "it is longer than any form"),
        ({"typed": "", "unit": "", "note": ""}, "nothing was typed"),
    ],
)
def test_what_was_not_promised_is_not_kept(
    desk: Desk, leak: dict[str, str], changes: dict[str, str], why: str
) -> None:
    desk.client.post(desk.path + LEAK, {**leak, **changes})
    assert not KeptForm.objects.exists(), why


def test_a_promise_holds_for_its_own_address_and_not_for_ever(
    desk: Desk, leak: dict[str, str]
) -> None:
    desk.client.post(f"{desk.path}check/", leak)
    with time_machine.travel(now() + KEPT_FOR + timedelta(minutes=1)):
        desk.client.post(desk.path + LEAK, leak)
    assert not KeptForm.objects.exists()


def test_what_waits_too_long_is_shown_no_more_and_goes(desk: Desk, leak: dict[str, str]) -> None:
    desk.client.post(desk.path + LEAK, leak)
    with time_machine.travel(now() + KEPT_FOR + timedelta(minutes=1)):
        client = signed_in(desk.user)
        assert KEPT not in client.get(desk.path + LEAK).content.decode()
        form = promised(client, desk.path + "?step=look")
        Session.objects.all().delete()
        client.post(desk.path + "?step=look", {**form, "note": "scratched"})
    assert KeptForm.objects.get().fields == {"note": "scratched"}


def test_work_thrown_away_takes_along_what_was_kept_for_it(
    desk: Desk, leak: dict[str, str]
) -> None:
    desk.client.post(desk.path + LEAK, leak)
    client = signed_in(desk.user)
    client.post(desk.path + "?step=moisten", {"step": "moisten", **DONE})
    assert KeptForm.objects.exists()  # another step was answered meanwhile
    client.post(f"{desk.path}put-aside/")
    assert not KeptForm.objects.exists()


def test_a_reading_comes_back_in_the_unit_it_was_typed_in(desk: Desk, leak: dict[str, str]) -> None:
    desk.client.post(desk.path + LEAK, {**leak, "typed": "1", "unit": "psi"})
    page = signed_in(desk.user).get(desk.path + LEAK)
    assert page.context["view"].unit.name == "psi"
    assert 'name="unit" value="psi"' in page.content.decode()


def test_of_a_signature_only_the_note_is_kept(desk: Desk) -> None:
    desk.answer_all()
    page = desk.check()
    form = {name: hidden(page.content.decode(), name) for name in ("kept_for", "seen", "key")}
    Session.objects.all().delete()
    secret = {"password": PASSWORD, "checker": "tekla", "checker_password": PASSWORD}
    desk.client.post(
        f"{desk.path}check/", {**form, **secret, "act": "sign", "note": "new disc, box 4"}
    )
    assert KeptForm.objects.get().fields == {"note": "new disc, box 4"}
    assert not Record.objects.filter(item=desk.item).exists()
    assert "new disc, box 4" in signed_in(desk.user).get(f"{desk.path}check/").content.decode()
    assert not Record.objects.filter(item=desk.item).exists()


def test_script_is_sent_to_the_whole_sign_in_page(desk: Desk, leak: dict[str, str]) -> None:
    answer = desk.client.post(desk.path + LEAK, leak, headers={"HX-Request": "true"})
    assert answer.status_code == 200
    assert answer["HX-Redirect"] == f"/sign-in/?next={desk.path}%3Fstep%3Dleak"
    page = desk.client.get(answer["HX-Redirect"]).content.decode()
    assert "What you typed is not lost" in page


def test_the_day_and_the_instruments_come_back(
    technician: User, mask: Item, test_bench: Item
) -> None:
    desk = Desk(technician, mask)
    form = promised(desk.client, f"{desk.path}?step=setting")
    Session.objects.all().delete()
    chosen = {"pick_mask-test-bench": str(test_bench.pk), "done_on": "2026-11-20"}
    desk.client.post(f"{desk.path}?step=setting", {**form, **chosen, "step": "setting"})
    page = signed_in(technician).get(f"{desk.path}?step=setting")
    assert KEPT in page.content.decode()
    assert page.context["form"]["done_on"].value() == "2026-11-20"
    assert page.context["form"]["pick_mask-test-bench"].value() == str(test_bench.pk)
    assert not Draft.objects.exists()


def test_a_reading_of_a_batch_comes_back_to_its_own_item(
    technician: User, mask: Item, test_bench: Item
) -> None:
    crate = Crate(technician, test_bench)
    path = crate.scan(mask.tag)["Location"]
    page = crate.client.get(path).content.decode()
    form = {"kept_for": hidden(page, "kept_for"), "item": str(mask.pk)}
    Session.objects.all().delete()
    crate.client.post(path, {**form, "typed_leak": "5", "unit_leak": "psi", "note": "cold"})
    client = signed_in(technician)
    assert KEPT not in client.get(crate.path).content.decode()
    shown = client.get(path)
    fields = shown.context["form"]
    assert KEPT in shown.content.decode()
    assert [fields[name].value() for name in ("typed_leak", "unit_leak")] == ["5", "psi"]
    assert Draft.objects.get().answers == {}
    client.post(path, {"item": str(mask.pk), "typed_leak": "0,5", "unit_leak": "mbar"})
    assert not KeptForm.objects.exists()

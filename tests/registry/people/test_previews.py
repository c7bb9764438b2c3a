"""What a form is answered with has an address of its own: reloaded, gone back to, kept. D24."""

from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import Client

from registry.items.models import Item
from registry.people.models import KeptForm
from registry.sites.clock import now, today_at
from servicing.ledger.models import Record
from tests.people import PASSWORD, signed_in, unproved

REASON = "Fell off the truck."


@pytest.fixture
def client(technician: User) -> Client:
    """A client that does not go on by itself."""
    plain = Client()
    plain.force_login(technician)
    return unproved(plain)


@pytest.fixture
def service(mask: Item) -> tuple[str, dict[str, str]]:
    typed = {
        "key": "k" * 32,
        "task": "cleaning",
        "outcome": "pass",
        "done_on": today_at(mask.site).isoformat(),
        "performed_by": "Somebody",
        "note": "wash <b>& dry</b>",
        "password": PASSWORD,
    }
    return f"/items/{mask.pk}/service/?task=cleaning", typed


def test_a_check_page_can_be_reloaded_and_gone_back_to(
    client: Client, service: tuple[str, dict[str, str]]
) -> None:
    path, typed = service
    answer: Any = client.post(path, {**typed, "step": "check"})
    assert (answer.status_code, answer["Location"]) == (302, f"{path}&shown=1")
    for _ in range(2):
        page = client.get(answer["Location"])
        assert page.status_code == 200
        assert "Sign and enter it in the ledger" in page.content.decode()
        assert "wash &lt;b&gt;&amp; dry&lt;/b&gt;" in page.content.decode()
    assert not Record.objects.exists()
    assert PASSWORD not in str(KeptForm.objects.get().fields)

    # Changing something is an address, too, with everything typed in.
    change = client.post(answer["Location"], {**typed, "step": "change"})
    assert change["Location"] == answer["Location"]
    assert "Log a service" in client.get(change["Location"]).content.decode()

    # Refused where it was sent; entered once; and then there is nothing to go back to.
    sent = {**typed, "step": "enter"}
    assert client.post(answer["Location"], {**sent, "password": "x"}).status_code == 422
    done = client.post(answer["Location"], sent)
    assert "/records/1/" in done["Location"]
    assert client.get(answer["Location"])["Location"] == path
    assert Record.objects.count() == 1
    assert not KeptForm.objects.exists()


def test_nobody_else_is_shown_what_was_sent(
    client: Client, service: tuple[str, dict[str, str]], manager: User
) -> None:
    path, typed = service
    shown = client.post(path, {**typed, "step": "check"})["Location"]
    assert signed_in(manager).get(shown)["Location"] == path
    assert Client().get(shown)["Location"].startswith("/sign-in/")
    # Nor does signing in again lead to it: it was not sent too late.
    assert "was signed out" not in client.get("/").content.decode()


def test_looking_again_enters_nothing_whatever_became_of_the_register(
    client: Client, mask: Item, technician: User
) -> None:
    """Kept is a form that would be entered now, as where a question has fallen away since."""
    path = f"/items/{mask.pk}/standing/withdraw/"
    form = {"key": ["d" * 32], "reason": [REASON], "step": ["enter"]}
    KeptForm.objects.create(user=technician, address=f"shown {path}", fields=form, kept_at=now())
    signed = Client()
    signed.login(username=technician.username, password=PASSWORD)
    assert signed.get(f"{path}?shown=1")["Location"] == path
    assert not Record.objects.exists()


@pytest.mark.parametrize("address", ["/sign-in/?shown=1", "/live?shown=1", "/?shown=1"])
def test_a_stranger_is_shown_nothing_again(db: None, address: str) -> None:
    assert Client().get(address).status_code in (200, 302)

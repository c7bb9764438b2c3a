"""The pages about people, as a manager uses them and an auditor reads them: A1, A30, B7."""

from datetime import timedelta

import pytest
from django.contrib.auth.models import User
from django.test import Client

from registry.people.models import Authorisation
from registry.people.queries import role_of
from registry.sites.clock import today_at
from registry.sites.models import Site
from tests.people import PASSWORD, signed_in


def page(client: Client, address: str) -> str:
    return client.get(address).content.decode()


def test_a_manager_gives_an_account_changes_it_and_closes_it(
    manager: User, station: Site, valley: Site
) -> None:
    client = signed_in(manager)
    person = {"full_name": "Oda Fenwright", "role": "technician", "site": station.pk}
    answer = client.post("/people/add/", {**person, "username": "oda", "password": PASSWORD})
    oda = User.objects.get(username="oda")
    assert answer["Location"] == f"/people/{oda.pk}/"
    client.post(f"/people/{oda.pk}/edit/", {**person, "role": "auditor", "why": "moved on"})
    assert role_of(oda) == "auditor"
    client.post(f"/people/{oda.pk}/close/", {"why": "left"})
    oda.refresh_from_db()
    assert not oda.is_active
    shown = page(client, f"/people/{oda.pk}/")
    assert "Oda Fenwright: the account is closed" in shown
    assert "Close the account" not in shown
    answer = client.post("/people/add/", {**person, "username": "ODA", "password": PASSWORD})
    assert answer.status_code == 422
    assert "The name ODA is taken; choose another." in answer.content.decode()


@pytest.mark.parametrize(
    ("address", "form", "words"),
    [
        ("/people/{own}/edit/", {"role": "auditor"}, "Nobody changes their own role"),
        ("/people/{own}/close/", {"why": "x"}, "Nobody closes their own account"),
        ("/people/{other}/close/", {}, "Why: write the reason."),
        ("/people/{other}/password/", {"password": "Password123456!"}, "easy to guess"),
        ("/people/{own}/authorise/", {"task": "cleaning"}, "Nobody authorises themselves"),
        ("/people/{other}/authorise/", {"valid_until": "2020-01-01"}, "Valid until: 2020-01-01"),
    ],
    ids=str,
)
def test_a_refusal_comes_back_in_words_with_what_was_typed(
    manager: User, technician: User, address: str, form: dict[str, str], words: str
) -> None:
    client = signed_in(manager)
    site = str(manager.posting.site_id)
    more = {"full_name": "Manfrid Merrow", "role": "manager", "site": site}
    more |= {"task": "cleaning", "valid_from": "2026-01-01"}
    path = address.format(own=manager.pk, other=technician.pk)
    answer = client.post(path, {**more, **form})
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert role_of(manager) == "manager"
    assert not Authorisation.objects.exists()


def test_the_list_names_role_site_since_when_and_by_whom_of_any_day(
    technician: User, manager: User, auditor: User, station: Site
) -> None:
    client = signed_in(auditor)
    shown = page(client, "/people/")
    for words in ("Tekla Merrow", "technician", "ST1 Station one", "command line"):
        assert words in shown
    assert "Give somebody an account" not in shown
    earlier = today_at(station) - timedelta(days=30)
    assert "Nobody had an account on this day." in page(client, f"/people/?on={earlier}")


def test_an_authorisation_is_given_shown_and_taken_back(
    technician: User, manager: User, auditor: User
) -> None:
    client = signed_in(manager)
    said = {"task": "cleaning", "valid_from": "2026-01-01", "note_text": "course 14"}
    client.post(f"/people/{technician.pk}/authorise/", said)
    held = Authorisation.objects.get()
    address = f"/people/{technician.pk}/"
    assert "course 14" in page(signed_in(auditor), address)
    assert "Take it back" in page(client, address)
    assert "Take it back" not in page(signed_in(auditor), address)
    client.post(f"/people/authorisations/{held.pk}/end/", {"why": "left the team"})
    assert "taken back" in page(client, address)

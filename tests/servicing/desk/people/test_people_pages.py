"""The pages about people, as a manager uses them and an auditor reads them: A1, A30, B7."""

import re
from datetime import timedelta

import pytest
from django.contrib.auth.models import User
from django.test import Client

from registry.people.actions.authorisations import grant_authorisation
from registry.people.models import Authorisation
from registry.people.queries import authorisations_ending, role_of
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
        ("/people/{other}/authorise/", {"valid_until": "2020-01-01"}, "Valid until: 1 Jan 2020"),
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
    assert "Manfrid Merrow, " in page(signed_in(auditor), address)
    assert f"({manager.username})" not in page(signed_in(auditor), address)
    assert "Take it back" in page(client, address)
    assert "Take it back" not in page(signed_in(auditor), address)
    client.post(f"/people/authorisations/{held.pk}/end/", {"why": "left the team"})
    assert "taken back" in page(client, address)


def test_who_may_do_what_until_when_stands_on_one_page_of_any_day(
    technician: User, manager: User, second_manager: User, auditor: User, station: Site
) -> None:
    today = today_at(station)
    soon, later = today + timedelta(days=20), today + timedelta(days=300)
    for task, until in (("overhaul", soon), ("cleaning", later)):
        grant_authorisation(
            person=technician, task=task, valid_from=today, valid_until=until, user=manager
        )
    grant_authorisation(
        person=second_manager, task="*", valid_from=today, valid_until=None, user=manager
    )
    shown = page(signed_in(auditor), "/people/tasks/")
    assert "Who may do what, until when. All 3 rows. Printed " in shown
    words = " ".join(re.sub("<.*?>", " ", shown, flags=re.S).split())
    said = f"technician ST1 Station one no {later.day} {later:%b %Y} ends {soon.day} {soon:%b %Y}"
    assert f"Tekla Merrow {said}" in words
    assert "Marek Merrow manager VAL Valley service no end no end no end" in words
    assert "Manfrid Merrow manager VAL Valley service no no no" in words
    then = page(signed_in(auditor), f"/people/tasks/?on={soon + timedelta(days=1)}")
    assert "ends" not in then.split("<tbody", 1)[1].split("</tbody>", 1)[0]
    assert signed_in(technician).get("/people/tasks/").status_code == 200


def test_what_ends_soon_is_known_unless_another_follows(
    technician: User, second_manager: User, manager: User, station: Site
) -> None:
    today = today_at(station)

    def given(person: User, task: str, first: int, last: int | None) -> None:
        until = None if last is None else today + timedelta(days=last)
        begins = today + timedelta(days=first)
        grant_authorisation(
            person=person, task=task, valid_from=begins, valid_until=until, user=manager
        )

    given(technician, "overhaul", -60, 31)
    given(technician, "cleaning", -60, 32)
    given(technician, "flow-test", -60, 5)
    given(technician, "flow-test", 6, 90)
    given(second_manager, "overhaul", -60, -31)
    given(second_manager, "calibration", -90, -32)
    ending = authorisations_ending(today)
    assert [(row.user, row.task) for row in ending] == [
        (second_manager, "overhaul"),
        (technician, "overhaul"),
    ]
    assert [row.task for row in authorisations_ending(today, technician)] == ["overhaul"]

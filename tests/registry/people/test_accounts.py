"""Who may do what, since when, by whom: A1, A9, A30, B7, B13."""

import json
from datetime import timedelta

import pytest
import time_machine
from django.contrib.auth.models import User
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, connection, transaction
from django.db.models import ProtectedError

from registry.people.actions.accounts import (
    PersonRefused,
    add_person,
    change_person,
    close_account,
    set_password,
)
from registry.people.models import PersonVersion
from registry.people.pure import Role
from registry.people.queries import people_as_of, role_of
from registry.sites.clock import now
from registry.sites.models import Site
from registry.trail.models import TrailEntry
from tests.people import PASSWORD, signed_in


def newest() -> TrailEntry:
    return TrailEntry.objects.latest("number")


def made(username: str, site: Site, user: User | None = None) -> User:
    return add_person(
        username=username,
        full_name="Oda Fenwright",
        role=Role.TECHNICIAN,
        site=site,
        password=PASSWORD,
        user=user,
    )


def test_a_new_account_is_in_the_trail_with_who_gave_it(station: Site, manager: User) -> None:
    made("oda", station, manager)
    entry = newest()
    assert (entry.what, entry.subject, entry.by_user) == ("person", "oda", manager)
    assert json.loads(entry.after) == {
        "account": "oda",
        "name": "Oda Fenwright",
        "role": "technician",
        "site": "ST1",
        "account is": "open",
    }


@pytest.mark.parametrize("name", ["tekla", "TEKLA", "Tekla", "\uff54\uff45kla"])
def test_a_name_is_never_given_to_somebody_else_in_any_capitals(
    technician: User, manager: User, station: Site, name: str
) -> None:
    close_account(technician, user=manager, why="left")
    with pytest.raises(ValidationError, match="taken"):
        made(name, station, manager)


def test_a_name_stays_taken_even_when_its_row_is_gone(technician: User, station: Site) -> None:
    User.objects.filter(pk=technician.pk).update(username="somebody")
    with pytest.raises(ValidationError, match="taken"):
        made("Tekla", station)


def test_an_account_is_not_deleted(technician: User) -> None:
    with pytest.raises(ProtectedError):
        technician.delete()
    with pytest.raises(IntegrityError), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("DELETE FROM registry_personversion WHERE user_id = %s", [technician.pk])


def test_a_change_of_role_and_name_is_noted_before_and_after(
    technician: User, manager: User, valley: Site
) -> None:
    change_person(
        technician,
        full_name="Tekla Quarl",
        role=Role.AUDITOR,
        site=valley,
        user=manager,
        why="married",
    )
    entry = newest()
    assert json.loads(entry.before) == {
        "name": "Tekla Merrow",
        "role": "technician",
        "site": "ST1",
    }
    assert json.loads(entry.after) == {"name": "Tekla Quarl", "role": "auditor", "site": "VAL"}
    assert (entry.by, entry.why) == ("Manfrid Merrow (manfrid)", "married")
    assert role_of(User.objects.get(pk=technician.pk)) is Role.AUDITOR


def test_closing_an_account_ends_its_sessions_at_once(technician: User, manager: User) -> None:
    clients = [signed_in(technician), signed_in(technician)]
    other = signed_in(manager)
    close_account(technician, user=manager, why="left")
    assert [c.get("/")["Location"] for c in clients] == ["/sign-in/?next=/"] * 2
    assert other.get("/").status_code == 200
    assert json.loads(newest().after) == {"role": "", "account is": "closed"}


def test_another_password_ends_the_sessions_too_and_is_noted_without_it(
    technician: User, manager: User
) -> None:
    client = signed_in(technician)
    set_password(technician, password="other invented words here", user=manager)
    assert client.get("/").status_code == 302
    assert "invented words" not in newest().after + newest().why


def test_no_manager_changes_their_own_role_or_closes_their_own_account(
    manager: User, valley: Site
) -> None:
    with pytest.raises(PersonRefused, match="own role"):
        change_person(manager, full_name="M", role=Role.AUDITOR, site=valley, user=manager)
    with pytest.raises(PersonRefused, match="own account"):
        close_account(manager, user=manager)


def test_the_last_manager_stays(manager: User, technician: User, valley: Site) -> None:
    with pytest.raises(PersonRefused, match="last manager"):
        close_account(manager, user=None)
    with pytest.raises(PersonRefused, match="last manager"):
        change_person(manager, full_name="M M", role=Role.AUDITOR, site=valley, user=None)
    assert role_of(manager) is Role.MANAGER


@pytest.mark.parametrize("who", ["technician", "auditor", "stranger"])
def test_only_a_manager_changes_accounts(
    request: pytest.FixtureRequest, manager: User, station: Site, who: str
) -> None:
    person = request.getfixturevalue(who)
    before = TrailEntry.objects.count()
    for change in (
        lambda: made("oda", station, person),
        lambda: close_account(manager, user=person),
        lambda: change_person(
            person, full_name="X Y", role=Role.MANAGER, site=station, user=person
        ),
        lambda: set_password(manager, password="other invented words here", user=person),
    ):
        with pytest.raises(PermissionDenied):
            change()
    assert TrailEntry.objects.count() == before


def test_people_are_listed_as_they_stood_on_a_past_day(
    technician: User, manager: User, valley: Site
) -> None:
    start = now()
    with time_machine.travel(start + timedelta(days=10)):
        change_person(
            technician, full_name="Tekla Quarl", role=Role.TECHNICIAN, site=valley, user=manager
        )
    with time_machine.travel(start + timedelta(days=20)):
        change_person(
            technician, full_name="Tekla Quarl", role=Role.AUDITOR, site=valley, user=manager
        )

    def then(days: int) -> tuple[str, str, str, str, int]:
        rows = {row.username: row for row in people_as_of(start + timedelta(days=days))}
        row = rows["tekla"]
        assert row.since is not None
        return row.name, row.role, row.site, row.granted_by, round((row.since - start).days)

    by = "Manfrid Merrow (manfrid)"
    assert then(1)[:4] == ("Tekla Merrow", "technician", "ST1 Station one", "command line")
    assert then(11)[:4] == ("Tekla Quarl", "technician", "VAL Valley service", "command line")
    assert then(21) == ("Tekla Quarl", "auditor", "VAL Valley service", by, 20)
    assert people_as_of(start - timedelta(days=1)) == []
    assert PersonVersion.objects.filter(user=technician).count() == 3

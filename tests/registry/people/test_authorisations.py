"""Competence as of the day: A20."""

import json
from datetime import date, timedelta

import pytest
import time_machine
from django.contrib.auth.models import User
from django.core.exceptions import PermissionDenied
from django.db import IntegrityError, transaction

from registry.people.actions.authorisations import (
    AuthorisationRefused,
    end_authorisation,
    grant_authorisation,
)
from registry.people.models import Authorisation
from registry.people.queries import NotAuthorised, authorisation_of, authorised_text
from registry.sites.clock import now, today_at
from registry.sites.models import Site
from registry.trail.models import TrailEntry

TASK = "overhaul"


def granted(person: User, user: User, **more: object) -> Authorisation:
    said: dict[str, object] = {
        "task": TASK,
        "valid_from": date(2026, 1, 1),
        "valid_until": date(2026, 3, 31),
        **more,
    }
    return grant_authorisation(person=person, user=user, **said)  # type: ignore[arg-type]


def test_without_any_authorisation_for_a_task_it_is_only_marked(technician: User) -> None:
    text = authorised_text(technician, TASK, date(2026, 2, 1))
    assert text == "no authorisation is kept for this task"


@pytest.mark.parametrize(
    ("on", "good"),
    [
        (date(2025, 12, 31), False),
        (date(2026, 1, 1), True),
        (date(2026, 3, 31), True),
        (date(2026, 4, 1), False),
    ],
)
def test_the_first_and_the_last_day_are_good_days(
    technician: User, manager: User, on: date, good: bool
) -> None:
    row = granted(technician, manager)
    if good:
        assert authorised_text(technician, TASK, on) == (
            f"authorisation {row.pk}: overhaul, from 1 Jan 2026 until 31 Mar 2026, "
            "by Manfrid Merrow (manfrid)"
        )
    else:
        with pytest.raises(NotAuthorised, match="Tekla Merrow is not authorised for overhaul"):
            authorised_text(technician, TASK, on)


def test_once_one_is_authorised_nobody_else_may(
    technician: User, auditor: User, manager: User
) -> None:
    granted(technician, manager)
    with pytest.raises(NotAuthorised):
        authorised_text(auditor, TASK, date(2026, 2, 1))
    assert "no authorisation" in authorised_text(auditor, "cleaning", date(2026, 2, 1))


def test_one_for_all_tasks_lets_its_holder_in_and_shuts_nobody_out(
    technician: User, auditor: User, manager: User
) -> None:
    granted(technician, manager, task="*")
    assert "all tasks" in authorised_text(technician, TASK, date(2026, 2, 1))
    assert "no authorisation" in authorised_text(auditor, TASK, date(2026, 2, 1))
    granted(auditor, manager)
    assert "all tasks" in authorised_text(technician, TASK, date(2026, 2, 1))


def test_one_that_was_taken_back_covers_last_week_and_not_today(
    technician: User, manager: User, station: Site
) -> None:
    row = granted(technician, manager, valid_from=date(2020, 1, 1), valid_until=None)
    today = today_at(station)
    known_before = now()
    end_authorisation(row, user=manager, why="left the team")
    with pytest.raises(NotAuthorised):
        authorised_text(technician, TASK, today)
    assert authorisation_of(technician, TASK, today - timedelta(days=7)) == row
    assert authorisation_of(technician, TASK, today, known_by=known_before) == row
    entry = TrailEntry.objects.latest("number")
    assert (entry.what, entry.subject, entry.why) == ("authorisation", "tekla", "left the team")
    assert json.loads(entry.before)["task"] == TASK


def test_what_was_granted_later_was_not_known_before(technician: User, manager: User) -> None:
    moment = now()
    with time_machine.travel(moment + timedelta(hours=1)):
        granted(technician, manager)
    assert authorisation_of(technician, TASK, date(2026, 2, 1), known_by=moment) is None


def test_nobody_authorises_themselves_and_only_managers_do(technician: User, manager: User) -> None:
    with pytest.raises(AuthorisationRefused, match="themselves"):
        granted(manager, manager)
    with pytest.raises(PermissionDenied):
        granted(manager, technician)
    row = granted(technician, manager)
    with pytest.raises(AuthorisationRefused, match="reason"):
        end_authorisation(row, user=manager, why="")


def test_an_authorisation_is_only_ever_closed(technician: User, manager: User) -> None:
    row = granted(technician, manager)
    same = Authorisation.objects.filter(pk=row.pk)
    for change in ({"valid_until": None}, {"task": "*"}, {"granted_by": "x"}):
        with pytest.raises(IntegrityError), transaction.atomic():
            same.update(**change)
    with pytest.raises(IntegrityError), transaction.atomic():
        same._raw_delete("default")
    end_authorisation(row, user=manager, why="done")
    with pytest.raises(IntegrityError), transaction.atomic():
        same.update(ended_at=None)

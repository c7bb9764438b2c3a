"""From which day a task is overdue, as stored: what happened today is overdue today (4.7)."""

from datetime import timedelta
from importlib import import_module
from types import SimpleNamespace

import pytest
from django.apps import apps
from django.contrib.auth.models import User
from django.core.management import call_command
from django.db import connection
from django.test import Client

from registry.items.models import Item
from registry.sites.clock import today_at
from registry.sites.models import Site
from servicing.due.actions.services import Service, log_service
from servicing.due.models import StoredObligation
from servicing.due.pure.obligations import State
from servicing.due.queries.items import ItemQuestion, items_today
from servicing.due.queries.rows import DueQuestion, due_rows, stored_row, stored_rows
from servicing.due.queries.sums import state_counts
from tests.people import make_item


@pytest.fixture
def used(station: Site, technician: User) -> Item:
    """A new mask in order that was used today."""
    today = today_at(station)
    made_on = today - timedelta(days=9)
    mask = make_item(station, "M1", made_on=made_on, in_service_on=today - timedelta(days=8))
    for day in (today - timedelta(days=1), today):
        for task in ("cleaning", "tightness-test") if day < today else ("use",):
            service = Service(task, day, "pass", "Tekla Merrow")
            log_service(item=mask, service=service, user=technician, entry_key=f"{task} {day}")
    return mask


def overdue(used: Item) -> set[tuple[str, str]]:
    rows = StoredObligation.objects.filter(item=used)
    return {(row.task, row.event) for row in rows if row.owed.overdue(today_at(used.site))}


def test_what_was_used_today_is_overdue_in_every_list_and_count(used: Item) -> None:
    assert overdue(used) == {("cleaning", "use"), ("tightness-test", "use")}
    late = DueQuestion(state=State.OVERDUE)
    today = today_at(used.site)
    stored = [stored_row(row) for row in stored_rows(late)]
    assert [(row.task, row.due_on) for row in stored] == [
        ("cleaning", today),
        ("tightness-test", today),
    ]
    assert stored == due_rows(late)
    assert state_counts(None)["overdue"] == 2
    assert not stored_rows(DueQuestion(state=State.DUE_SOON)).filter(task="cleaning").exists()


def test_the_command_lists_what_was_used_today_as_overdue(
    used: Item, capsys: pytest.CaptureFixture[str]
) -> None:
    call_command("due", "--state", "overdue", "--format", "csv")
    rows = capsys.readouterr().out.splitlines()[1:]
    today = today_at(used.site).isoformat()
    assert [row.split(",")[5:8] for row in rows] == [
        ["cleaning", today, "overdue"],
        ["tightness-test", today, "overdue"],
    ]


def test_the_list_of_items_shows_what_is_overdue_today_before_what_is_still_good_today(
    used: Item, technician: User
) -> None:
    today = today_at(used.site)
    StoredObligation.objects.filter(item=used, task="periodic-inspection").update(
        task="a-look", due_on=today, overdue_on=today + timedelta(days=1)
    )
    (shown,) = items_today(ItemQuestion())
    assert (shown.next_task, shown.next_overdue) == ("cleaning", today)  # type: ignore[attr-defined]


def test_an_older_register_learns_from_which_day_its_tasks_are_overdue(used: Item) -> None:
    rows = StoredObligation.objects.order_by("pk").values_list("pk", "overdue_on", "event")
    before = list(rows)
    assert {event for _, _, event in before} == {"", "use"}
    StoredObligation.objects.update(overdue_on=None, event="")
    migration = import_module("servicing.migrations.0011_fill_from_which_day_a_task_is_overdue")
    migration.fill(apps, SimpleNamespace(connection=connection))
    assert list(rows) == before


def test_the_first_line_of_a_used_mask_says_that_it_is_not_ready(
    used: Item, technician: User, client: Client
) -> None:
    client.force_login(technician)
    page = client.get(f"/items/{used.pk}/").content.decode()
    assert "M1 is not ready: used today, not yet cleaned and tested." in page
    assert "last good day" not in page


def test_after_a_signature_the_largest_stamp_is_the_worst_and_the_task_just_done_stands_beside(
    used: Item, technician: User, client: Client
) -> None:
    today = today_at(used.site)
    service = Service("periodic-inspection", today, "pass", "Tekla Merrow")
    log_service(item=used, service=service, user=technician, entry_key="looked at")
    client.force_login(technician)
    page = client.get(f"/items/{used.pk}/records/4/")
    stamps = [(str(word), task) for _, word, task in page.context["next"]]
    assert stamps[:3] == [
        ("overdue", "cleaning"),
        ("current", "periodic-inspection"),
        ("overdue", "tightness-test"),
    ]
    assert [task for task, _ in page.context["why"]] == ["cleaning", "periodic-inspection"]

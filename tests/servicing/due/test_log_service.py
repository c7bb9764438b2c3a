"""Logging a service: one transaction, one record, the new date shown."""

from datetime import date, timedelta

import pytest
from django.contrib.auth.models import User

from registry.items.models import Item
from registry.sites.clock import today_at
from servicing.due.actions.services import Service, ServiceRefused, effect_of, log_service
from servicing.due.actions.store import recompute
from servicing.due.queries.rows import DueQuestion, stored_rows
from servicing.ledger.actions import EntryKeyUsedTwice
from servicing.ledger.queries import history_of
from servicing.rules.pure.durations import add_months
from tests.people import make_item, signed_in

KEY = "k" * 32


def a_test(on: date, outcome: str = "pass", task: str = "tightness-test") -> Service:
    return Service(task=task, done_on=on, outcome=outcome, performed_by="Tekla Merrow")


def due_of(item: Item, task: str) -> date | None:
    return stored_rows(DueQuestion(task=task)).get(item=item).due_on


def test_a_pass_moves_the_due_date_six_months_on(mask: Item, technician: User) -> None:
    # DGUV G 305-002, annex 2, full masks: look, function and leak every 6 months.
    today = today_at(mask.site)
    log_service(item=mask, service=a_test(today), user=technician, entry_key=KEY)
    assert due_of(mask, "tightness-test") == add_months(today, 6)


def test_the_effect_shown_before_is_what_then_happens(mask: Item, technician: User) -> None:
    service = a_test(today_at(mask.site) - timedelta(days=3))
    effect = effect_of(mask, service)
    assert not history_of(mask).exists()
    log_service(item=mask, service=service, user=technician, entry_key=KEY)
    after = {o.task: o.due_on for o in effect.after}
    stored = dict(stored_rows(DueQuestion()).filter(item=mask).values_list("task", "due_on"))
    assert after == stored
    assert after != {o.task: o.due_on for o in effect.before}


def test_a_form_sent_twice_makes_one_record(mask: Item, technician: User) -> None:
    service = a_test(today_at(mask.site))
    first = log_service(item=mask, service=service, user=technician, entry_key=KEY)
    again = log_service(item=mask, service=service, user=technician, entry_key=KEY)
    assert first.pk == again.pk
    assert history_of(mask).count() == 1


def test_the_same_form_with_other_content_is_refused(mask: Item, technician: User) -> None:
    today = today_at(mask.site)
    log_service(item=mask, service=a_test(today), user=technician, entry_key=KEY)
    with pytest.raises(EntryKeyUsedTwice, match="sent before"):
        log_service(item=mask, service=a_test(today, "fail"), user=technician, entry_key=KEY)
    assert history_of(mask).count() == 1


@pytest.mark.parametrize(
    ("days", "words"), [(1, "in the future"), (-365 * 30, "before the item was made")]
)
def test_what_cannot_have_happened_is_refused(
    mask: Item, technician: User, days: int, words: str
) -> None:
    service = a_test(today_at(mask.site) + timedelta(days=days))
    with pytest.raises(ServiceRefused, match=words):
        log_service(item=mask, service=service, user=technician, entry_key=KEY)
    assert not history_of(mask).exists()


def test_nothing_can_be_entered_for_a_condemned_item(mask: Item, technician: User) -> None:
    today = today_at(mask.site)
    log_service(item=mask, service=a_test(today, "condemned"), user=technician, entry_key=KEY)
    assert not stored_rows(DueQuestion()).filter(item=mask).exists()
    with pytest.raises(ServiceRefused, match="condemned"):
        log_service(item=mask, service=a_test(today), user=technician, entry_key="x" * 32)


def test_recomputing_after_services_changes_nothing(mask: Item, technician: User) -> None:
    today = today_at(mask.site)
    other = make_item(mask.site, "00124", made_on=date(2021, 2, 1))
    log_service(item=mask, service=a_test(today, "fail"), user=technician, entry_key=KEY)
    log_service(item=other, service=a_test(today, task="use"), user=technician, entry_key="y" * 32)
    assert recompute() == 0


def test_a_technician_logs_a_service_on_screen(mask: Item, technician: User) -> None:
    client = signed_in(technician)
    today = today_at(mask.site)
    page = client.get(f"/items/{mask.pk}/service/?task=tightness-test")
    key = page.context["form"]["key"].value()
    typed = {
        "key": key,
        "task": "tightness-test",
        "done_on": today.isoformat(),
        "outcome": "pass",
        "performed_by": "Tekla Merrow",
        "note": "valve wetted",
        "reading_1": "leak",
        "value_1": "0,4 mbar",
    }
    check = client.post(f"/items/{mask.pk}/service/", {**typed, "step": "check"})
    assert "Nothing is written yet" in check.content.decode()
    assert not history_of(mask).exists()
    done = client.post(f"/items/{mask.pk}/service/", {**typed, "step": "enter"}, follow=True)
    assert done.redirect_chain == [(f"/items/{mask.pk}/records/1/", 302)]
    record = history_of(mask).get()
    assert [(r.name, r.typed) for r in record.readings_as_read] == [("leak", "0,4 mbar")]
    assert record.entered_by_user == technician
    assert f"{add_months(today, 6):%Y·%m}" in done.content.decode()

"""Logging a service: one transaction, one signed record, the new date shown. A15 to A17, A20."""

import re
from datetime import date, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.contrib.auth.models import User
from django.contrib.sessions.models import Session

from registry.items.models import Item
from registry.people.actions.authorisations import grant_authorisation
from registry.people.models import KeptForm
from registry.sites.clock import today_at
from registry.trail.models import TrailEntry
from reports.documents.queries.record import service_record
from servicing.due.actions.services import Service, ServiceRefused, effect_of, log_service
from servicing.due.actions.store import recompute
from servicing.due.queries.rows import DueQuestion, stored_rows
from servicing.ledger.actions import EntryKeyUsedTwice
from servicing.ledger.queries.records import history_of
from servicing.rules.pure.durations import add_months
from tests.people import PASSWORD, make_item, signed_in, unproved
from tests.reports.documents.papers import printing

KEY = "k" * 32


def on_paper(item: Item) -> str:
    return repr(service_record(item, printing(item)).entries)


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
    signature = record.signatures.get()
    assert (signature.meaning, signature.user) == ("performed", technician)
    assert (signature.record_hash, signature.zone) == (record.hash, "Europe/Vienna")
    shown = done.content.decode()
    there = signature.signed_at.astimezone(ZoneInfo("Europe/Vienna"))
    assert f"Performed: Tekla Merrow, {there.day} {there:%b %Y, %H:%M}" in shown
    assert f"{there.day} {there:%b %Y, %H:%M} by Tekla Merrow" in shown
    assert shown.count("Europe/Vienna") == 1
    assert "UTC" not in shown
    assert f"performed: Tekla Merrow, {signature.when}" in on_paper(mask)
    assert f"{add_months(today, 6):%Y·%m}" in done.content.decode()


def form_of(item: Item, **changes: str) -> dict[str, str]:
    return {
        "key": KEY,
        "task": "tightness-test",
        "done_on": today_at(item.site).isoformat(),
        "outcome": "pass",
        "performed_by": "Tekla Merrow",
        "step": "enter",
        **changes,
    }


def test_ten_minutes_after_the_password_nothing_is_entered_without_it(
    mask: Item, technician: User
) -> None:
    client, path = unproved(signed_in(technician)), f"/items/{mask.pk}/service/"
    assert "Your password" in client.post(path, form_of(mask, step="check")).content.decode()
    for word, problem in (("", "signing needs it"), ("not it at all", "this is not your password")):
        refused = client.post(path, form_of(mask, password=word))
        page = refused.content.decode()
        assert refused.status_code == 422
        assert problem in page
        assert "<title>Error: " in page
        assert "not it at all" not in page
    assert not history_of(mask).exists()
    assert TrailEntry.objects.filter(what="signing-refused").count() == 1
    assert client.post(path, form_of(mask, password=PASSWORD)).status_code == 302
    assert [s.meaning for s in history_of(mask).get().signatures.all()] == ["performed"]


def test_what_no_paper_can_show_is_sent_back_and_what_it_can_is_kept(
    mask: Item, technician: User
) -> None:
    client, path = signed_in(technician), f"/items/{mask.pk}/service/"
    odd = client.post(path, form_of(mask, note="leaks \N{FIRE}", performed_by="ไทย"))
    page = odd.content.decode()
    assert odd.status_code == 422
    assert page.count("Paper can&#x27;t show fire (U+1F525): write it without, please.") == 2
    assert "thai character sara ai maimalai (U+0E44)" in page
    assert not history_of(mask).exists()
    assert client.post(path, form_of(mask, note="阀门 שסתום صمام")).status_code == 302
    assert history_of(mask).get().note == "阀门 שסתום صمام"


def test_a_form_sent_twice_is_signed_once(mask: Item, technician: User) -> None:
    client = signed_in(technician)
    for _ in range(2):
        answer = client.post(f"/items/{mask.pk}/service/", form_of(mask))
        assert answer["Location"] == f"/items/{mask.pk}/records/1/"
    assert history_of(mask).get().signatures.count() == 1


def test_who_enters_the_work_of_somebody_else_signs_that_they_entered_it(
    mask: Item, technician: User
) -> None:
    client, path = signed_in(technician), f"/items/{mask.pk}/service/"
    theirs = form_of(mask, performed_by="House of masks")
    assert (
        "House of masks did the work"
        in client.post(path, {**theirs, "step": "check"}).content.decode()
    )
    client.post(path, theirs)
    record = history_of(mask).get()
    assert record.performed_by_user is None
    assert [s.meaning for s in record.signatures.all()] == ["entered"]
    assert "Entered: Tekla Merrow" in client.get(f"/items/{mask.pk}/records/1/").content.decode()


def test_what_a_command_brought_in_is_not_signed_and_says_so(mask: Item, technician: User) -> None:
    service = a_test(today_at(mask.site))
    log_service(item=mask, service=service, user=technician, entry_key=KEY)
    record = history_of(mask).get()
    assert record.unsigned == "not signed"
    record.entered_by_user = None
    assert record.unsigned == "not signed: entered by a command"
    record.carried_over_from = "history.csv"
    assert record.unsigned == "not signed: carried over from a list"
    page = signed_in(technician).get(f"/items/{mask.pk}/records/1/").content.decode()
    assert "<p>Not signed.</p>" in page
    assert "signatures=(), unsigned='not signed'" in on_paper(mask)


def test_nobody_signs_work_of_their_own_that_they_are_not_authorised_for(
    mask: Item, technician: User, manager: User
) -> None:
    def authorise(person: User, by: User | None) -> None:
        grant_authorisation(
            person=person,
            task="tightness-test",
            valid_from=today_at(mask.site),
            valid_until=None,
            user=by,
        )

    authorise(manager, None)  # so the task is for authorised people only
    client, path = signed_in(technician), f"/items/{mask.pk}/service/"
    for step in ("check", "enter"):
        refused = client.post(path, form_of(mask, step=step))
        assert refused.status_code == 422
        assert "Tekla Merrow is not authorised for tightness test" in refused.content.decode()
    assert not history_of(mask).exists()
    authorise(technician, manager)
    client.post(path, form_of(mask))
    record = history_of(mask).get()
    assert record.authorised.startswith("authorisation ")
    assert record.performed_by_user == technician


def test_a_service_typed_when_the_session_had_ended_comes_back_and_is_entered_once(
    mask: Item, technician: User, manager: User
) -> None:
    client, path = signed_in(technician), f"/items/{mask.pk}/service/?task=tightness-test"
    page = client.get(path).content.decode()
    promised = re.search(r'name="kept_for" value="([^"]*)"', page)
    assert promised is not None
    sent = form_of(mask, kept_for=promised[1], note="valve wetted", reading_1="leak")
    sent |= {"value_1": "0,4 mbar", "password": PASSWORD, "seen": "0"}
    Session.objects.all().delete()
    client.post(path, sent)
    assert not history_of(mask).exists()
    assert "password" not in KeptForm.objects.get().fields
    assert "valve wetted" not in signed_in(manager).get(path).content.decode()
    back = signed_in(technician)
    shown = back.get(path).context["form"]
    names = ("key", "seen", "outcome", "note", "reading_1", "value_1")
    assert {name: shown[name].value() for name in names} == {name: sent[name] for name in names}
    back.post(path, sent)
    assert history_of(mask).get().note == "valve wetted"
    assert not KeptForm.objects.exists()

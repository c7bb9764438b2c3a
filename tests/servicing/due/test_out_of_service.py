"""Out of service and back: standing follows from the ledger alone (due/README 6 and 8, A18)."""

from dataclasses import replace
from datetime import date, timedelta

import pytest
from django.contrib.auth.models import User

from registry.items.models import Item
from registry.people.actions.rights import NotAllowed
from registry.sites.clock import today_at
from servicing.due.actions.services import Service, ServiceRefused, log_service
from servicing.due.actions.standing import (
    NotReadyToReturn,
    condemn,
    quarantine,
    return_to_service,
    withdraw,
)
from servicing.due.pure import obligations as engine
from servicing.due.queries.engine import owed, owes
from servicing.due.queries.rows import standing_now
from servicing.ledger.models import Record
from tests.people import PASSWORD, signed_in, unproved

WHY = "Dropped from the truck."
ON = date(2026, 11, 1)


def stands(*records: tuple[str, int, str]) -> tuple[str, date | None, str]:
    """Return the standing after (task, day of November, outcome), for an item without rules."""
    past = [engine.Record(task, date(2026, 11, day), outcome) for task, day, outcome in records]
    found = engine.standing(engine.Item({}, None, None), past, [], date(2026, 11, 25))
    return found.word.value, found.since_on, found.task


@pytest.mark.parametrize("task", ["withdrawal", "quarantine"])
@pytest.mark.parametrize("outcome", ["pass", "fail"])
def test_an_item_taken_out_stays_out_until_it_is_returned(task: str, outcome: str) -> None:
    out = (task, 3, outcome)
    assert stands(out) == ("out-of-service", date(2026, 11, 3), task)
    assert stands(out, ("overhaul", 4, "pass"))[0] == "out-of-service"
    assert stands(out, ("return-to-service", 5, "fail"))[0] == "out-of-service"
    assert stands(out, ("return-to-service", 5, "pass")) == ("in-service", None, "")
    again = (out, ("return-to-service", 5, "pass"), (task, 6, outcome))
    assert stands(*again) == ("out-of-service", date(2026, 11, 6), task)


def test_the_store_and_the_engine_say_the_same_of_how_an_item_stands(
    mask: Item, technician: User
) -> None:
    def both() -> tuple[engine.Standing, engine.Standing]:
        return standing_now([mask])[mask.pk], owes(mask, today_at(mask.site))[0]

    assert len(set(both())) == 1
    withdraw(item=mask, reason=WHY, user=technician, entry_key="out")
    assert len(set(both())) == 1
    assert both()[0].word == "out-of-service"


def test_a_return_ends_no_failure_and_a_pass_ends_no_withdrawal() -> None:
    out, failed = ("withdrawal", 3, "pass"), ("leak", 2, "fail")
    back, passed = ("return-to-service", 5, "pass"), ("leak", 5, "pass")
    assert stands(failed, out) == ("out-of-service", date(2026, 11, 2), "leak")
    assert stands(failed, out, back) == ("out-of-service", date(2026, 11, 2), "leak")
    assert stands(failed, out, passed) == ("out-of-service", date(2026, 11, 3), "withdrawal")
    assert stands(failed, out, passed, back)[0] == "in-service"


def decided(item: Item, user: User, what: object, key: str, reason: str = WHY) -> Record:
    assert callable(what)
    made: Record = what(item=item, reason=reason, user=user, entry_key=key)
    return made


def brought_up_to_date(item: Item, user: User) -> None:
    today = today_at(item.site)
    for each in owed(item, today):
        if each.task != "service-life":
            service = Service(each.task, today, "pass", "Tekla Merrow")
            log_service(item=item, service=service, user=user, entry_key=f"ok {each.task}")


def test_an_item_comes_back_once_everything_is_done(mask: Item, technician: User) -> None:
    taken = decided(mask, technician, withdraw, "out")
    assert (taken.task, taken.note, taken.performed_by) == ("withdrawal", WHY, "Tekla Merrow")
    with pytest.raises(NotReadyToReturn, match=r"tightness test was due on") as refused:
        decided(mask, technician, return_to_service, "back")
    late = [o for o in owed(mask, today_at(mask.site)) if o.state(today_at(mask.site)) == "overdue"]
    assert len(refused.value.reasons) == len(late)
    brought_up_to_date(mask, technician)
    failed = Service("functional-test", today_at(mask.site), "fail", "Tekla Merrow")
    log_service(item=mask, service=failed, user=technician, entry_key="bad")
    with pytest.raises(NotReadyToReturn, match="functional test failed on"):
        decided(mask, technician, return_to_service, "back")
    passed = replace(failed, outcome="pass")
    log_service(item=mask, service=passed, user=technician, entry_key="good")
    assert owes(mask, today_at(mask.site))[0].word == "out-of-service"
    decided(mask, technician, return_to_service, "back")
    assert owes(mask, today_at(mask.site))[0].word == "in-service"
    with pytest.raises(ServiceRefused, match="in service; nothing"):
        decided(mask, technician, return_to_service, "again")


def test_an_item_is_taken_out_once_and_the_same_form_is_one_record(
    mask: Item, technician: User
) -> None:
    first = decided(mask, technician, quarantine, "out")
    assert decided(mask, technician, quarantine, "out").pk == first.pk
    with pytest.raises(ServiceRefused, match="taken out of service already"):
        decided(mask, technician, withdraw, "out again")
    with pytest.raises(ServiceRefused, match="Write why"):
        decided(mask, technician, withdraw, "why", reason=".")
    assert Record.objects.count() == 1


def test_a_manager_condemns_and_then_nothing_follows(
    mask: Item, technician: User, manager: User
) -> None:
    with pytest.raises(NotAllowed, match="fleet manager"):
        decided(mask, technician, condemn, "end")
    decided(mask, manager, withdraw, "out")
    end = decided(mask, manager, condemn, "end")
    assert (end.task, end.outcome) == ("condemnation", "condemned")
    for what in (return_to_service, withdraw, condemn):
        with pytest.raises(ServiceRefused, match="condemned"):
            decided(mask, manager, what, "after")
    assert owes(mask, today_at(mask.site))[1] == ()


def test_a_standing_is_not_logged_as_a_service(mask: Item, technician: User) -> None:
    for task in ("withdrawal", "return-to-service"):
        service = Service(task, today_at(mask.site), "pass", "Tekla Merrow")
        with pytest.raises(ServiceRefused, match="own page"):
            log_service(item=mask, service=service, user=technician, entry_key=task)
    page = signed_in(technician).get(f"/items/{mask.pk}/service/").content.decode()
    assert 'value="return-to-service"' not in page
    assert 'value="condemned"' not in page


def test_screens_take_an_item_out_say_what_is_missing_and_bring_it_back(
    mask: Item, technician: User
) -> None:
    client, path = signed_in(technician), f"/items/{mask.pk}/standing/"
    sent = {"reason": WHY, "key": "o" * 32, "step": "enter"}
    assert client.post(f"{path}withdraw/", sent).status_code == 302
    page = client.get(f"/items/{mask.pk}/").content.decode()
    assert "taken out of service and has not been returned" in page
    assert f"{path}return/" in page
    assert "To be done before it can return" in client.get(f"{path}return/").content.decode()
    answer = client.post(f"{path}return/", {**sent, "key": "b" * 32})
    assert answer.status_code == 422
    assert "return to service yet" in answer.content.decode()
    assert WHY in answer.content.decode()
    assert Record.objects.count() == 1
    brought_up_to_date(mask, technician)
    assert client.post(f"{path}return/", {**sent, "key": "b" * 32}).status_code == 302
    signed = {r.task: [s.meaning for s in r.signatures.all()] for r in Record.objects.all()}
    assert signed["withdrawal"] == ["performed"]
    assert signed["return-to-service"] == ["released"]
    assert client.get(f"{path}elsewhere/").status_code == 404


def test_condemning_is_asked_twice_and_of_a_manager(
    mask: Item, technician: User, manager: User
) -> None:
    path = f"/items/{mask.pk}/standing/condemn/"
    sent = {"reason": WHY, "key": "e" * 32}
    assert signed_in(technician).get(path).status_code == 403
    assert signed_in(technician).post(path, {**sent, "step": "enter"}).status_code == 403
    client = signed_in(manager)
    asked = client.post(path, {**sent, "step": "check"}).content.decode()
    assert "for ever?" in asked
    assert not Record.objects.exists()
    assert client.post(path, {**sent, "step": "enter"}).status_code == 302
    assert Record.objects.get().outcome == "condemned"
    assert today_at(mask.site) - Record.objects.get().done_on < timedelta(days=2)


def test_ten_minutes_after_the_password_a_decision_is_signed_with_it(
    mask: Item, manager: User
) -> None:
    client, path = unproved(signed_in(manager)), f"/items/{mask.pk}/standing/"
    sent = {"reason": WHY, "key": "e" * 32, "step": "enter"}
    for decision in ("withdraw", "condemn"):
        for word in ("", "not it at all"):
            refused = client.post(f"{path}{decision}/", {**sent, "password": word})
            page = refused.content.decode()
            assert refused.status_code == 422
            assert "Your password" in page
            assert ("for ever?" in page) is (decision == "condemn")
    assert not Record.objects.exists()
    client.post(f"{path}condemn/", {**sent, "password": PASSWORD})
    assert [s.meaning for s in Record.objects.get().signatures.all()] == ["performed"]

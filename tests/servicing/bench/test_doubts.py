"""An item in doubt is not ready, wherever that is asked, until it is tested or a manager rules."""

from datetime import date, datetime, timedelta

import pytest
from django.contrib.auth.models import User
from django.db import connection
from django.db.models import Q
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from registry.items.models import Item
from registry.people.actions.rights import NotAllowed
from registry.sites.clock import now, today_at
from registry.sites.models import Site
from servicing.due.actions.corrections import correct_record
from servicing.due.actions.doubts import let_stand
from servicing.due.actions.services import Service, ServiceRefused
from servicing.due.queries.doubts import in_doubt, in_doubt_at, open_doubts
from servicing.due.queries.sets import set_sheet, sets_today
from servicing.filling.pure.may_fill import Weight
from servicing.filling.queries import answers
from servicing.ledger.models import Record
from servicing.ledger.queries.records import history_of
from servicing.ledger.queries.whole import ledger_faults
from tests.people import PASSWORD, make_item, signed_in
from tests.servicing.bench.conftest import calibrate, fitted
from tests.servicing.bench.test_instruments import measure

WHY = "The bench read high, so what passed on it passes all the more."


@pytest.fixture
def doubted(test_bench: Item, mask: Item, technician: User, today: date) -> Record:
    """A mask measured ten days ago, with a bench that failed its calibration two days ago."""
    measure(mask, test_bench, today - timedelta(days=10), technician, 1)
    calibrate(test_bench, today - timedelta(days=2), "fail", technician)
    record = history_of(mask).get(entry_key="measured-1")
    record.item = mask
    return record


@pytest.fixture
def whole(station: Site, mask: Item, today: date) -> Item:
    """A set that the mask is in."""
    made = make_item(station, "S001", "set", made_on=date(2020, 1, 1))
    fitted(made, mask, today - timedelta(days=20))
    return made


def words(today: date) -> str:
    tested, failed = today - timedelta(days=10), today - timedelta(days=2)
    return (
        f"in doubt: its tightness test of {tested.day} {tested:%b %Y} was measured with B01, "
        f"which failed its calibration on {failed.day} {failed:%b %Y}"
    )


def test_what_is_in_doubt_is_not_ready_wherever_that_is_asked(
    doubted: Record, whole: Item, mask: Item, today: date, auditor: User
) -> None:
    why = f"mask {mask.tag}: {words(today)}"
    [row] = sets_today()
    assert why in row.readiness.reasons
    assert why in set_sheet(whole, today).readiness.reasons
    desk = signed_in(auditor)
    page = desk.get(mask.get_absolute_url()).content.decode()
    assert f'<h1 class="answer in-doubt">{mask.tag} is not ready: {words(today)}.</h1>' in page
    assert why in desk.get(whole.get_absolute_url()).content.decode()
    found = desk.get(reverse("record", args=[mask.pk, doubted.position])).content.decode()
    assert f"Today {mask.tag} is not ready: {words(today)}." in found


def test_of_another_day_or_moment_the_doubt_is_what_was_known_then(
    whole: Item, doubted: Record, today: date
) -> None:
    def said(on: date, known_by: datetime | None = None) -> bool:
        reasons = set_sheet(whole, on, known_by).readiness.reasons
        return any("in doubt" in why for why in reasons)

    failed = open_doubts()[0].failure
    assert said(today)
    assert said(failed.done_on)
    assert not said(failed.done_on - timedelta(days=1))
    assert not said(today, failed.entered_at - timedelta(microseconds=1))


def test_a_cylinder_in_doubt_is_not_filled_and_the_answer_says_why(
    test_bench: Item, station: Site, technician: User, today: date
) -> None:
    bottle = make_item(station, "C117", "cylinder", made_on=date(2020, 1, 1))
    measure(bottle, test_bench, today - timedelta(days=10), technician, 1)
    calibrate(test_bench, today - timedelta(days=2), "fail", technician)
    [answer] = answers([bottle], None)
    reason = next(r for r in answer.verdict.reasons if r.weight is Weight.IN_DOUBT)
    assert words(today) in reason.sentence


def test_a_manager_lets_a_record_stand_by_a_record_that_only_another_one_undoes(
    doubted: Record, mask: Item, test_bench: Item, manager: User, technician: User
) -> None:
    today = today_at(mask.site)
    with pytest.raises(NotAllowed, match="Only a fleet manager"):
        let_stand(record=doubted, reason=WHY, user=technician, entry_key="r")
    with pytest.raises(ServiceRefused, match="Write why"):
        let_stand(record=doubted, reason=".", user=manager, entry_key="r")
    before = now()
    desk, address = signed_in(manager), reverse("let-stand", args=[mask.pk, doubted.position])
    sent = {"key": "r" * 32, "reason": WHY, "password": PASSWORD}
    assert desk.get(address).status_code == 200
    assert desk.post(address, sent).status_code == 302
    ruling = history_of(mask).get(entry_key="r" * 32)
    assert ruling.note == WHY
    assert [signature.meaning for signature in ruling.signatures.all()] == ["performed"]
    assert f"Record {doubted.number}, tightness test of" in ruling.entry.checks[0].text
    assert not in_doubt_at(mask)
    assert not open_doubts()
    assert in_doubt(Q(item=mask), today, before)
    page = desk.get(reverse("record", args=[mask.pk, doubted.position])).content.decode()
    assert "It stands by the" in page
    assert WHY in page
    assert (
        "stands, ruled"
        in desk.get(reverse("instrument-records", args=[test_bench.pk])).content.decode()
    )
    assert "is in doubt" not in desk.get(mask.get_absolute_url()).content.decode()
    with pytest.raises(ServiceRefused, match="nothing to rule"):
        let_stand(record=doubted, reason=WHY, user=manager, entry_key="again")
    # Nobody writes another ruling in its place; that it never happened puts the doubt back.
    ruling.item = mask
    other = Service("record-stands", today, "pass", "Manfrid", note="For another reason.")
    with pytest.raises(ServiceRefused, match="not rewritten"):
        correct_record(record=ruling, service=other, reason=WHY, user=technician, entry_key="c")
    correct_record(record=ruling, service=None, reason=WHY, user=technician, entry_key="c")
    assert in_doubt_at(mask)
    assert list(ledger_faults()) == []


def test_a_ruling_holds_for_that_failure_and_not_for_another(
    doubted: Record, mask: Item, test_bench: Item, manager: User, technician: User
) -> None:
    let_stand(record=doubted, reason=WHY, user=manager, entry_key="r")
    assert not in_doubt_at(mask)
    failed = history_of(test_bench).get(outcome="fail")
    failed.item = test_bench
    earlier = Service("calibration", failed.done_on - timedelta(days=1), "fail", "Another house")
    correct_record(
        record=failed, service=earlier, reason="Wrong day.", user=technician, entry_key="c"
    )
    assert in_doubt_at(mask), "the failure is another one now; the manager spoke of the old one"


@pytest.mark.usefixtures("doubted", "whole")
def test_many_items_in_doubt_are_asked_about_at_once(
    test_bench: Item, station: Site, technician: User, today: date
) -> None:
    def asked() -> int:
        with CaptureQueriesContext(connection) as queries:
            sets_today()
        return len(queries)

    one = asked()
    for number in range(5):
        mask = make_item(station, f"M9{number}", made_on=date(2020, 3, 1))
        fitted(make_item(station, f"S9{number}", "set"), mask, today - timedelta(days=20))
        measure(mask, test_bench, today - timedelta(days=9), technician, 90 + number)
    rows = [row for row in sets_today() if any("in doubt" in r for r in row.readiness.reasons)]
    assert len(rows) == 6
    assert asked() == one

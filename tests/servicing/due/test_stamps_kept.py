"""What was marked on a cylinder: from a record to the stored date, corrected, as known then."""

import json
from datetime import date, timedelta
from io import StringIO

import pytest
from django.contrib.auth.models import User
from django.core.management import call_command
from django.urls import reverse

from registry.items.models import Item
from registry.sites.models import Site
from servicing.due.actions.corrections import correct_record
from servicing.due.actions.services import Service, ServiceRefused, effect_of, log_service
from servicing.due.actions.store import recompute
from servicing.due.models import StoredObligation
from servicing.due.pure.explain import difference
from servicing.due.queries.engine import on_day
from servicing.due.queries.rows import DueQuestion, stored_rows
from servicing.due.queries.stamps import beside_stamps, stamps_that_differ
from servicing.ledger.pure.shoulder import Shoulder
from tests.people import STEEL, make_item, signed_in
from tests.worlds import world_fixture

TESTED = date(2026, 6, 8)
RETEST = "hydrostatic-retest"


@world_fixture
def bottle(station: Site) -> Item:
    """A steel cylinder, which its table has tested every five years."""
    return make_item(station, "C500", "cylinder", **STEEL, made_on=date(2020, 1, 15))


def retest(shoulder: Shoulder, on: date = TESTED, task: str = RETEST) -> Service:
    return Service(task, on, "pass", "A. Body", readings=shoulder.readings)


def stored(item: Item) -> StoredObligation:
    return stored_rows(DueQuestion(task=RETEST)).get(item=item)


def test_a_stamp_moves_the_stored_date_and_its_correction_moves_it_back(
    bottle: Item, technician: User
) -> None:
    service = retest(Shoulder("06/2028", permit="SP-7", body="A123"))
    effect = effect_of(bottle, service)
    assert [o.due_on for o in effect.after if o.task == RETEST] == [date(2028, 6, 30)]
    record = log_service(item=bottle, service=service, user=technician, entry_key="a")
    assert [r.typed for r in record.entry.readings] == ["06/2028", "SP-7", "A123"]
    row = stored(bottle)
    assert (row.due_on, row.counted_from, row.basis_on) == (date(2028, 6, 30), "stamp", TESTED)
    assert (row.owed.stamp_words, row.stamp_differs) == ("06/2028", True)
    assert recompute() == 0

    then, later = record.entered_at + timedelta(hours=1), record.entered_at + timedelta(hours=2)
    right, why = retest(Shoulder("06/2031")), "Read wrongly."
    correct_record(
        record=record, service=right, reason=why, user=technician, entry_key="b", at=later
    )
    row = stored(bottle)
    assert (row.due_on, row.stamped, row.stamp_differs) == (date(2031, 6, 8), "2031-06", False)
    known = {o.task: o.due_on for o in on_day(bottle, TESTED, then).owed}
    assert known[RETEST] == date(2028, 6, 30), "as it was known then"
    assert recompute() == 0


@pytest.mark.parametrize(
    ("service", "words"),
    [
        (retest(Shoulder("06/2020")), "Stamped next test is before the test itself, 8 Jun 2026"),
        (retest(Shoulder("06/2030"), task="overhaul"), "Only who retests a cylinder marks it"),
    ],
)
def test_what_nobody_can_have_marked_is_not_entered(
    bottle: Item, technician: User, service: Service, words: str
) -> None:
    with pytest.raises(ServiceRefused, match=words):
        log_service(item=bottle, service=service, user=technician, entry_key="a")


def test_a_difference_stands_on_the_sheet_in_the_list_and_at_the_filling_point(
    bottle: Item, technician: User, manager: User
) -> None:
    agreeing = make_item(bottle.site, "C501", "cylinder", **STEEL, made_on=date(2020, 1, 15))
    later = make_item(bottle.site, "C502", "cylinder", **STEEL, made_on=date(2020, 1, 15))
    for item, mark in ((bottle, "06/2028"), (agreeing, "06/2031"), (later, "06/2033")):
        service = retest(Shoulder(mark, permit="SP-7"))
        log_service(item=item, service=service, user=technician, entry_key=item.tag)
    listed = {row.item_id: row.item.tag for row in stamps_that_differ()}
    assert list(listed.values()) == ["C500", "C502"], "by due date"
    beside = beside_stamps([bottle.pk, agreeing.pk, later.pk])
    why = {listed[pk]: difference(owed) for (pk, _), owed in beside.items()}
    assert why["C500"].endswith("Of the two the earlier counts: the stamp.")
    assert why["C502"].endswith("Of the two the earlier counts: the rule.")

    client = signed_in(manager)
    assert "2 dates stamped on cylinders are not what" in client.get("/").content.decode()
    page = client.get(reverse("stamp-list")).content.decode()
    assert all(each in page for each in ("C500", "06/2028", "C502", "8 Jun 2031"))
    assert "C501" not in page
    sheet = client.get(reverse("item-json", args=[bottle.pk])).json()
    task = next(task for task in sheet["tasks"] if task["task"] == RETEST)
    assert (task["stamped"], task["difference"]) == ("2028-06", why["C500"])
    assert sheet["attributes"]["Stamped on it"] == (
        "next test 06/2028, permit SP-7 (tested on 8 Jun 2026)"
    )
    assert "stamped: 06/2028" in client.get(reverse("item", args=[bottle.pk])).content.decode()
    point = reverse("filling")
    assert "stamped: 06/2033, but due 8 Jun 2031" in client.get(f"{point}?q=C502").content.decode()

    out = StringIO()
    call_command("explain", "C500", stdout=out)
    assert why["C500"] in out.getvalue()
    out = StringIO()
    call_command("explain", "C501", "--format", "json", stdout=out)
    (alike,) = (t for t in json.loads(out.getvalue())["tasks"] if t["task"] == RETEST)
    assert (alike["stamped"], alike["difference"]) == ("2031-06", None)

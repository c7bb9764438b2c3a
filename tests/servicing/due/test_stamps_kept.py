"""What was marked on a cylinder: from a record to the stored date, corrected, as known then."""

from datetime import date, timedelta

import pytest
from django.contrib.auth.models import User

from registry.items.models import Item
from registry.sites.models import Site
from servicing.due.actions.corrections import correct_record
from servicing.due.actions.services import Service, ServiceRefused, effect_of, log_service
from servicing.due.actions.store import recompute
from servicing.due.models import StoredObligation
from servicing.due.queries.engine import on_day
from servicing.due.queries.rows import DueQuestion, stored_rows
from servicing.ledger.pure.shoulder import Shoulder
from tests.people import STEEL, make_item
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

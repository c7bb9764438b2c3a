"""The meter read at the bench: a change of filter led step by step is what its hours count from."""

from datetime import date
from decimal import Decimal

from django.contrib.auth.models import User

from registry.items.models import Item
from registry.sites.models import Site
from servicing.due.actions.register import save_site
from servicing.due.pure.hours import Run
from servicing.due.queries.engine import on_day
from tests.people import make_item
from tests.servicing.bench.desk import DONE, GOOD, Desk
from tests.worlds import world_fixture

CHANGE = [
    ("hours", {"typed": "512,5", "unit": "h"}),
    ("open", GOOD),
    ("cartridge", {**DONE, "batch": "L7", "made_on": "2026-01-05"}),
    ("seals", GOOD),
    ("tag", DONE),
]


@world_fixture
def compressor(station: Site, procedures: None) -> Item:
    """A compressor whose cartridge counts by hours run."""
    save_site(station, tables=["compressor-hours"])
    return make_item(station, "P1", "compressor", made_on=date(2020, 1, 1))


def test_hours_count_from_what_the_meter_showed_at_the_change(
    compressor: Item, technician: User
) -> None:
    desk = Desk(technician, compressor, "filter-change")
    desk.set()
    for step, given in CHANGE:
        assert desk.answer(step, given).status_code == 302, step
    assert desk.sign().status_code == 302
    desk = Desk(technician, compressor, "meter-reading")
    desk.set()
    desk.answer("hours", {"typed": "562.5", "unit": "h"})
    assert desk.sign().status_code == 302
    record = compressor.records.get(task="filter-change")
    owed = next(o for o in on_day(compressor, record.done_on).owed if o.task == "filter-change")
    assert owed.governing.run == Run(Decimal(50), record.done_on)

"""The procedures, and instruments in and out of calibration; all invented."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.contrib.auth.models import User

from registry.items.models import Item
from registry.sites.clock import now, today_at
from registry.sites.models import Site
from servicing.bench.actions.procedures import load_procedures
from servicing.bench.pure.tables import read_procedures
from servicing.due.actions.services import Service, log_service
from servicing.due.actions.sets import fit
from tests.people import RULES, make_item
from tests.servicing.bench.desk import Desk
from tests.worlds import world_fixture


@world_fixture
def procedures(rules: None) -> None:
    """All procedures of fixtures/rules/procedures, loaded."""
    tables = [
        read_procedures(path.name, path.read_text())[0]
        for path in sorted((RULES / "procedures").glob("*.toml"))
    ]
    load_procedures(tables, at=now())


def make_instrument(site: Site, tag: str, calibrated_on: date | None, user: User) -> Item:
    """Register an instrument, calibrated on a day or never."""
    made = make_item(
        site,
        tag,
        "instrument",
        maker="Wexalune",
        model="Bench 3",
        made_on=date(2020, 1, 1),
        in_service_on=date(2020, 2, 1),
    )
    if calibrated_on is not None:
        calibrate(made, calibrated_on, "pass", user)
    return made


def fitted(whole: Item, part: Item, on: date) -> None:
    """Fit a part to a set, whatever is not stated of the two."""
    key = f"{whole.tag}-{part.tag}-{on}"
    fit(set_item=whole, part=part, on=on, by=None, entry_key=key, note="looked", confirmed=True)


def make_bottle(site: Site, tag: str, bar: int | None) -> Item:
    """Register a cylinder of which only the working pressure is known, or not even that."""
    known = {"working_pressure_bar": Decimal(bar)} if bar else {}
    return make_item(site, tag, "cylinder", made_on=date(2020, 1, 1), **known)


def make_charged_set(site: Site, tag: str, bar: int, on: date) -> Item:
    """Register a set with a cylinder of a working pressure fitted to it."""
    whole = make_item(site, tag, "set", made_on=date(2020, 1, 1))
    fitted(whole, make_bottle(site, f"{tag}C", bar), on)
    return whole


def calibrate(instrument: Item, on: date, outcome: str, user: User) -> None:
    log_service(
        item=instrument,
        service=Service("calibration", on, outcome, "House of weights"),
        user=user,
        entry_key=f"calibration-{instrument.tag}-{on}-{outcome}",
    )


@pytest.fixture
def today(station: Site) -> date:
    return today_at(station)


@world_fixture
def test_bench(procedures: None, station: Site, technician: User, today: date) -> Item:
    """A test bench, calibrated thirty days ago."""
    return make_instrument(station, "B01", today - timedelta(days=30), technician)


@world_fixture
def old_bench(procedures: None, station: Site, technician: User, today: date) -> Item:
    """A test bench whose calibration ran out long ago."""
    return make_instrument(station, "B02", today - timedelta(days=800), technician)


@pytest.fixture
def desk(technician: User, mask: Item, test_bench: Item, today: date) -> Desk:
    at = Desk(technician, mask)
    chosen = {"pick_mask-test-bench": str(test_bench.pk), "done_on": today.isoformat()}
    assert at.set(**chosen).status_code == 302
    return at

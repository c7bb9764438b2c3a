"""Instruments: which may judge on a day, and what a failed calibration puts in doubt. A21."""

import json
from datetime import date, timedelta
from io import StringIO

import pytest
from django.contrib.auth.models import User
from django.core.management import CommandError, call_command

from registry.items.models import Item
from registry.sites.models import Site
from servicing.bench.queries.instruments import calibration_of, in_doubt
from servicing.due.actions.services import Service, log_service
from servicing.ledger.pure.entry import InstrumentAsStood
from tests.people import signed_in
from tests.servicing.bench.conftest import calibrate, make_instrument


def measure(item: Item, instrument: Item, on: date, user: User, number: int) -> None:
    """Enter a record as made with an instrument, as it stood on the day."""
    log_service(
        item=item,
        service=Service(
            "tightness-test",
            on,
            "pass",
            "Tekla",
            instruments=(calibration_of(instrument, on).as_stood,),
        ),
        user=user,
        entry_key=f"measured-{number}",
    )


@pytest.mark.parametrize(
    ("days", "why"),
    [
        (0, ""),
        (365, ""),  # the due date itself is the last good day (design.md 4.7)
        (366, "the calibration of B01 was due on"),
    ],
)
def test_an_instrument_judges_up_to_its_due_day_and_no_longer(
    test_bench: Item, today: date, days: int, why: str
) -> None:
    calibrated_on = today - timedelta(days=30)
    # Yearly: common practice, rule app-calibration of general-apparatus.toml.
    found = calibration_of(test_bench, calibrated_on + timedelta(days=days))
    assert found.refusal.startswith(why) if why else not found.refusal


def test_an_instrument_never_calibrated_judges_nothing(
    procedures: None, station: Site, technician: User, today: date
) -> None:
    assert calibration_of(make_instrument(station, "B09", None, technician), today).refusal


def test_a_mask_is_no_instrument(mask: Item, procedures: None, today: date) -> None:
    assert calibration_of(mask, today).refusal == "00123 is no instrument"


def test_an_instrument_is_kept_as_it_stood_on_the_day(
    test_bench: Item, technician: User, today: date
) -> None:
    calibrate(test_bench, today - timedelta(days=5), "pass", technician)
    then = calibration_of(test_bench, today - timedelta(days=10)).as_stood
    assert then.calibrated_on == today - timedelta(days=30)
    assert calibration_of(test_bench, today).as_stood.calibrated_on == today - timedelta(days=5)


@pytest.fixture
def in_use(test_bench: Item, mask: Item, technician: User, today: date) -> list[date]:
    """Twelve tests, every third day; a good calibration in the middle and a failed one."""
    days = [today - timedelta(days=days) for days in range(28, 0, -3)]
    for number, on in enumerate(days):
        measure(mask, test_bench, on, technician, number)
    calibrate(test_bench, days[4], "pass", technician)
    calibrate(test_bench, days[8], "fail", technician)
    return days


def test_a_failed_calibration_names_exactly_what_was_measured_since_the_last_good_one(
    in_use: list[date], test_bench: Item
) -> None:
    found = in_doubt(test_bench)
    assert found is not None
    assert [record.done_on for record in found[1]] == in_use[4:9]


def test_a_new_tag_hides_no_record(in_use: list[date], test_bench: Item) -> None:
    Item.objects.filter(pk=test_bench.pk).update(tag="B77")
    test_bench.refresh_from_db()
    found = in_doubt(test_bench)
    assert found is not None
    assert len(found[1]) == 5


def test_a_good_calibration_afterwards_ends_the_list(
    in_use: list[date], test_bench: Item, technician: User, today: date
) -> None:
    calibrate(test_bench, today, "pass", technician)
    assert in_doubt(test_bench) is None


def test_what_another_instrument_measured_is_not_in_doubt(
    in_use: list[date], old_bench: Item, test_bench: Item, mask: Item, technician: User
) -> None:
    log_service(
        item=mask,
        service=Service(
            "tightness-test",
            in_use[6],
            "pass",
            "Tekla",
            instruments=(InstrumentAsStood("B02 · Wexalune · S-B02"),),
        ),
        user=technician,
        entry_key="other",
    )
    found = in_doubt(test_bench)
    assert found is not None
    assert len(found[1]) == 5


def test_the_list_stands_on_the_pages_and_in_the_command(
    in_use: list[date], test_bench: Item, auditor: User
) -> None:
    client = signed_in(auditor)
    said = "5 records made with"
    assert said in client.get(f"/bench/instruments/{test_bench.pk}/").content.decode()
    assert said in client.get(f"/items/{test_bench.pk}/records/3/").content.decode()
    page = client.get(test_bench.get_absolute_url()).content.decode()
    assert "5 records made with it since the last good one are in doubt" in page
    out = StringIO()
    call_command("instrument_records", "B01", format="json", stdout=out)
    rows = json.loads(out.getvalue())
    assert [row["done_on"] for row in rows] == [day.isoformat() for day in in_use[4:9]]
    out = StringIO()
    call_command("instrument_records", "B01", all=True, format="csv", stdout=out)
    assert len(out.getvalue().splitlines()) == 1 + len(in_use)


def test_the_command_takes_instruments_only(mask: Item) -> None:
    with pytest.raises(CommandError, match="no instrument"):
        call_command("instrument_records", mask.tag)

"""Instruments: which may judge on a day, and what a failed calibration puts in doubt. A21."""

import csv
import json
from datetime import date, timedelta
from io import StringIO

import pytest
from django.contrib.auth.models import User
from django.core.management import CommandError, call_command

from registry.items.models import Item
from registry.sites.models import Site
from servicing.due.actions.corrections import correct_record
from servicing.due.actions.services import Service, log_service
from servicing.due.actions.standing import condemn
from servicing.due.queries.doubts import Doubt, doubts_of
from servicing.due.queries.instruments import calibration_of
from servicing.ledger.pure.entry import InstrumentAsStood
from servicing.ledger.queries.records import history_of
from tests.people import make_item, signed_in
from tests.servicing.bench.conftest import calibrate, make_instrument
from tests.worlds import world_fixture


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
        (365, ""),  # the due date itself is the last good day (due/README 7)
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


@world_fixture
def in_use(test_bench: Item, mask: Item, technician: User, today: date) -> list[date]:
    """Twelve tests, every third day; a good calibration in the middle and a failed one."""
    days = [today - timedelta(days=days) for days in range(28, 0, -3)]
    for number, on in enumerate(days):
        measure(mask, test_bench, on, technician, number)
    calibrate(test_bench, days[4], "pass", technician)
    calibrate(test_bench, days[8], "fail", technician)
    return days


def days_of(doubt: Doubt) -> list[date]:
    return [row.record.done_on for row in doubt.rows]


def test_a_failed_calibration_names_exactly_what_was_measured_since_the_last_good_one(
    in_use: list[date], test_bench: Item
) -> None:
    (doubt,) = doubts_of(test_bench)
    assert days_of(doubt) == in_use[4:9]
    # What was entered in good faith before anybody knew of the failure stands apart.
    assert [row.record.done_on for row in doubt.later] == in_use[9:]


def test_all_37_records_between_two_calibrations_are_named_and_no_other(
    test_bench: Item, station: Site, technician: User, today: date
) -> None:
    masks = [make_item(station, f"M{n:02}", made_on=date(2020, 3, 1)) for n in range(41)]
    for number, item in enumerate(masks):
        days = 25 if number < 2 else 2 if number > 38 else 19 - number % 10
        measure(item, test_bench, today - timedelta(days=days), technician, number)
    calibrate(test_bench, today - timedelta(days=20), "pass", technician)
    calibrate(test_bench, today - timedelta(days=10), "fail", technician)
    calibrate(test_bench, today - timedelta(days=5), "pass", technician)
    (doubt,) = doubts_of(test_bench)
    assert len(doubt.rows) == 37
    assert {row.record.item.tag for row in doubt.rows} == {item.tag for item in masks[2:39]}
    assert not doubt.later


def test_a_new_tag_hides_no_record(in_use: list[date], test_bench: Item) -> None:
    Item.objects.filter(pk=test_bench.pk).update(tag="B77")
    test_bench.refresh_from_db()
    (doubt,) = doubts_of(test_bench)
    assert len(doubt.rows) == 5


def test_an_instrument_put_right_on_the_same_day_leaves_its_records_in_doubt(
    in_use: list[date], test_bench: Item, technician: User
) -> None:
    """As found it failed, as left it passed: what it showed before is no better for that."""
    calibrate(test_bench, in_use[8], "pass", technician)
    (doubt,) = doubts_of(test_bench)
    assert days_of(doubt) == in_use[4:9]
    assert not doubt.later
    # The mask was measured with it once more, after it was put right.
    assert {row.again.done_on for row in doubt.rows if row.again} == {in_use[9]}


def test_two_failures_in_a_row_are_one_doubt(
    in_use: list[date], test_bench: Item, technician: User, today: date
) -> None:
    calibrate(test_bench, today, "condemned", technician)
    (doubt,) = doubts_of(test_bench)
    assert days_of(doubt) == in_use[4:9]
    assert [record.outcome for record in doubt.failures] == ["fail", "condemned"]


def test_a_failure_that_never_happened_doubts_nothing(
    in_use: list[date], test_bench: Item, technician: User
) -> None:
    failed = history_of(test_bench).get(outcome="fail")
    correct_record(
        record=failed, service=None, reason="Another gauge.", user=technician, entry_key="void"
    )
    assert doubts_of(test_bench) == []


def test_a_record_is_settled_once_the_item_was_tested_again_by_another_instrument(
    in_use: list[date], test_bench: Item, mask: Item, technician: User, today: date
) -> None:
    other = make_instrument(test_bench.site, "B05", today - timedelta(days=2), technician)
    measure(mask, other, today, technician, 99)
    (doubt,) = doubts_of(test_bench)
    assert len(doubt.rows) == 5
    assert doubt.open_rows == ()
    assert {row.again.done_on for row in doubt.rows if row.again} == {today}
    client = signed_in(technician)
    assert "to be tested again: its calibration" not in client.get("/").content.decode()
    page = client.get(f"/bench/instruments/{test_bench.pk}/").content.decode()
    assert "All were tested again since." in page


def test_a_condemned_item_is_not_tested_again(
    in_use: list[date], test_bench: Item, mask: Item, manager: User
) -> None:
    condemn(item=mask, reason="Cracked all through.", user=manager, entry_key="end")
    (doubt,) = doubts_of(test_bench)
    assert len(doubt.rows) == 5
    assert doubt.open_rows == ()


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
    (doubt,) = doubts_of(test_bench)
    assert len(doubt.rows) == 5


def test_who_must_test_again_is_led_there_from_the_first_page(
    in_use: list[date], test_bench: Item, mask: Item, technician: User, manager: User
) -> None:
    path = f"/bench/instruments/{test_bench.pk}/"
    for person in (technician, manager):
        home = signed_in(person).get("/").content.decode()
        assert "1 item measured with B01, Wexalune Bench 3, is to be tested again" in home
        assert path in home
    page = signed_in(technician).get(path).content.decode()
    assert f"/bench/{mask.pk}/tightness-test/" in page
    for row in doubts_of(test_bench)[0].rows:
        assert f"/items/{mask.pk}/records/{row.record.position}/" in page


def test_an_item_and_its_record_say_that_they_are_in_doubt(
    in_use: list[date], test_bench: Item, mask: Item, technician: User, auditor: User
) -> None:
    client = signed_in(auditor)
    item, good, doubtful = (
        f"/items/{mask.pk}/",
        f"/items/{mask.pk}/records/4/",
        f"/items/{mask.pk}/records/5/",
    )
    assert client.get(item).content.decode().count("is in doubt and to be done again: B01") == 1
    said = "In doubt: it was measured with B01, whose calibration failed on"
    assert said in client.get(doubtful).content.decode()
    assert said not in client.get(good).content.decode()
    calibrate(test_bench, in_use[9] + timedelta(days=1), "pass", technician)
    measure(mask, test_bench, in_use[9] + timedelta(days=1), technician, 98)
    assert "is in doubt" not in client.get(item).content.decode()
    # The record was made in doubt, for ever.
    assert said in client.get(doubtful).content.decode()


def test_the_list_can_be_taken_along_as_csv(
    in_use: list[date], test_bench: Item, auditor: User
) -> None:
    answer = signed_in(auditor).get(f"/bench/instruments/{test_bench.pk}/list.csv")
    rows = list(csv.DictReader(StringIO(answer.getvalue().decode("utf-8-sig"))))
    assert [row["done_on"] for row in rows] == [day.isoformat() for day in in_use]
    doubtful = [row for row in rows if row["in_doubt_by"]]
    assert [row["done_on"] for row in doubtful] == [day.isoformat() for day in in_use[4:]]
    assert {row["in_doubt_by"] for row in doubtful} == {in_use[8].isoformat()}
    assert {row["tested_again_on"] for row in rows} == {""}


def test_the_list_stands_on_the_pages_and_in_the_command(
    in_use: list[date], test_bench: Item, auditor: User
) -> None:
    client = signed_in(auditor)
    said = "5 records made with"
    assert said in client.get(f"/bench/instruments/{test_bench.pk}/").content.decode()
    assert said in client.get(f"/items/{test_bench.pk}/records/3/").content.decode()
    page = client.get(test_bench.get_absolute_url()).content.decode()
    assert "1 item measured with it is to be tested again" in page
    out = StringIO()
    call_command("instrument_records", "B01", format="json", stdout=out)
    rows = json.loads(out.getvalue())
    assert [row["done_on"] for row in rows] == [day.isoformat() for day in in_use[4:]]
    out = StringIO()
    call_command("instrument_records", "B01", all=True, format="csv", stdout=out)
    assert len(out.getvalue().splitlines()) == 1 + len(in_use)


def test_the_command_takes_instruments_only(mask: Item) -> None:
    with pytest.raises(CommandError, match="no instrument"):
        call_command("instrument_records", mask.tag)

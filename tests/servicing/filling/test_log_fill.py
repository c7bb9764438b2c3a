"""Logging fillings: what may not be filled can't be logged, whoever asks and however often."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.contrib.auth.models import Group, User

from registry.items.models import Item
from registry.people.actions.authorisations import grant_authorisation
from registry.people.queries import NotAuthorised
from registry.sites.clock import today_at
from registry.sites.models import Site
from servicing.due.actions.corrections import correct_record
from servicing.due.actions.register import load_rules, save_site
from servicing.due.actions.services import Service, ServiceRefused, effect_of, log_service
from servicing.due.actions.store import recompute
from servicing.due.models import StoredObligation
from servicing.due.pure.charge import filled_on
from servicing.filling.actions import FillRefused, GaugeReading, Rack, log_fill, log_rack
from servicing.filling.pure.may_fill import Weight
from servicing.filling.queries import answers, subjects_today
from servicing.ledger.actions import EntryKeyUsedTwice
from servicing.ledger.queries.records import facts_by_item, history_of
from servicing.rules.pure.durations import add_months
from servicing.rules.pure.tables import read_table
from tests.people import make_compressor, make_cylinder, make_item, passed
from tests.servicing.filling.conftest import FULL, KEY, Point


def fills(item: Item) -> int:
    return history_of(item).filter(task="fill").count()


def fill(
    point: Point, item: Item | None = None, reading: GaugeReading = FULL, key: str = KEY
) -> None:
    log_fill(
        item=item or point.cylinder,
        compressor=point.compressor,
        reading=reading,
        user=point.technician,
        entry_key=key,
    )


def rack(point: Point, *items: Item, reading: GaugeReading = FULL, key: str = KEY) -> Rack:
    return log_rack(
        items=items,
        compressor=point.compressor,
        reading=reading,
        user=point.technician,
        entry_key=key,
    )


def refusal(point: Point, item: Item | None = None, reading: GaugeReading = FULL) -> list[Weight]:
    """Try to log a filling, and return why it was refused; nothing may be written."""
    before = history_of(item or point.cylinder).count()
    with pytest.raises(FillRefused) as caught:
        fill(point, item, reading)
    assert history_of(item or point.cylinder).count() == before
    return [reason.weight for reason in caught.value.verdict.reasons]


def test_a_filling_is_a_record_with_pressure_temperature_and_the_compressor(point: Point) -> None:
    record = log_fill(
        item=point.cylinder,
        compressor=point.compressor,
        reading=GaugeReading(Decimal("317"), Decimal("25.5")),
        user=point.technician,
        entry_key=KEY,
    )
    good_until = add_months(today_at(point.site) - timedelta(days=10), 3)
    assert (record.task, record.outcome) == ("fill", "pass")
    assert record.done_on == today_at(point.site)
    pressure, temperature = record.readings_as_read
    assert (pressure.name, pressure.typed, pressure.unit) == ("fill_bar", "317", "bar")
    assert (temperature.name, temperature.typed) == ("temperature_c", "25.5")
    assert pressure.limit == "at most 317.8 bar at 25.5 °C, by its working pressure at 15 °C"
    assert record.performed_by_user == point.technician
    assert record.authorised == "no authorisation is kept for this task"
    assert record.performed_by == "Tekla Merrow"
    assert record.note == (
        f"From compressor P1, air test good until {good_until.day} {good_until:%b %Y}. "
        "Settles to 300 bar at 15 °C."
    )
    assert recompute() == 0


def test_a_form_sent_twice_makes_one_record_and_other_readings_are_refused(point: Point) -> None:
    fill(point)
    fill(point)
    assert fills(point.cylinder) == 1
    with pytest.raises(EntryKeyUsedTwice, match="first entry stands"):
        fill(point, reading=GaugeReading(Decimal(290), Decimal(15)))
    assert fills(point.cylinder) == 1


def test_a_retry_is_no_new_filling_even_when_it_may_no_longer_be_filled(point: Point) -> None:
    fill(point)
    passed(point.cylinder, "external-inspection", today_at(point.site), point.technician, "fail")
    fill(point)  # the same form, after a lost connection
    assert fills(point.cylinder) == 1
    with pytest.raises(FillRefused):
        fill(point, key="x" * 32)


@pytest.mark.parametrize(
    ("task", "outcome", "weights"),
    [
        ("hydrostatic-retest", "condemned", [Weight.CONDEMNED]),
        ("external-inspection", "fail", [Weight.OUT_OF_SERVICE, Weight.AFTER_EVENT]),
        ("impact", "pass", [Weight.AFTER_EVENT]),
    ],
)
def test_what_happened_today_bars_the_filling_today(
    point: Point, task: str, outcome: str, weights: list[Weight]
) -> None:
    passed(point.cylinder, task, today_at(point.site), point.technician, outcome)
    assert refusal(point) == weights, "ADR 4.1.6.11; 49 CFR 180.205(d)"


def test_an_overdue_retest_bars_the_filling_and_a_passed_one_opens_it(
    point: Point, station: Site
) -> None:
    today = today_at(station)
    old = make_item(
        station,
        "C0002",
        "cylinder",
        made_on=add_months(today, -61),
        working_pressure_bar=Decimal(300),
    )
    for task in ("internal-inspection", "external-inspection"):
        passed(old, task, today, point.technician)
    assert refusal(point, old) == [Weight.RETEST_OVERDUE], "ADR 4.1.6.10; ISO 18119: 5 years"
    passed(old, "hydrostatic-retest", today, point.technician)
    fill(point, old)
    assert fills(old) == 1


def test_undetermined_unknown_rating_and_another_thing_are_a_no(
    point: Point, station: Site, mask: Item
) -> None:
    unknown = make_item(station, "C0003", "cylinder")
    # The retest. The looks outside and inside are named beside it and bar nothing.
    assert refusal(point, unknown) == [Weight.UNDETERMINED, Weight.RATING_UNKNOWN]
    warned = answers([unknown], point.compressor)[0].verdict.warns
    assert {reason.word for reason in warned} == {
        "External inspection not known",
        "Internal inspection not known",
    }
    assert refusal(point, mask) == [Weight.NOT_A_CYLINDER]
    assert refusal(point, point.compressor) == [Weight.NOT_A_CYLINDER]


def test_a_site_without_rules_knows_nothing_of_its_cylinders(point: Point, rules: None) -> None:
    alone = Site(code="ALONE", name="Alone", timezone="UTC")
    save_site(alone, tables=[])
    stray = make_item(alone, "C0004", "cylinder", working_pressure_bar=Decimal(200))
    reading = GaugeReading(Decimal(200), Decimal(15))
    assert refusal(point, stray, reading) == [Weight.UNDETERMINED]


def test_the_site_of_the_cylinder_is_no_reason(point: Point, valley: Site) -> None:
    elsewhere = make_cylinder(valley, "C0005", point.technician)
    fill(point, elsewhere)
    assert fills(elsewhere) == 1


def test_bad_air_bars_every_filling(point: Point, station: Site) -> None:
    stale = make_compressor(station, "P2", point.technician, days_ago=120)
    for compressor in (stale, None):
        with pytest.raises(FillRefused, match=r"air test was due|which compressor"):
            log_fill(
                item=point.cylinder,
                compressor=compressor,
                reading=FULL,
                user=point.technician,
                entry_key=KEY,
            )
    passed(point.compressor, "filter-change", today_at(station), point.technician)
    assert refusal(point) == [Weight.COMPRESSOR], "EN 12021, annex: after any change"
    assert fills(point.cylinder) == 0


@pytest.mark.parametrize(
    ("pressure", "at_c", "good"),
    [
        ("300", "15", True),
        ("301", "15", False),
        ("300", "10", False),
        ("291", "10", True),
        ("341", "40", True),
        ("342", "40", False),
        ("308", "20", True),
        ("310", "20", False),
    ],
)
def test_nothing_fuller_than_the_rating_is_logged(
    point: Point, pressure: str, at_c: str, good: bool
) -> None:
    reading = GaugeReading(Decimal(pressure), Decimal(at_c))
    source = "UN P200(4); pressures: general reference, CoolProp 8.0.0"
    if good:
        fill(point, reading=reading)
        assert fills(point.cylinder) == 1, source
    else:
        assert refusal(point, reading=reading) == [Weight.ABOVE_RATING], source


def test_of_a_rack_all_that_may_be_filled_is_logged_and_the_others_are_named(
    point: Point, station: Site
) -> None:
    good = make_cylinder(station, "C0006", point.technician)
    weak = make_cylinder(
        station,
        "C0007",
        point.technician,
        working_pressure_bar=Decimal(200),
        test_pressure_bar=Decimal(300),
    )
    failed = make_cylinder(station, "C0008", point.technician)
    passed(failed, "internal-inspection", today_at(station), point.technician, "fail")
    found = rack(point, point.cylinder, good, weak, failed)
    assert [item.tag for item in found.logged] == ["C0001", "C0006"]
    assert [refused.tag for refused in found.refused] == ["C0007", "C0008"]
    assert "Let it down to 200 bar" in str(found.refused[0])
    assert [fills(item) for item in (point.cylinder, good, weak, failed)] == [1, 1, 0, 0]
    again = rack(point, point.cylinder, good, weak, failed)
    assert [item.tag for item in again.logged] == ["C0001", "C0006"]
    assert [fills(item) for item in (point.cylinder, good)] == [1, 1]
    assert recompute() == 0


def test_a_cylinder_scanned_twice_into_a_rack_is_filled_once(point: Point) -> None:
    found = rack(point, point.cylinder, point.cylinder)
    assert len(found.logged) == 1
    assert fills(point.cylinder) == 1


def test_the_service_form_is_no_way_round_the_filling_point(point: Point) -> None:
    service = Service("fill", today_at(point.site), "pass", "Tekla")
    with pytest.raises(ServiceRefused, match="filling point"):
        log_service(item=point.cylinder, service=service, user=point.technician, entry_key="z" * 32)
    with pytest.raises(ServiceRefused, match="filling point"):
        effect_of(point.cylinder, service)
    assert fills(point.cylinder) == 0


def test_a_filling_with_oxygen_was_made_elsewhere_and_is_only_written_down(point: Point) -> None:
    bottle = make_cylinder(point.site, "X1", point.technician, marks=["oxygen"])
    assert refusal(point, bottle) == [Weight.NOT_A_CYLINDER]
    passed(bottle, "fill", today_at(bottle.site), point.technician)
    assert fills(bottle) == 1


def test_fillings_count_as_cycles_and_the_last_one_ends_the_life(
    point: Point, user_table: None
) -> None:
    """As 49 CFR 180.205(i)(1)(v) of 2015, now (j), counts the 4380 of a 3HT."""
    for number in range(3):
        fill(point, key=f"{number}" * 32)
    life = StoredObligation.objects.get(item=point.cylinder, task="service-life")
    assert life.due_on == today_at(point.site)
    with pytest.raises(FillRefused, match="service life ended") as caught:
        fill(point, key="9" * 32)
    assert caught.value.verdict.worst
    assert caught.value.verdict.worst.weight is Weight.LIFE_OVER
    assert fills(point.cylinder) == 3


@pytest.fixture
def user_table(point: Point, valley: Site) -> None:
    """A table by which three fillings end a cylinder's life."""
    text = """
table = "three-fillings"
title = "Three fillings"
jurisdiction = "general"
caution = "Made for a test."
[[rule]]
id = "three-fillings-life"
task = "service-life"
level = "local"
bars = "use-and-filling"
when = { kind = ["cylinder"] }
counts = "fill"
limit = 3
source = "Made for a test"
seen = "practice"
"""
    load_rules([read_table("three-fillings.toml", text)[0]])
    tables = ["iso-en-cylinders", "general-apparatus", "three-fillings"]
    save_site(valley, tables=tables)


def test_a_subject_is_read_from_the_stored_due_dates(point: Point) -> None:
    found = subjects_today([point.cylinder])[point.cylinder.pk]
    assert {owed.task for owed in found.owed} == {
        "hydrostatic-retest",
        "internal-inspection",
        "external-inspection",
    }
    assert all(owed.rule and owed.source and owed.jurisdiction for owed in found.owed)
    assert found.today == today_at(point.site)


def test_somebody_without_a_name_is_named_by_account(point: Point, stranger: User) -> None:
    stranger.groups.add(Group.objects.get(name="technician"))
    record = log_fill(
        item=point.cylinder,
        compressor=point.compressor,
        reading=FULL,
        user=stranger,
        entry_key=KEY,
    )
    assert record.performed_by == "strahan"


def test_where_filling_is_for_authorised_people_nobody_else_logs_one(
    point: Point, manager: User
) -> None:
    grant_authorisation(
        person=manager, task="fill", valid_from=today_at(point.site), valid_until=None, user=None
    )
    with pytest.raises(NotAuthorised, match="not authorised for fill"):
        fill(point)
    assert fills(point.cylinder) == 0


def test_a_correction_is_no_way_round_the_filling_point(point: Point, manager: User) -> None:
    passed(point.cylinder, "use", today_at(point.site), point.technician)
    used = history_of(point.cylinder).get(task="use")
    service = Service("fill", used.done_on, "pass", "Tekla")
    with pytest.raises(ServiceRefused, match="filling point"):
        correct_record(
            record=used, service=service, reason="wrong button", user=manager, entry_key="c" * 32
        )
    assert fills(point.cylinder) == 0


def test_a_filling_said_never_to_have_happened_no_longer_counts(
    point: Point, manager: User
) -> None:
    fill(point)
    filled = history_of(point.cylinder).get(task="fill")
    correct_record(
        record=filled, service=None, reason="wrong cylinder", user=manager, entry_key="c" * 32
    )
    past = facts_by_item([point.cylinder.pk])[point.cylinder.pk]
    assert filled_on((task, day, outcome) for task, day, outcome, *_ in past) is None

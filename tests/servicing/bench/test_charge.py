"""A set's charge is judged by the cylinders fitted on the day of the work. vfdb 0804: 90 %."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.contrib.auth.models import User

from registry.items.models import Item
from registry.sites.models import Site
from registry.wording.pure.dates import day_words
from servicing.bench.queries.procedures import Judging, judging_of, procedures_for
from servicing.ledger.queries.records import history_of
from tests.people import make_item, state
from tests.servicing.bench.conftest import fitted, make_bottle
from tests.servicing.bench.desk import DONE, GOOD, LEFT, Desk


@pytest.fixture
def whole(station: Site, procedures: None) -> Item:
    return make_item(station, "S01", "set", made_on=date(2020, 1, 1))


def judged(item: Item, on: date) -> Judging:
    (version,) = procedures_for(item, "functional-test", on)
    return judging_of(item, version.procedure, on)


@pytest.mark.parametrize(
    ("bar", "words"),
    [
        (200, "at least 180 bar: 90 % of 200 bar, cylinder C117"),
        (300, "at least 270 bar: 90 % of 300 bar, cylinder C117"),
    ],
)
def test_a_set_is_judged_by_the_cylinder_that_is_fitted(
    whole: Item, station: Site, today: date, bar: int, words: str
) -> None:
    fitted(whole, make_bottle(station, "C117", bar), today - timedelta(days=3))
    assert judged(whole, today).limits["charge"].words == words


def test_the_day_of_the_work_decides_which_cylinder_it_was(
    whole: Item, station: Site, today: date
) -> None:
    fitted(whole, make_bottle(station, "C1", 300), today - timedelta(days=9))
    fitted(whole, make_bottle(station, "C2", 200), today - timedelta(days=2))
    for days, bar in ((9, "270"), (3, "270"), (2, "180"), (0, "180")):
        on = today - timedelta(days=days)
        assert judged(whole, on).limits["charge"].low == Decimal(bar), days
    assert "No cylinder was fitted" in judged(whole, today - timedelta(days=10)).unset["charge"]


def test_a_frame_is_judged_by_the_cylinder_of_its_set(
    whole: Item, station: Site, today: date
) -> None:
    frame = make_item(station, "F01", "frame", working_pressure_bar=Decimal(300))
    fitted(whole, frame, today)
    fitted(whole, make_bottle(station, "C117", 200), today)
    assert judged(frame, today).limits["charge"].low == Decimal(180)


def test_two_cylinders_on_a_tee_are_judged_together(
    whole: Item, station: Site, today: date
) -> None:
    first, second = (make_bottle(station, tag, 200) for tag in ("C1", "C2"))
    tee = state(make_item(station, "T1", "connector"), joins=2)
    for part in (tee, first, second):
        fitted(whole, part, today)
    said = "at least 180 bar: 90 % of 200 bar, cylinders C1 and C2"
    assert judged(whole, today).limits["charge"].words == said
    # Nothing in the register hinders a mark from being corrected afterwards.
    Item.objects.filter(pk=second.pk).update(working_pressure_bar=300)
    assert (
        "must be equal: cylinder C1 200 bar and cylinder C2 300 bar"
        in (judged(whole, today).unset["charge"])
    )


@pytest.mark.parametrize(
    ("has_cylinder", "said"),
    [
        (False, "No cylinder was fitted to the set S01 on"),
        (True, "The working pressure of cylinder C117 is not known"),
    ],
)
def test_where_no_pressure_is_known_it_says_what_is_missing(
    whole: Item, station: Site, today: date, has_cylinder: bool, said: str
) -> None:
    Item.objects.filter(pk=whole.pk).update(working_pressure_bar=300)
    if has_cylinder:
        fitted(whole, make_bottle(station, "C117", None), today)
    found = judged(Item.objects.get(pk=whole.pk), today)
    assert "charge" not in found.limits
    assert said in found.unset["charge"]


def test_the_page_says_whose_limit_it_is_and_the_record_keeps_it(
    whole: Item, station: Site, technician: User, test_bench: Item, today: date
) -> None:
    fitted(whole, make_bottle(station, "C117", 200), today)
    desk = Desk(technician, whole, "functional-test")
    desk.set(**{"pick_pressure-gauge": str(test_bench.pk)}, done_on=today.isoformat())
    for step in ("look", "hoses", "cylinder-date"):
        desk.answer(step, GOOD)
    page = desk.client.get(desk.path).content.decode()
    assert "Limit: at least 180 bar: 90 % of 200 bar, cylinder C117. vfdb 0804" in page
    for step, given in (
        ("charge", {"typed": "195", "unit": "bar"}),
        ("high-pressure-loss", {"typed": "3", "unit": "bar"}),
        ("warning", {"typed": "55", "unit": "bar"}),
        ("gauge-zero", GOOD),
        ("mass", LEFT),
        ("ready", DONE),
    ):
        assert desk.answer(step, given).status_code == 302, step
    assert desk.sign().status_code == 302
    record = history_of(whole).get()
    assert record.outcome == "pass"
    assert record.entry.readings[0].limit == "at least 180 bar: 90 % of 200 bar, cylinder C117"


def test_a_charge_without_a_cylinder_can_not_be_signed_and_says_why(
    whole: Item, technician: User, test_bench: Item, today: date
) -> None:
    desk = Desk(technician, whole, "functional-test")
    desk.set(**{"pick_pressure-gauge": str(test_bench.pk)}, done_on=today.isoformat())
    for step in ("look", "hoses", "cylinder-date"):
        desk.answer(step, GOOD)
    desk.answer("charge", {"typed": "280", "unit": "bar"})
    said = f"Step 4, charge: No cylinder was fitted to the set S01 on {day_words(today)}; fit it"
    assert said in desk.check().content.decode()

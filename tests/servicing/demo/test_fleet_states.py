"""What the engine says of the invented fleet: well kept, with the planted troubles only."""

from collections import Counter, defaultdict
from datetime import date, timedelta

import pytest

from servicing.due.pure.obligations import CountedFrom, StandingWord, State
from servicing.rules.pure.durations import add_months
from tests.servicing.demo.fleet import DAYS, Seen, data, day, fleet, seen

WET = {"cleaning", "functional-test"}
OVERDUE = {
    "M030": ({"cleaning", "tightness-test"}, "a mask forgotten on the tender for five weeks"),
    "V081": ({"periodic-inspection"}, "a monthly check left out"),
    "V082": ({"periodic-inspection"}, "a monthly check left out"),
    "M115": ({"periodic-inspection"}, "a monthly check left out"),
    "M116": ({"periodic-inspection"}, "a monthly check left out"),
    "S17": (WET, "a set used yesterday"),
    "F17": (WET, "its frame"),
    "V030": (WET, "its demand valve"),
    "M040": ({"cleaning", "tightness-test"}, "its mask"),
    "V060": ({"functional-test"}, "a demand valve that failed"),
    "00911": ({"calibration"}, "a flow meter past its calibration"),
    "00141": ({"hydrostatic-retest"}, "a retest overlooked"),
    "00261": ({"hydrostatic-retest"}, "a US cylinder overdue by the European table only"),
    "00256": ({"internal-inspection"}, "a cylinder nobody looked into"),
    "00286": ({"service-life"}, "a composite past its end of life"),
    "R018": ({"overhaul"}, "a spare reducer past its overhaul"),
    "V048": ({"diaphragm-renewal"}, "a diaphragm that lay on the shelf"),
    "S38": ({"flow-test"}, "a flow test put off"),
    "K16": ({"tightness-test"}, "a connector left in a locker"),
    "P3": ({"air-quality-test"}, "a filter changed, the air not tested since"),
}
BATCH = {f"{number:05d}" for number in range(149, 179)}


@pytest.fixture(params=DAYS, ids=str)
def on(request: pytest.FixtureRequest) -> date:
    """Give one of several days on which somebody may look at the demo."""
    asked: date = request.param
    return asked


def item(tag: str, on: date) -> Seen:
    return next(one for one in seen(on) if one.tag == tag)


def tasks_in(state: State, on: date) -> dict[str, set[str]]:
    found: dict[str, set[str]] = defaultdict(set)
    for one in seen(on):
        for owed in one.owed(on):
            if owed.state(on) is state:
                found[one.tag].add(owed.task)
    return dict(found)


def test_exactly_the_planted_troubles_are_overdue(on: date) -> None:
    assert tasks_in(State.OVERDUE, on) == {tag: tasks for tag, (tasks, _) in OVERDUE.items()}


def test_most_of_the_fleet_is_well_kept_and_not_all_of_it_freshly(on: date) -> None:
    states = Counter(owed.state(on) for one in seen(on) for owed in one.owed(on))
    assert states[State.CURRENT] > 0.85 * states.total()
    assert 60 <= states[State.DUE_SOON] <= 350  # more at the end of a month


def test_one_cylinder_is_undetermined_in_all_it_owes(on: date) -> None:
    assert tasks_in(State.UNDETERMINED, on) == {
        "00287": {"hydrostatic-retest", "internal-inspection", "external-inspection"}
    }
    assert item("00287", on).records == ()


def test_one_cylinder_is_condemned_and_one_valve_out_of_service(on: date) -> None:
    standings = {one.tag: one.standing(on).word for one in seen(on)}
    assert {t: word for t, word in standings.items() if word is not StandingWord.IN_SERVICE} == {
        "00117": StandingWord.CONDEMNED,
        "V060": StandingWord.OUT_OF_SERVICE,
    }
    assert item("00117", on).owed(on) == ()
    assert item("00117", on).records[-1].outcome == "condemned"


def test_thirty_cylinders_of_one_delivery_fall_due_in_one_month(on: date) -> None:
    due = Counter(
        (owed.due_on.year, owed.due_on.month)
        for one in seen(on)
        if one.tag in BATCH
        for owed in one.owed(on)
        if owed.task == "hydrostatic-retest" and owed.due_on
    )
    ahead = add_months(on, 3)
    assert due == {(ahead.year, ahead.month): 30}
    assert {row["site"] for row in fleet(on).register if row["tag"] in BATCH} == {
        "KET",
        "KET-1",
        "OST",
        "BRA",
    }


def test_no_other_month_of_the_next_three_years_has_such_a_tower(on: date) -> None:
    due = Counter(
        (owed.due_on.year, owed.due_on.month)
        for one in seen(on)
        if one.tag not in BATCH
        for owed in one.owed(on)
        if owed.task == "hydrostatic-retest" and owed.due_on
    )
    assert max(due.values()) < 25


def test_one_composite_ends_its_life_within_two_months(on: date) -> None:
    ends = {
        one.tag: (owed.due_on - on).days
        for one in seen(on)
        for owed in one.owed(on)
        if owed.task == "service-life" and owed.due_on and (owed.due_on - on).days < 365
    }
    assert ends.keys() == {"00285", "00286"}
    assert 30 <= ends["00285"] <= 60
    assert ends["00286"] < 0


def test_the_set_used_yesterday_waits_with_all_its_parts(on: date) -> None:
    yesterday = (on - timedelta(days=1)).isoformat()
    used = {row["tag"] for row in fleet(on).history if row["done_on"] == yesterday}
    assert used == {"S17", "F17", "V030", "M040", "00104"}
    for tag in used - {"00104"}:
        cleaning = next(owed for owed in item(tag, on).owed(on) if owed.task == "cleaning")
        assert cleaning.counted_from is CountedFrom.EVENT


def test_the_diaphragm_is_counted_from_the_day_it_was_made(on: date) -> None:
    renewal = next(o for o in item("V048", on).owed(on) if o.task == "diaphragm-renewal")
    assert renewal.counted_from is CountedFrom.PART_MADE


def test_the_star_of_the_us_cylinder_is_seen_and_does_not_govern(on: date) -> None:
    retest = next(o for o in item("00261", on).owed(on) if o.task == "hydrostatic-retest")
    assert retest.rule.table == "iso-en-cylinders"
    star = next(c for c in retest.candidates if c.rule.id == "us-cyl-3a-3aa-star")
    assert star.due_on
    assert star.due_on > on


def test_some_cylinders_are_known_only_to_the_month_they_were_made(on: date) -> None:
    to_month = {row["tag"] for row in fleet(on).register if len(row["made_on"]) == len("2026-11")}
    assert "00101" in to_month
    assert len(to_month) == 30


def test_no_cylinder_was_filled_on_a_day_when_it_must_not_be(on: date) -> None:
    for one in seen(on):
        fills = [record.done_on for record in one.records if record.task == "fill"]
        for filled_on in fills:
            late = {o.task for o in one.owed(filled_on) if o.state(filled_on) is State.OVERDUE}
            assert not late & {"hydrostatic-retest", "service-life"}, (one.tag, filled_on)


@pytest.mark.parametrize("days_before", [20, 75, 130])
def test_the_well_kept_were_well_kept_on_days_before_too(days_before: int, on: date) -> None:
    then = on - timedelta(days=days_before)
    told = {tag for trouble in data()["trouble"] for tag in trouble["tags"]}
    found = {
        (one.tag, owed.task)
        for one in seen(on)
        if one.tag not in told | {"00286"}
        for owed in one.owed(then)
        if owed.state(then) is State.OVERDUE and owed.counted_from is not CountedFrom.EVENT
    }
    assert found == set()


def test_after_use_things_are_washed_and_tested_within_a_week(on: date) -> None:
    for one in seen(on):
        for record in one.records:
            if record.task != "use" or one.kind == "cylinder" or (on - record.done_on).days < 8:
                continue
            week_later = record.done_on + timedelta(days=7)
            wet = [
                owed.task
                for owed in one.owed(week_later)
                if owed.counted_from is CountedFrom.EVENT and owed.basis_on == record.done_on
            ]
            assert wet == [], (one.tag, record.done_on)


def test_the_story_of_the_dropped_valve_can_be_read() -> None:
    on = DAYS[0]
    told = [
        (row["task"], row["outcome"])
        for row in fleet(on).history
        if row["tag"] == "V040" and 199 <= (on - day(row["done_on"])).days <= 205
    ]
    assert told == [
        ("impact", "pass"),
        ("functional-test", "fail"),
        ("repair", "pass"),
        ("functional-test", "pass"),
    ]

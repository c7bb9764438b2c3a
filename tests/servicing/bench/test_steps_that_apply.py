"""At the bench: only the steps that fit the item are asked, and the record tells no others."""

from datetime import date, timedelta
from typing import Any

import pytest
from django.contrib.auth.models import User

from registry.items.models import Item
from registry.sites.clock import now
from registry.sites.models import Site
from servicing.bench.queries.facts import facts_of
from servicing.ledger.queries.records import history_of
from servicing.rules.models import Adoption, RuleTable
from servicing.rules.queries import tables_adopted
from tests.people import make_item, state
from tests.servicing.bench.conftest import fitted, make_bottle
from tests.servicing.bench.desk import DONE, GOOD, Desk, said
from tests.servicing.bench.test_batches import ALL_SAID, Crate

EXTERNAL = "external-inspection"
LEVEL_1 = {"word": "level-1"}


def steps(desk: Desk) -> list[str]:
    page = desk.client.get(desk.path)
    return [place.step.id for place in page.context["places"]]


def cylinder(site: Site, tag: str, construction: str = "") -> Item:
    return make_item(site, tag, "cylinder", made_on=date(2020, 1, 1), construction=construction)


def breathing(item: Item, word: str) -> Item:
    return state(item, breathing=word)


def test_bare_steel_is_not_asked_for_its_wrapping(
    technician: User, station: Site, procedures: None
) -> None:
    steel = steps(Desk(technician, cylinder(station, "C1", "type-1"), EXTERNAL))
    assert "wrapping" not in steel
    assert "dent-canada" not in steel
    assert "cut-length" in steel


def test_a_composite_needs_no_depth_gauge_and_its_record_tells_of_no_cut(
    technician: User, station: Site, procedures: None, today: date
) -> None:
    composite = cylinder(station, "C1", "type-3")
    desk = Desk(technician, composite, EXTERNAL)
    assert steps(desk) == ["marks", "residual", "impact", "heat", "corrosion", "wrapping"]
    assert desk.client.get(f"{desk.path}?step=setting").context["form"].words == ()
    given = [GOOD, {"typed": "5", "unit": "bar"}, LEVEL_1, LEVEL_1, LEVEL_1, LEVEL_1]
    for step, answer in zip(steps(desk), given, strict=True):
        assert desk.answer(step, answer).status_code == 302, step
    assert desk.sign().status_code == 302
    record = history_of(composite).get()
    assert [check.step for check in record.entry.checks] == [
        "marks",
        "impact",
        "heat",
        "corrosion",
        "wrapping",
    ]
    assert [reading.name for reading in record.entry.readings] == ["residual-pressure"]


def test_a_law_is_asked_where_and_while_its_tables_are_adopted(
    technician: User, station: Site, procedures: None, today: date
) -> None:
    steel = cylinder(station, "C1", "type-1")
    desk, always = Desk(technician, steel, EXTERNAL), {"iso-en-cylinders", "general-apparatus"}
    assert "dent-canada" not in steps(desk)
    Adoption.objects.create(
        site=station,
        table=RuleTable.objects.get(name="canada"),
        adopted_from=today - timedelta(days=9),
        adopted_until=today + timedelta(days=1),
        entered_at=now(),
    )
    assert "dent-canada" in steps(desk)
    for days, more in ((10, set()), (9, {"canada"}), (0, {"canada"}), (-1, set())):
        assert tables_adopted(station, today - timedelta(days=days)) == always | more


def test_a_positive_pressure_mask_is_measured_as_one_and_can_not_be_left(
    desk: Desk, mask: Item, today: date
) -> None:
    breathing(mask, "positive-pressure")
    assert steps(desk) == [
        "look",
        "diaphragm",
        "renewed-disc",
        "moisten",
        "leak",
        "exhalation-positive",
        "pack",
    ]
    for step, given in (
        ("look", GOOD),
        ("diaphragm", GOOD),
        ("renewed-disc", {"word": "not-applicable"}),
        ("moisten", DONE),
        ("leak", {"typed": "0.3", "unit": "mbar"}),
    ):
        desk.answer(step, given)
    left = desk.answer("exhalation-positive", {"word": "not-applicable"})
    assert left.status_code == 422
    assert "This step always applies" in said(left)
    page = desk.client.get(desk.path).content.decode()
    assert "oes not apply" not in page
    assert "Not applicable" not in page
    desk.answer("exhalation-positive", {"typed": "5", "unit": "mbar"})
    desk.answer("pack", DONE)
    assert desk.sign().status_code == 302
    entry = history_of(mask).get().entry
    assert [reading.name for reading in entry.readings] == [
        "mask-leak",
        "exhalation-opening-positive",
    ]
    assert "exhalation-demand" not in {check.step for check in entry.checks}


def test_where_nobody_stated_how_it_breathes_whoever_stands_there_says_so(
    desk: Desk, mask: Item
) -> None:
    desk.answer_all(exhalation_positive={"typed": "5", "unit": "mbar"})
    page = desk.client.get(f"{desk.path}?step=exhalation-demand").content.decode()
    assert "The register doesn&#x27;t say the breathing of 00123" in page or (
        "The register doesn't say the breathing of 00123" in page
    )
    assert "Does not apply to this item</button>" in page
    assert desk.sign().status_code == 302
    answers = {c.step: c.answer for c in history_of(mask).get().entry.checks}
    assert answers["exhalation-demand"] == "not-applicable"


def test_what_was_left_is_asked_again_once_it_is_known_to_apply(desk: Desk, mask: Item) -> None:
    desk.answer_all()
    breathing(mask, "positive-pressure")
    answer = desk.sign()
    assert answer.status_code == 422
    assert not history_of(mask)
    assert "Step 6, exhalation positive: Enter the reading." in desk.check().content.decode()


@pytest.mark.parametrize(
    ("words", "found"),
    [
        (("positive-pressure", "positive-pressure"), {"positive-pressure"}),
        (("positive-pressure", ""), {"positive-pressure"}),
        (("", ""), None),
    ],
)
def test_a_set_breathes_as_its_parts_do(
    station: Site, rules: None, today: date, words: tuple[str, str], found: Any
) -> None:
    whole = make_item(station, "S1", "set")
    for kind, word in zip(("demand-valve", "mask"), words, strict=True):
        part = make_item(station, f"P-{kind}", kind, model=kind)
        fitted(whole, state(part, breathing=word), today)
    assert facts_of(whole, today, {"breathing"}).get("breathing") == found


def test_a_bare_frame_has_no_charge_and_one_in_a_set_has(
    technician: User, station: Site, test_bench: Item, today: date
) -> None:
    frame = make_item(station, "F1", "frame", made_on=date(2020, 1, 1))
    desk = Desk(technician, frame, "functional-test")
    desk.set(**{"pick_pressure-gauge": str(test_bench.pk)}, done_on=today.isoformat())
    assert steps(desk) == ["look", "hoses", "high-pressure-loss", "warning", "gauge-zero"]
    whole = make_item(station, "S1", "set")
    fitted(whole, frame, today)
    fitted(whole, make_bottle(station, "C1", 200), today)
    assert "charge" in steps(desk)


def test_a_batch_of_both_kinds_of_mask_asks_each_for_its_own_reading(
    technician: User, test_bench: Item, station: Site
) -> None:
    """`left` said that neither applies to any; what is known to apply is asked all the same."""
    words = ("positive-pressure", "negative-pressure")
    masks = [
        breathing(make_item(station, f"M{n}", made_on=date(2022, 1, 1), model=word), word)
        for n, word in enumerate(words)
    ]
    crate = Crate(technician, test_bench)
    for mask in masks:
        crate.scan(mask.tag)
    positive = crate.client.get(f"{crate.path}?item={masks[0].pk}").context["form"]
    assert "typed_exhalation-positive" in positive.fields
    assert not {"left_exhalation-positive", "typed_exhalation-demand"} & set(positive.fields)
    crate.read(masks[0], "0.2")
    crate.read(masks[1], "0.2", **{"typed_exhalation-demand": "0.5"})
    page = crate.client.get(f"{crate.path}check/")
    assert page.context["crate"].counts == {"pass": 1, "fail": 0, "open": 1}
    crate.read(masks[0], "0.2", **{"typed_exhalation-positive": "5"})
    assert crate.sign(**ALL_SAID).status_code == 302
    names = [[r.name for r in history_of(mask).get().entry.readings] for mask in masks]
    assert names == [
        ["mask-leak", "exhalation-opening-positive"],
        ["mask-leak", "exhalation-opening-demand"],
    ]


def test_a_batch_of_cylinders_says_of_how_many_a_step_is_said(
    technician: User, test_bench: Item, station: Site, today: date
) -> None:
    begun = Crate(technician, test_bench)
    started = begun.client.post(
        "/bench/batch/?procedure=cylinder-external",
        {
            "pick_depth-gauge": str(test_bench.pk),
            "done_on": today.isoformat(),
            "left": ["residual", "cut-depth", "cut-share", "cut-length"],
        },
    )
    begun.path = started["Location"]
    for tag, built in (("C1", "type-1"), ("C2", "type-3"), ("C3", "type-3")):
        cylinder(station, tag, built)
        begun.scan(tag)
    page = begun.client.get(f"{begun.path}check/")
    said_of = {each["field"].name: each["of"] for each in page.context["said"]}
    assert said_of == {
        "said_marks": 3,
        "said_impact": 3,
        "said_heat": 3,
        "said_corrosion": 3,
        "said_wrapping": 2,
    }

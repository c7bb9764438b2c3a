"""Which instrument serves as which: said by a manager, kept to by the bench. A9, A21, D29."""

from datetime import date
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.core.exceptions import ValidationError

from registry.items.actions import state_serving
from registry.items.models import Item, ItemTypeVersion
from registry.items.pure import Serving
from registry.items.queries import serving_known
from registry.sites.clock import now
from registry.sites.models import Site
from registry.trail.models import TrailEntry
from servicing.bench.pure.ranges import read_ranges
from servicing.due.queries.instruments import undescribed_types
from servicing.ledger.queries.records import history_of
from servicing.ledger.queries.whole import ledger_faults
from tests.people import make_item, signed_in
from tests.servicing.bench.conftest import calibrate
from tests.servicing.bench.desk import STEPS, Desk, said
from tests.servicing.bench.test_batches import ALL_SAID, Crate


def describe(item: Item, *words: str, shows: str = "") -> None:
    """Say what the instruments of an item's type serve as."""
    serving = Serving(words, read_ranges(shows))
    state_serving(item.type, serving=serving, by=None, at=now(), why="its plate")


@pytest.fixture
def tubes(procedures: None, station: Site, technician: User, today: date) -> Item:
    """Gas tubes of a compressor, in calibration and described."""
    made = make_item(
        station,
        "A01",
        "instrument",
        maker="Wexalune",
        model="Air 5",
        made_on=date(2020, 1, 1),
        in_service_on=date(2020, 2, 1),
    )
    calibrate(made, today, "pass", technician)
    describe(made, "air-test-kit")
    return made


@pytest.fixture
def bench(test_bench: Item) -> Item:
    """The test bench, described as one."""
    describe(test_bench, "mask-test-bench", shows="-30 to 30 mbar in steps of 0.1")
    return Item.objects.select_related("type", "site").get(pk=test_bench.pk)


def picks(page: Any, word: str = "mask-test-bench") -> list[str]:
    """Return the labels of the instruments to pick from."""
    return [label for _, label in page.context["form"].fields[f"pick_{word}"].choices]


def test_the_bench_offers_only_what_serves(
    tubes: Item, bench: Item, technician: User, mask: Item
) -> None:
    at = Desk(technician, mask)
    assert [label[:4] for label in picks(at.client.get(f"{at.path}?step=setting"))] == ["B01,"]
    batch = at.client.get("/bench/batch/?procedure=mask-tightness-test")
    assert [label[:4] for label in picks(batch)] == ["B01,"]


@pytest.mark.parametrize("field", ["scan", "pick"])
def test_what_does_not_serve_is_refused_by_what_it_is_and_what_is_needed(
    field: str, tubes: Item, bench: Item, *, technician: User, mask: Item, today: date
) -> None:
    at = Desk(technician, mask)
    value = "A01" if field == "scan" else str(tubes.pk)
    answer = at.set(**{f"{field}_mask-test-bench": value, "done_on": today.isoformat()})
    assert answer.status_code == 422
    if field == "scan":
        sentence = "A01, Wexalune Air 5, serves as air test kit, not as mask test bench"
        assert sentence in answer.content.decode()
    begun = at.client.post(
        "/bench/batch/",
        {
            "procedure": "mask-tightness-test",
            f"{field}_mask-test-bench": value,
            "done_on": today.isoformat(),
        },
    )
    assert begun.status_code == 422


def test_a_mask_scanned_as_instrument_is_called_a_mask(
    bench: Item, technician: User, mask: Item, today: date
) -> None:
    at = Desk(technician, mask)
    answer = at.set(**{"scan_mask-test-bench": "00123", "done_on": today.isoformat()})
    assert "00123 is a mask, no instrument; scan the mask test bench" in answer.content.decode()


def test_what_was_chosen_before_is_refused_by_the_server_once_it_is_described_otherwise(
    desk: Desk, mask: Item, test_bench: Item
) -> None:
    """The bench was undescribed when it was chosen and read with; then somebody says what it is."""
    desk.answer_all()
    describe(test_bench, "flow-bench")
    check = desk.check().content.decode()
    assert "B01, Wexalune Bench 3, serves as flow bench, not as mask test bench" in check
    assert desk.sign().status_code == 422
    assert not history_of(mask).exists()
    answer = desk.answer("leak", {"typed": "0.4", "unit": "mbar"})
    assert answer.status_code == 422
    assert "not as mask test bench. Choose another one" in said(answer)
    step = desk.client.get(f"{desk.path}?step=leak").content.decode()
    assert "serves as flow bench, not as mask test bench. Nothing may be judged with it." in step


def test_an_instrument_nobody_has_described_still_serves_and_is_said_to_be_so(
    desk: Desk, mask: Item, test_bench: Item, manager: User
) -> None:
    setting = desk.client.get(f"{desk.path}?step=setting")
    (label,) = picks(setting)
    assert label.endswith("; not described yet, make sure it is a mask test bench")
    step = desk.client.get(f"{desk.path}?step=leak").content.decode()
    assert "Nobody has described it yet: make sure that it is a mask test bench." in step
    assert list(undescribed_types()) == [test_bench.type]
    home = signed_in(manager).get("/").content.decode()
    assert "1 type of instrument to be described" in home
    assert f"/bench/types/{test_bench.type_id}/serves/" in home
    desk.answer_all()
    assert desk.sign().status_code == 302
    (record,) = history_of(mask)
    assert record.entry.checks[-1].note == "B01 · Wexalune · S-B01: not described yet"


def test_the_record_keeps_what_the_instrument_served_as(
    bench: Item, desk: Desk, mask: Item
) -> None:
    desk.answer_all()
    assert desk.sign().status_code == 302
    (record,) = history_of(mask)
    kept = record.entry.checks[-1]
    assert (kept.step, kept.text) == (
        "measured-with-mask-test-bench",
        "Measured with the mask test bench",
    )
    shown = "B01 · Wexalune · S-B01: mask test bench, -30 to 30 mbar in steps of 0.1"
    assert kept.note == shown
    describe(bench, "flow-bench")
    record.refresh_from_db()
    assert record.entry.checks[-1].note == shown
    assert shown in desk.client.get(f"/items/{mask.pk}/records/1/").content.decode()
    assert list(ledger_faults()) == []


def test_a_reading_out_of_range_is_refused_with_what_the_instrument_shows(
    bench: Item, desk: Desk, mask: Item
) -> None:
    for step, given in STEPS[:4]:
        desk.answer(step, given)
    answer = desk.answer("leak", {"typed": "70", "unit": "mbar", "sure": "70"})
    assert answer.status_code == 422
    assert "70 mbar can&#x27;t be read on B01, Wexalune Bench 3" in answer.content.decode()
    assert 'value="70"' in answer.content.decode()
    asked = desk.answer("leak", {"typed": "31", "unit": "mbar"})
    assert "Correct it, or confirm that this is what was measured." in asked.content.decode()
    assert desk.answer("leak", {"typed": "31", "unit": "mbar", "sure": "31"}).status_code == 302


def test_a_range_described_after_the_reading_stops_the_signature(
    desk: Desk, mask: Item, test_bench: Item
) -> None:
    desk.answer_all()
    describe(test_bench, "mask-test-bench", shows="1 to 1.1 mbar")
    assert "0.30 mbar can&#x27;t be read on B01" in desk.check().content.decode()
    assert desk.sign().status_code == 422
    assert not history_of(mask).exists()


def test_what_shows_too_coarsely_is_no_bench_for_masks(
    test_bench: Item, technician: User, mask: Item, today: date
) -> None:
    # The procedure of the mask asks for 0.1 mbar (fixtures/rules/procedures/masks.toml).
    describe(test_bench, "mask-test-bench", shows="-30 to 30 mbar in steps of 1")
    at = Desk(technician, mask)
    assert picks(at.client.get(f"{at.path}?step=setting")) == []
    answer = at.set(**{"scan_mask-test-bench": "B01", "done_on": today.isoformat()})
    assert answer.status_code == 422
    assert "and steps of 0.1 mbar are asked" in answer.content.decode()


def test_a_batch_holds_readings_against_the_range_too(
    bench: Item, technician: User, station: Site
) -> None:
    item = make_item(station, "M001", made_on=date(2022, 1, 1))
    crate = Crate(technician, bench)
    crate.scan("M001")
    answer = crate.read(item, "70")
    assert answer.status_code == 422
    assert "70 mbar can&#x27;t be read on B01, Wexalune Bench 3" in answer.content.decode()
    assert crate.read(item, "0,3").status_code == 302
    describe(bench, "flow-bench")
    assert crate.sign(**ALL_SAID).status_code == 422
    assert not history_of(item).exists()


def test_an_instrument_further_off_is_offered_where_none_of_the_near_ones_serves(
    tubes: Item, bench: Item, technician: User, mask: Item, station: Site
) -> None:
    for number in range(12):
        make_item(station, f"A{number + 10}", "instrument", maker="Wexalune", model="Air 5")
    at = Desk(technician, mask)
    assert [label[:4] for label in picks(at.client.get(f"{at.path}?step=setting"))] == ["B01,"]


# ── Saying it ────────────────────────────────────────────────────────────────────────────────────


def test_a_manager_says_what_a_type_serves_as(
    test_bench: Item, manager: User, auditor: User
) -> None:
    client, path = signed_in(manager), f"/bench/types/{test_bench.type_id}/serves/"
    page = client.get(path).content.decode()
    assert "Nobody has said yet what Wexalune Bench 3 serves as" in page
    for word in ("mask test bench", "pressure gauge", "calibrated cylinder"):
        assert word in page
    assert "timer" not in page  # no calibration belongs to it
    form = {
        "words": ["mask-test-bench", "medium-pressure-gauge"],
        "ranges": "-30 to 30 mbar in steps of 0,1\n0 to 25 bar",
        "why": "its plate",
    }
    before = now()
    assert client.post(path, form).status_code == 302
    test_bench.type.refresh_from_db()
    words = "mask test bench and medium pressure gauge, -30 to 30 mbar in steps of 0.1; 0 to 25 bar"
    assert str(test_bench.type.serving) == words
    assert words in signed_in(auditor).get("/types/").content.decode()
    item = signed_in(auditor).get(f"/items/{test_bench.pk}/").content.decode()
    assert "<dd>mask test bench and medium pressure gauge</dd>" in item
    assert "<dd>-30 to 30 mbar in steps of 0.1; 0 to 25 bar</dd>" in item
    # Twice dated, and in the trail with who and why.
    assert str(serving_known(test_bench, before)) == "not described yet"
    assert str(serving_known(test_bench, now())) == words
    entry = TrailEntry.objects.latest("number")
    assert (entry.what, entry.by, entry.why) == ("type", "Manfrid Merrow (manfrid)", "its plate")
    assert "medium-pressure-gauge" in entry.after
    # The same again changes nothing.
    versions = ItemTypeVersion.objects.count()
    assert client.post(path, form).status_code == 302
    assert ItemTypeVersion.objects.count() == versions


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"words": []}, "It serves as: tick what it can be used as"),
        ({"ranges": "up to 400"}, "is no range; write it such as 0 to 400 bar"),
        ({"why": ""}, "Why: write how you know"),
        ({"words": ["kettle"]}, "kettle"),
    ],
)
def test_a_description_nobody_can_use_comes_back_as_typed(
    changed: dict[str, Any], says: str, test_bench: Item, manager: User
) -> None:
    form = {"words": ["flow-bench"], "ranges": "0 to 800 L/min", "why": "plate", **changed}
    answer = signed_in(manager).post(f"/bench/types/{test_bench.type_id}/serves/", form)
    assert answer.status_code == 422
    assert says in answer.content.decode()
    test_bench.type.refresh_from_db()
    assert test_bench.type.serving == Serving()


def test_only_instruments_serve_as_something(mask: Item, procedures: None, manager: User) -> None:
    assert signed_in(manager).get(f"/bench/types/{mask.type_id}/serves/").status_code == 404
    with pytest.raises(ValidationError, match="Only the type of an instrument"):
        describe(mask, "mask-test-bench")


def test_stating_other_facts_of_a_type_leaves_what_it_serves_as(bench: Item, manager: User) -> None:
    form = {"maker": "Wexalune", "model": "Bench 4", "why": "misread"}
    assert signed_in(manager).post(f"/types/{bench.type_id}/edit/", form).status_code == 302
    bench.type.refresh_from_db()
    assert bench.type.serving.serves_as == ("mask-test-bench",)

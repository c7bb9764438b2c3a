"""What throws work away asks, stands apart, and is undone within a day."""

from datetime import timedelta
from typing import Any

import time_machine
from django.contrib.auth.models import User

from registry.items.models import Item
from registry.sites.clock import now
from servicing.bench.models import Batch, Draft
from servicing.ledger.queries.records import history_of
from tests.people import signed_in
from tests.servicing.bench.desk import STEPS, Desk
from tests.servicing.bench.test_batches import ALL_SAID, Crate, crate, masks

__all__ = ["crate", "masks"]  # fixtures
BACK = "/bench/thrown/"


def away(crate: Crate) -> str:
    return f"{crate.path}throw-away/"


def read_all(crate: Crate, masks: list[Item]) -> None:
    for mask in masks:
        crate.scan(mask.tag)
        crate.read(mask, "0,3")


def test_a_batch_is_asked_about_thrown_away_and_brought_back_whole(
    crate: Crate, masks: list[Item]
) -> None:
    read_all(crate, masks)
    page = crate.client.get(crate.path).content.decode()
    # On the page of the batch itself no button throws anything away.
    assert 'name="discard"' not in page
    asked = crate.client.get(away(crate)).content.decode()
    assert "Throw this batch away?" in asked
    assert "In it: 4 items, 4 readings." in asked
    assert Draft.objects.count() == 4

    gone = crate.client.post(away(crate), follow=True).content.decode()
    assert "Batch: tightness test of 4 masks" in gone
    assert not Draft.objects.exists()
    assert crate.client.get(crate.path).status_code == 404
    for page in ("/", "/bench/batch/"):
        assert BACK in crate.client.get(page).content.decode(), page

    (batch,) = Batch.with_thrown.all()
    back = crate.client.post(BACK, {"batch": batch.pk})
    assert back["Location"] == crate.path
    assert [draft.answers["leak"]["typed"] for draft in Draft.objects.all()] == ["0,3"] * 4
    assert crate.sign(**ALL_SAID).status_code == 302
    assert all(history_of(mask).count() == 1 for mask in masks)


def test_after_a_day_it_is_gone_for_good(crate: Crate, masks: list[Item]) -> None:
    read_all(crate, masks[:1])
    crate.client.post(away(crate))
    batch = Batch.with_thrown.get()
    with time_machine.travel(now() + timedelta(hours=25), tick=False):
        client = signed_in(batch.user)
        assert b"Nothing was thrown away" in client.get(BACK).content
        assert client.post(BACK, {"batch": batch.pk}).status_code == 404
    assert not Batch.with_thrown.exists()
    assert not Draft.with_thrown.exists()


def test_an_item_taken_out_of_a_batch_comes_back_with_its_readings(
    crate: Crate, masks: list[Item]
) -> None:
    read_all(crate, masks[:2])
    out = f"/bench/{masks[0].pk}/tightness-test/put-aside/"
    assert "Take M001 out of the batch?" in crate.client.get(out).content.decode()
    assert crate.client.post(out)["Location"] == crate.path
    assert [draft.item.tag for draft in Draft.objects.all()] == ["M002"]
    assert "M001: tightness test, taken out of a batch" in crate.client.get(BACK).content.decode()
    crate.client.post(BACK, {"draft": Draft.with_thrown.get(item=masks[0]).pk})
    assert {draft.item.tag for draft in Draft.objects.all()} == {"M001", "M002"}
    # A batch that is signed meanwhile takes nothing back.
    crate.client.post(out)
    assert crate.sign(**ALL_SAID).status_code == 302
    late = crate.client.post(BACK, {"draft": Draft.with_thrown.get(item=masks[0]).pk}, follow=True)
    assert "is signed or thrown away" in late.content.decode()
    assert not history_of(masks[0]).exists()


def answer_some(desk: Desk) -> Any:
    for step, given in STEPS[:4]:
        desk.answer(step, given)
    return desk.client.post(f"{desk.path}put-aside/")


def test_a_single_draft_comes_back_unless_it_was_begun_anew(desk: Desk, mask: Item) -> None:
    asked = desk.client.get(f"{desk.path}put-aside/").content.decode()
    assert "Throw away the tightness test of 00123?" in asked
    assert answer_some(desk)["Location"] == BACK
    thrown = Draft.with_thrown.get()
    assert thrown.thrown_at is not None

    desk.set(done_on=thrown.done_on.isoformat(), **{"pick_mask-test-bench": pick(thrown)})
    anew = desk.client.post(BACK, {"draft": thrown.pk}, follow=True).content.decode()
    assert "You have begun the tightness test of 00123 anew" in anew
    desk.client.post(f"{desk.path}put-aside/")
    assert desk.client.post(BACK, {"draft": thrown.pk})["Location"] == desk.path
    assert set(Draft.objects.get().answers) == {step for step, _ in STEPS[:4]}


def pick(draft: Draft) -> str:
    return str(draft.instruments["mask-test-bench"])


def test_nobody_sees_or_brings_back_what_another_threw_away(
    desk: Desk, mask: Item, manager: User
) -> None:
    answer_some(desk)
    thrown, other = Draft.with_thrown.get(), signed_in(manager)
    assert b"Nothing was thrown away" in other.get(BACK).content
    assert other.post(BACK, {"draft": thrown.pk}).status_code == 404
    for wrong in ({}, {"draft": "x"}, {"batch": "9" * 30}):
        assert desk.client.post(BACK, wrong).status_code == 404

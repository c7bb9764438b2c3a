"""A crate through one task: readings by item, one word for all by eye, one signature. D29."""

from datetime import date
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import Client

from registry.items.models import Item
from registry.sites.clock import today_at
from registry.sites.models import Site
from servicing.bench.models import Batch, Draft
from servicing.ledger.queries.records import history_of
from tests.people import PASSWORD, make_item, signed_in

EYE = ("look", "diaphragm", "moisten", "pack")
ALL_SAID = {f"said_{step}": "on" for step in EYE}


class Crate:
    """A person with a batch of masks, sending plain forms."""

    def __init__(self, user: User, test_bench: Item) -> None:
        self.client = Client()
        self.client.login(username=user.username, password=PASSWORD)
        begun = self.client.post(
            "/bench/batch/?procedure=mask-tightness-test",
            {
                "pick_mask-test-bench": str(test_bench.pk),
                "done_on": today_at(test_bench.site).isoformat(),
                "left": ["exhalation-demand", "exhalation-positive"],
            },
        )
        assert begun.status_code == 302
        self.path = begun["Location"]

    def scan(self, tag: str) -> Any:
        return self.client.post(self.path, {"tag": tag})

    def read(self, item: Item, leak: str, **more: str) -> Any:
        fields = {"item": str(item.pk), "typed_leak": leak, "unit_leak": "mbar", **more}
        return self.client.post(self.path, fields)

    def sign(self, **said: str) -> Any:
        page = self.client.get(f"{self.path}check/")
        form = {"act": "sign", "seen": page.context["seen"], **said}
        return self.client.post(f"{self.path}check/", form)


@pytest.fixture
def masks(station: Site) -> list[Item]:
    return [make_item(station, f"M{n:03}", made_on=date(2022, 1, 1)) for n in range(1, 5)]


@pytest.fixture
def crate(technician: User, test_bench: Item) -> Crate:
    return Crate(technician, test_bench)


def records(item: Item) -> list[Any]:
    return list(history_of(item).order_by("position"))


def test_a_crate_is_scanned_read_and_signed_once(crate: Crate, masks: list[Item]) -> None:
    for number, mask in enumerate(masks, 1):
        opened = crate.scan(mask.tag)
        assert opened["Location"] == f"{crate.path}?item={mask.pk}"
        # Readings are never carried over.
        page = crate.client.get(opened["Location"])
        assert page.context["form"]["typed_leak"].value() == ""
        assert crate.read(mask, f"0,{number}")["Location"] == crate.path
    assert crate.sign(**ALL_SAID).status_code == 302
    for number, mask in enumerate(masks, 1):
        (record,) = records(mask)
        assert record.entry.readings[0].typed == f"0,{number}"
        assert record.entry.instruments[0].marked_as == "B01 · Wexalune · S-B01"
        assert {c.step: c.answer for c in record.entry.checks} == {
            "look": "good",
            "diaphragm": "good",
            "renewed-disc": "not-applicable",
            "moisten": "done",
            "exhalation-demand": "not-applicable",
            "exhalation-positive": "not-applicable",
            "pack": "done",
            "measured-with-mask-test-bench": "done",
        }
        assert [s.meaning for s in record.signatures.all()] == ["performed"]
    assert not Draft.objects.exists()
    done = crate.client.get(f"{crate.path}done/")
    assert "4 items signed: 4 pass, 0 fail" in " ".join(done.content.decode().split())


def test_what_is_said_for_all_must_be_said_for_each_step(crate: Crate, masks: list[Item]) -> None:
    crate.scan("M001")
    crate.read(masks[0], "0.2")
    answer = crate.sign(said_look="on", said_diaphragm="on", said_moisten="on")
    assert answer.status_code == 422
    assert b"Take off, dry, and pack the mask" in answer.content
    assert not records(masks[0])
    assert Draft.objects.get().answers.keys() == {"leak"}


def test_an_exception_by_eye_fails_its_item_and_no_other(crate: Crate, masks: list[Item]) -> None:
    for mask in masks[:2]:
        crate.scan(mask.tag)
    crate.read(masks[0], "0.2", except_look="not-good", why_look="strap torn")
    crate.read(masks[1], "0.2")
    page = crate.client.get(f"{crate.path}check/")
    assert b"All 2 good, except M001 (not good: strap torn)." in page.content
    assert page.content.count(b"except M00") == 1
    assert crate.sign(**ALL_SAID).status_code == 302
    assert [records(mask)[0].outcome for mask in masks[:2]] == ["fail", "pass"]


def test_a_failed_mask_is_tested_again_and_both_attempts_stay(
    crate: Crate, masks: list[Item]
) -> None:
    mask = masks[0]
    crate.scan(mask.tag)
    crate.read(mask, "1,3", note="exhalation valve")
    crate.read(mask, "1,3", note="exhalation valve", then="again")
    page = crate.client.get(f"{crate.path}?item={mask.pk}")
    assert page.context["form"]["typed_leak"].value() == ""
    crate.read(mask, "0,3", **{"batch_renewed-disc": "7731", "made_renewed-disc": "2026-01-05"})
    assert crate.sign(**ALL_SAID).status_code == 302
    # Two attempts of one item: it passes, after a failure.
    done = " ".join(crate.client.get(f"{crate.path}done/").content.decode().split())
    assert "1 item signed: 1 passes, 0 fail, 1 of them failed first" in done
    first, renewed, second = records(mask)
    assert [(r.outcome, r.attempt) for r in (first, second)] == [("fail", 1), ("pass", 2)]
    assert (renewed.task, renewed.part_made_on) == ("disc-renewal", date(2026, 1, 5))
    assert first.note == "leak: exhalation valve"
    assert second.entry.parts[0].batch == "7731"


def test_an_item_scanned_twice_is_in_the_batch_once(crate: Crate, masks: list[Item]) -> None:
    crate.scan("M001")
    crate.read(masks[0], "0.2")
    crate.scan("M001")
    assert Draft.objects.get().answers["leak"]["typed"] == "0.2"


@pytest.mark.parametrize(
    ("tag", "why"),
    [
        ("B01", "B01 is of the kind instrument"),
        ("M9", "Nothing carries the mark M9"),
        ("", "Scan or type"),
    ],
)
def test_what_does_not_belong_is_refused_with_a_reason(crate: Crate, tag: str, why: str) -> None:
    answer = crate.scan(tag)
    assert answer.status_code == 422
    assert why in answer.content.decode()
    assert not Draft.objects.exists()


def test_a_batch_with_an_item_not_read_is_not_signed(crate: Crate, masks: list[Item]) -> None:
    for mask in masks[:2]:
        crate.scan(mask.tag)
    crate.read(masks[0], "0.2")
    answer = crate.sign(**ALL_SAID)
    assert answer.status_code == 422
    assert not records(masks[0])
    crate.client.post(f"/bench/{masks[1].pk}/tightness-test/put-aside/")
    assert crate.sign(**ALL_SAID).status_code == 302
    assert not records(masks[1])


def test_an_unusual_reading_is_asked_about_in_a_batch_too(crate: Crate, masks: list[Item]) -> None:
    crate.scan("M001")
    answer = crate.read(masks[0], "30")
    assert answer.status_code == 422
    assert b"is unusual here" in answer.content
    assert crate.read(masks[0], "30", sure_leak="30").status_code == 302


def test_nobody_opens_the_batch_of_another(crate: Crate, masks: list[Item], manager: User) -> None:
    crate.scan("M001")
    other = signed_in(manager)
    for path in (crate.path, f"{crate.path}check/", f"{crate.path}done/"):
        assert other.get(path).status_code == 404


def test_signing_a_batch_twice_makes_each_record_once(crate: Crate, masks: list[Item]) -> None:
    crate.scan("M001")
    crate.read(masks[0], "0.2")
    page = crate.client.get(f"{crate.path}check/")
    form = {"act": "sign", "seen": page.context["seen"], **ALL_SAID}
    answers = [crate.client.post(f"{crate.path}check/", form) for _ in range(2)]
    assert [answer["Location"] for answer in answers] == [f"{crate.path}done/"] * 2
    assert len(records(masks[0])) == 1
    assert Batch.objects.get().numbers == [records(masks[0])[0].number]


def test_a_batch_is_thrown_away_unless_a_test_in_it_failed(crate: Crate, masks: list[Item]) -> None:
    crate.scan("M001")
    crate.read(masks[0], "1.3")
    asked = crate.client.get(f"{crate.path}throw-away/").content.decode()
    assert "a failed test stays on record" in asked
    assert "Throw this batch away?" not in asked
    kept = crate.client.post(f"{crate.path}throw-away/", follow=True).content.decode()
    assert "a failed test stays on record" in kept
    assert Draft.objects.count() == 1
    crate.read(masks[0], "0.3")
    crate.client.post(f"{crate.path}throw-away/")
    assert not Draft.objects.exists()
    assert not Batch.objects.exists()
    assert not records(masks[0])

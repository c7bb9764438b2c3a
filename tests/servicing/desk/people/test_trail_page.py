"""The trail as people read it, take it along and review it: A10, A31, B19, D39, E5."""

import csv
import io
from datetime import date, timedelta
from typing import Any

import pytest
import time_machine
from django.contrib.auth.models import User
from django.db import connection, transaction
from django.test import Client

from registry.items.models import Item
from registry.people.actions.presence import WrongPassword, prove_presence
from registry.people.pure import PRESENCE
from registry.sites.clock import now, today_at
from registry.sites.models import Site
from registry.trail import guards
from registry.trail.actions import Noted, note, note_all
from registry.trail.models import TrailEntry
from servicing.due.actions.corrections import correct_record
from servicing.due.actions.register import rename_type, save_item, save_site
from servicing.due.actions.services import Service, log_service
from servicing.due.actions.sets import fit
from servicing.oversight.pure import FieldChange, field_changes, for_eyes
from servicing.oversight.queries import why_not_serve
from tests.people import BLANK, PASSWORD, approve, make_item, signed_in
from tests.registry.people.test_presence import asked_by


def changed(item: Item, user: User, why: str = "card", **changes: Any) -> Item:
    known = {name: getattr(item, name) for name in (*BLANK, "serial")}
    said = {"tag": item.tag, "kind": "mask", "maker": item.maker, "model": item.type.model}
    own = {name: changes.pop(name) for name in list(changes) if name in said}
    attributes = {**known, **changes}
    return save_item(
        item, **{**said, **own}, site=item.site, attributes=attributes, user=user, why=why
    )


def shown(client: Client, **asked: str) -> list[tuple[str, str]]:
    """Return (kind, of) of each entry that a sentence shows, the latest first."""
    table = client.get("/trail/", asked).context["table"]
    return [(row.record.what, row.record.subject) for row in table.page.object_list]


# ── In words ────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("before", "after", "expected"),
    [
        ('{"made_on":"2020-03"}', '{"made_on":"2020-04"}', ("made on", "2020-03", "2020-04")),
        ('{"tare_kg":"3.2"}', '{"tare_kg":null}', ("tare", "3.2 kg", "")),
        ('{"marks":[]}', '{"marks":["plus","star"]}', ("marks", "", "plus, star")),
        ('{"made_to_month":false}', '{"made_to_month":true}', ("made to month", "no", "yes")),
        ("", '{"when":{"kind":["mask"]}}', ("when", "", "kind mask")),
        ('{"time zone":"UTC"}', "", ("time zone", "UTC", "")),
    ],
)  # fmt: skip
def test_a_change_is_told_in_words(before: str, after: str, expected: tuple[str, ...]) -> None:
    assert field_changes(before, after) == [FieldChange(*expected)]


def test_days_are_words_on_the_page_and_digests_are_cut_short() -> None:
    assert for_eyes("2026-10-16") == "16 Oct 2026"
    assert for_eyes("mask 0125, 2026-13-01") == "mask 0125, 2026-13-01"
    assert for_eyes(f"{'a1' * 32}; 4") == "a1a1a1a1a1a1…; 4"


def test_the_page_reads_from_before_to_after_with_who_and_why(
    mask: Item, technician: User, auditor: User
) -> None:
    changed(mask, technician, "the stamp was read again", made_on=date(2019, 3, 10))
    page = signed_in(auditor).get("/trail/?of=00123").content.decode()
    assert "<div>made on: 10 Mar 2020 → <b>10 Mar 2019</b></div>" in page
    assert "the stamp was read again" in page
    assert "Tekla Merrow (tekla)" in page


# ── Asking ──────────────────────────────────────────────────────────────────────────────────────


def test_the_trail_is_asked_by_kind_item_person_and_span(
    mask: Item, station: Site, technician: User, manager: User, auditor: User
) -> None:
    client = signed_in(auditor)
    start = now()
    with time_machine.travel(start + timedelta(days=10)):
        changed(mask, technician, size="L")
    with time_machine.travel(start + timedelta(days=20)):
        station.name = "Station first"
        save_site(station, tables=[], user=manager)
    days = [f"{today_at(station) + timedelta(days=n)}" for n in (9, 11)]
    tekla, manfrid = "Tekla Merrow (tekla)", "Manfrid Merrow (manfrid)"
    assert shown(client, by=tekla) == [("item", "00123")]
    assert shown(client, by=manfrid, what="site") == [("site", "ST1")]
    assert shown(client, since=days[0], until=days[1]) == [("item", "00123")]
    assert shown(client, since=days[1]) == [("site", "ST1")]
    assert shown(client, of="00123", what="item") == [("item", "00123")] * 2
    assert client.get("/trail/?since=never").status_code == 422


def test_an_item_keeps_its_trail_under_another_tag_and_takes_nobody_elses(
    mask: Item, station: Site, technician: User, auditor: User
) -> None:
    client = signed_in(auditor)
    changed(mask, technician, size="L")
    changed(mask, technician, tag="M-9")
    make_item(station, "00123", serial="S-other")
    rename_type(
        mask.type, maker="Pellwright", model="Vizard II", user=technician, why="typed wrong"
    )
    assert shown(client, of="M-9") == [
        ("type", "mask Pellwright Vizard II"),
        ("item", "M-9"),
        ("item", "00123"),
        ("item", "00123"),
    ]


def test_the_trail_of_a_set_and_of_a_part_holds_what_was_fitted(
    station: Site, technician: User, auditor: User
) -> None:
    whole, other, frame = (
        make_item(station, tag, kind=kind, made_on=date(2020, 3, 10))
        for tag, kind in (("S1", "set"), ("S10", "set"), ("F1", "frame"))
    )
    approve(whole, frame)
    at = today_at(station)
    fit(set_item=whole, part=frame, on=at, by=technician, entry_key="first")
    client = signed_in(auditor)
    for tag in ("S1", "F1"):
        assert ("fitting", "S1 frame") in shown(client, of=tag)
    assert ("fitting", "S1 frame") not in shown(client, of="S10")
    assert other.tag == "S10"


def test_from_an_item_its_trail_is_one_press_away(mask: Item, auditor: User) -> None:
    page = signed_in(auditor).get(f"/items/{mask.pk}/").content.decode()
    assert 'href="/trail/?of=00123"' in page


def test_a_technician_sees_the_trail_of_items_and_of_nothing_else(
    mask: Item, technician: User, auditor: User
) -> None:
    assert {what for what, _ in shown(signed_in(technician))} == {"item"}
    assert signed_in(technician).get("/trail/", {"what": "person"}).status_code == 422
    assert {what for what, _ in shown(signed_in(auditor), what="person")} == {"person"}


# ── Taking it along ─────────────────────────────────────────────────────────────────────────────


def test_the_csv_has_every_entry_of_the_sentence_with_its_hash(
    mask: Item, technician: User, auditor: User
) -> None:
    changed(mask, technician, "=HYPERLINK(1)", size="L")
    answer: Any = signed_in(auditor).get("/trail/list.csv?of=00123")
    text = answer.getvalue().decode("utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(text, newline="")))
    entries = list(TrailEntry.objects.filter(subject="00123").order_by("number"))
    assert [row["hash"] for row in rows] == [entry.hash for entry in entries]
    assert rows[-1]["why"] == "'=HYPERLINK(1)"
    assert rows[-1]["before"] == '{"size":"M"}'
    assert rows[-1]["at"] == entries[-1].at.isoformat()
    assert f'filename="trail-00123-{now():%Y-%m-%d}.csv"' in answer["Content-Disposition"]


@pytest.mark.parametrize(
    ("more", "words", "shown_once"),
    [(59, "All 60 on one page, to print", 60), (1001, "1000 on a page, to print", 1000)],
)
def test_what_the_sentence_selects_is_printed_without_paging_up_to_a_thousand(
    mask: Item, auditor: User, more: int, words: str, shown_once: int
) -> None:
    changes = [Noted("item", "00123", None, {"size": f"{n}"}) for n in range(more)]
    with transaction.atomic():
        note_all(changes, by=auditor, at=now())
    client, of = signed_in(auditor), {"of": "00123"}
    page = client.get("/trail/", of).content.decode()
    assert f'<a class="quiet" href="?of=00123&amp;print=1">{words}</a>' in page
    assert len(shown(client, **of)) == 50
    assert len(shown(client, **of, print="1")) == shown_once
    page = client.get("/trail/", {**of, "print": "1"}).content.decode()
    assert '<a class="quiet" href="?of=00123">In short pages</a>' in page
    # Beyond the bound the print says which part it is, and how many there are in all.
    assert ("page 1 of 2: 1 to 1000" in page) is (more > 1000)
    assert f"{more + 1} changes of 00123" in page
    assert len(shown(client, **of, print="1", page="2")) == (2 if more > 1000 else 60)


# ── Review ──────────────────────────────────────────────────────────────────────────────────────


def review(client: Client) -> Any:
    return client.get("/trail/review/").context["review"]


def signed(client: Client, **more: str) -> Any:
    form = client.get("/trail/review/").context["form"]
    said = {name: form[name].value() for name in ("number", "moment")}
    return client.post("/trail/review/", {**said, **more})


def test_a_review_lists_what_came_since_the_last_and_nothing_after_it_is_signed(
    mask: Item, technician: User, auditor: User
) -> None:
    today = today_at(mask.site)
    for days in (0, 2, 3, 40):
        service = Service("cleaning", today - timedelta(days=days), "pass", "Tekla")
        log_service(item=mask, service=service, user=technician, entry_key=f"k{days}")
    with pytest.raises(WrongPassword):
        prove_presence(asked_by(technician), "not the pass phrase at all")
    client = signed_in(auditor)
    found = review(client)
    assert [row.days for row in found.late] == [3, 40]
    assert [row.why for row in found.refused] == ["wrong password"]
    assert found.count == 3
    assert signed(client, remark="looked at all").status_code == 302
    entry = TrailEntry.objects.latest("number")
    assert (entry.what, entry.by_user, entry.why) == ("review", auditor, "looked at all")
    assert review(client).count == 0
    log_service(
        item=mask,
        service=Service("cleaning", today - timedelta(days=9), "pass", "Tekla"),
        user=technician,
        entry_key="later",
    )
    assert [row.days for row in review(client).late] == [9]


def test_three_corrections_and_two_late_entries_are_five_things_to_look_at(
    mask: Item, technician: User, auditor: User
) -> None:
    today = today_at(mask.site)
    for number, days in enumerate((0, 0, 0, 4, 5)):
        service = Service("cleaning", today - timedelta(days=days), "pass", f"Person {number}")
        record = log_service(item=mask, service=service, user=technician, entry_key=f"k{number}")
        if days == 0:
            correct_record(
                record=record,
                service=None,
                reason="the wrong mask",
                user=technician,
                entry_key=f"c{number}",
            )
    client = signed_in(auditor)
    found = review(client)
    assert [row.days for row in found.late] == [4, 5]
    assert [row.reason for row in found.corrections] == ["the wrong mask"] * 3
    assert [row.corrects for row in found.corrections] == [1, 3, 5]
    assert found.count == 5
    assert "corrects record 3: the wrong mask" in client.get("/trail/review/").content.decode()
    assert signed(client).status_code == 302
    assert review(client).count == 0


def test_a_review_is_signed_with_the_password_when_nobody_proved_to_be_there(
    mask: Item, auditor: User
) -> None:
    client = signed_in(auditor)
    with time_machine.travel(now() + PRESENCE):
        assert "Your password" in client.get("/trail/review/").content.decode()
        assert signed(client).status_code == 422
        assert signed(client, password="not the pass phrase at all").status_code == 422
        assert not TrailEntry.objects.filter(what="review").exists()
        assert signed(client, password=PASSWORD).status_code == 302
        assert signed(client).status_code == 302


@pytest.mark.parametrize("lie", [{"number": "99999"}, {"moment": "2099-01-01T00:00:00+00:00"}])
def test_what_is_not_there_yet_is_not_signed(
    mask: Item, auditor: User, lie: dict[str, str]
) -> None:
    client = signed_in(auditor)
    assert signed(client, **lie).status_code == 422
    assert not TrailEntry.objects.filter(what="review").exists()


# ── Health ──────────────────────────────────────────────────────────────────────────────────────


def test_the_program_is_ready_only_with_every_guard(db: None) -> None:
    assert Client().get("/ready").status_code == 200
    guards.remove(connection)
    answer = Client().get("/ready")
    assert (answer.status_code, answer.content) == (503, b"not ready\n")
    assert Client().get("/live").status_code == 200
    guards.install(connection)
    assert Client().get("/ready").status_code == 200


def test_a_database_that_does_not_answer_is_not_ready(
    db: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    def gone(*_: object) -> None:
        from django.db import OperationalError  # noqa: PLC0415

        raise OperationalError("could not connect to secret-host")

    monkeypatch.setattr("servicing.oversight.queries.guards.missing", gone)
    answer = Client().get("/ready")
    assert (answer.status_code, answer.content) == (503, b"not ready\n")


def test_a_disk_that_is_nearly_full_is_not_ready_and_only_the_log_says_why(
    db: None, settings: Any, caplog: pytest.LogCaptureFixture
) -> None:
    settings.LEAST_FREE_MB = 10**9
    answer = Client().get("/ready")
    assert (answer.status_code, answer.content) == (503, b"not ready\n")
    assert "MB are free in" in caplog.text
    assert Client().get("/live").status_code == 200
    # What is there can still be read: it goes on serving, and starts again.
    assert why_not_serve() == ""
    settings.LEAST_FREE_MB = 0
    assert Client().get("/ready").status_code == 200


def test_an_entry_noted_by_hand_is_shown_without_being_run(auditor: User, db: None) -> None:
    note(what="item", subject="<b>X</b>", after={"<i>a</i>": "<script>"}, by=auditor, at=now())
    page = signed_in(auditor).get("/trail/?what=item").content.decode()
    assert "<script>" not in page.replace("<script src", "")
    assert "&lt;b&gt;X" in page

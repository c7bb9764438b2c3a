"""What happens to a set happens to what was fitted to it on that day (due/README 11)."""

import io
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path
from random import Random
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.core.management import call_command
from django.db import transaction

from registry.items.models import Item
from registry.sets.models import Fitting
from registry.sites.clock import now, today_at
from registry.sites.models import Site
from servicing.due.actions.corrections import correct_record, effect_of_correction
from servicing.due.actions.services import Service, effect_of, log_service
from servicing.due.actions.store import recompute
from servicing.due.queries.together import recorded_along, set_record_of
from servicing.ledger.models import Record
from servicing.ledger.queries.records import facts_by_item
from servicing.ledger.queries.whole import broken_links
from servicing.rules.pure.tasks import EVENTS, HAPPENS_TO_PARTS
from tests.people import make_item, signed_in

KINDS = {"mask": "M1", "demand-valve": "V1", "frame": "F1"}
WHY = "The wrong set was scanned."


def ago(site: Site, days: int) -> date:
    return today_at(site) - timedelta(days=days)


def fitted(set_item: Item, part: Item, on: date, until: date | None = None) -> Fitting:
    """Fit a part on a day; `until`: the day on which it was taken out again."""
    out: dict[str, Any] = {}
    if until:
        key = f"out {part.tag} {on}"
        out = {"removed_on": until, "removed_at": now(), "removed_by": "T", "removal_key": key}
    return Fitting.objects.create(
        set=set_item, part=part, place=part.type.kind, fitted_on=on, fitted_at=now(),
        fitted_by="T", entry_key=f"in {set_item.tag} {part.tag} {on}", **out,
    )  # fmt: skip


@pytest.fixture
def add(station: Site) -> Callable[..., Item]:
    def added(tag: str, kind: str) -> Item:
        born = ago(station, 300)
        return make_item(station, tag, kind, model=f"{kind} X", made_on=born, in_service_on=born)

    return added


@pytest.fixture
def apparatus(station: Site, add: Callable[..., Item]) -> Item:
    """A set with a mask, a demand valve and a frame in it for 100 days."""
    item = add("S031", "set")
    for kind, tag in KINDS.items():
        fitted(item, add(tag, kind), ago(station, 100))
    return item


def happens(item: Item, user: User, task: str = "use", days: int = 0, key: str = "k1") -> Record:
    service = Service(task, ago(item.site, days), "pass", "Tekla Merrow", note="smoke dive")
    return log_service(item=item, service=service, user=user, entry_key=key, signed=True)


def uses(tag: str) -> list[date]:
    """Return the days on which a use of an item counts."""
    item = Item.objects.get(tag=tag)
    past = facts_by_item([item.pk]).get(item.pk, ())
    return sorted(day for task, day, *_ in past if task == "use")


@pytest.mark.parametrize("task", sorted(HAPPENS_TO_PARTS))
def test_every_event_but_a_filling_happens_to_the_parts(
    task: str, apparatus: Item, technician: User
) -> None:
    own = happens(apparatus, technician, task)
    along = recorded_along(own)
    assert [each.item.tag for each in along] == ["F1", "M1", "V1"]
    for each in along:
        assert (each.task, each.done_on, each.outcome) == (task, own.done_on, "pass")
        assert (each.note, each.performed_by) == ("smoke dive", "Tekla Merrow")
        assert f"set S031, to which it happened: record {own.number} of" in each.checks[0]["text"]
        assert set_record_of(each) == own
        assert each.signatures.count() == 1
    assert {"fill"} == EVENTS - HAPPENS_TO_PARTS, "a cylinder is filled, not a set"
    assert not recorded_along(along[0])
    assert recompute() == 0
    assert not list(broken_links())


def test_a_service_of_the_set_is_not_one_of_its_parts(apparatus: Item, technician: User) -> None:
    assert not recorded_along(happens(apparatus, technician, "functional-test"))
    assert Record.objects.count() == 1


def test_the_day_on_which_it_happened_decides_and_not_today(
    apparatus: Item, add: Callable[..., Item], technician: User
) -> None:
    site = apparatus.site
    old = Fitting.objects.get(part__tag="M1")
    Fitting.objects.filter(pk=old.pk).update(
        removed_on=ago(site, 20), removed_at=now(), removed_by="T", removal_key="o"
    )
    fitted(apparatus, add("M2", "mask"), ago(site, 20))
    happens(apparatus, technician, days=30)
    assert uses("M1") == [ago(site, 30)]
    assert uses("M2") == []
    happens(apparatus, technician, days=10, key="k2")
    assert uses("M2") == [ago(site, 10)]
    happens(apparatus, technician, days=20, key="k3")  # swapped on that day: nobody knows when
    assert uses("M1") == [ago(site, 30), ago(site, 20)]
    assert uses("M2") == [ago(site, 20), ago(site, 10)]


def test_the_same_form_twice_makes_one_record_of_each(apparatus: Item, technician: User) -> None:
    first = happens(apparatus, technician)
    Fitting.objects.filter(part__tag="V1").update(
        removed_on=today_at(apparatus.site), removed_at=now(), removed_by="T", removal_key="o"
    )
    assert happens(apparatus, technician) == first
    assert Record.objects.count() == 4


def test_what_cannot_have_been_there_is_left_out_and_said(
    apparatus: Item, technician: User
) -> None:
    mask = Item.objects.get(tag="M1")
    gone = Service("periodic-inspection", ago(apparatus.site, 5), "condemned", "Tekla Merrow")
    log_service(item=mask, service=gone, user=technician, entry_key="c")
    service = Service("use", today_at(apparatus.site), "pass", "Tekla Merrow")
    said = {each.part.tag: each.remark for each in effect_of(apparatus, service).parts}
    assert said["M1"].startswith("no record: condemned on ")
    assert said["V1"] == ""
    assert [each.item.tag for each in recorded_along(happens(apparatus, technician))] == [
        "F1",
        "V1",
    ]


def test_the_check_page_says_which_parts_get_it_and_which_dates_move(
    apparatus: Item, technician: User
) -> None:
    client, day = signed_in(technician), ago(apparatus.site, 9)
    mask = Item.objects.get(tag="M1")
    for task in ("cleaning", "tightness-test"):
        service = Service(task, day, "pass", "Tekla Merrow")
        log_service(item=mask, service=service, user=technician, entry_key=task)
    typed = {
        "key": "k" * 32, "task": "use", "done_on": today_at(apparatus.site).isoformat(),
        "outcome": "pass", "performed_by": "Tekla Merrow", "step": "check", "seen": "0",
    }  # fmt: skip
    page = client.post(f"/items/{apparatus.pk}/service/", typed)
    parts = {each["part"].tag: each for each in page.context["parts"]}
    assert parts.keys() == {"M1", "V1", "F1"}
    assert {row["task"] for row in parts["M1"]["rows"]} >= {"cleaning", "tightness-test"}
    for tag in parts:
        assert tag in page.content.decode()
    assert Record.objects.count() == 2


def test_a_use_of_a_set_asks_for_no_outcome_and_is_noted(apparatus: Item, technician: User) -> None:
    client = signed_in(technician)
    path = f"/items/{apparatus.pk}/service/"
    typed = {
        "key": "k" * 32, "task": "use", "done_on": today_at(apparatus.site).isoformat(),
        "performed_by": "Tekla Merrow", "step": "check", "seen": "0",
    }  # fmt: skip
    page = " ".join(client.post(path, typed).content.decode().split())
    assert "<dt>Outcome</dt><dd>noted</dd>" in page
    refused = client.post(path, typed | {"task": "cleaning"}).content.decode()
    assert "Outcome: choose pass or fail." in refused

    assert client.post(path, typed | {"step": "enter"}).status_code == 302
    assert Record.objects.get(item=apparatus).outcome == "pass"
    sheet = client.get(f"/items/{apparatus.pk}/").content.decode()
    for name in ("frame F1", "demand valve V1", "mask M1"):  # a line each, not one run of words
        assert f"<li>Also: {name}: " in sheet


def test_a_use_logged_for_the_wrong_set_is_taken_back_for_its_parts_too(
    apparatus: Item, technician: User
) -> None:
    own = happens(apparatus, technician)
    said = {each.part.tag: each.remark for each in effect_of_correction(own, None).parts}
    assert said["M1"] == "its record 1 never happened either"
    void = correct_record(
        record=own, service=None, reason=WHY, user=technician, entry_key="c1", signed=True
    )
    assert [uses(tag) for tag in ("S031", "M1", "V1", "F1")] == [[], [], [], []]
    assert all(each.unsigned == "" or each.signatures.exists() for each in recorded_along(void))
    again = correct_record(
        record=own, service=None, reason=WHY, user=technician, entry_key="c1", signed=True
    )
    assert again == void
    assert Record.objects.count() == 8
    back = Service("use", own.done_on, "pass", "Tekla Merrow", note="smoke dive")
    correct_record(record=void, service=back, reason=WHY, user=technician, entry_key="c2")
    assert uses("M1") == uses("S031") == [own.done_on]
    assert recompute() == 0
    client = signed_in(technician)
    page = client.get(f"/items/{apparatus.pk}/records/{own.position}/").content.decode()
    assert "Recorded for its parts" in page


def test_another_day_is_that_of_what_was_fitted_then(
    apparatus: Item, add: Callable[..., Item], technician: User
) -> None:
    site = apparatus.site
    Fitting.objects.filter(part__tag="M1").update(
        removed_on=ago(site, 20), removed_at=now(), removed_by="T", removal_key="o"
    )
    fitted(apparatus, add("M2", "mask"), ago(site, 20))
    own = happens(apparatus, technician, days=3)
    right = Service("use", ago(site, 33), "pass", "Tekla Merrow", note="smoke dive")
    said = {each.part.tag: each.remark for each in effect_of_correction(own, right).parts}
    assert said == {
        "F1": "its record 1 is corrected too",
        "M1": "recorded for it as well",
        "M2": "its record 1 never happened either",
        "V1": "its record 1 is corrected too",
    }
    correct_record(record=own, service=right, reason=WHY, user=technician, entry_key="c1")
    assert (uses("M1"), uses("M2"), uses("V1")) == ([ago(site, 33)], [], [ago(site, 33)])
    assert recompute() == 0


def test_a_part_that_was_corrected_by_itself_keeps_its_correction(
    apparatus: Item, technician: User
) -> None:
    own = happens(apparatus, technician)
    mask = next(each for each in recorded_along(own) if each.item.tag == "M1")
    correct_record(
        record=mask, service=None, reason="It had been left at the station.", user=technician,
        entry_key="m",
    )  # fmt: skip
    right = Service("use", ago(apparatus.site, 2), "pass", "Tekla Merrow")
    correct_record(record=own, service=right, reason=WHY, user=technician, entry_key="c1")
    assert uses("M1") == []
    assert uses("V1") == [ago(apparatus.site, 2)]


def brought_in(folder: Path, *rows: str, check: bool = False) -> str:
    file, out = folder / "history.csv", io.StringIO()
    file.write_text("\n".join(("tag,task,done_on,outcome,by,note", *rows)) + "\n")
    call_command("import_history", str(file), *(["--check"] if check else []), stdout=out)
    return out.getvalue()


def test_a_list_of_history_reaches_the_parts_it_does_not_name_and_changes_nothing_twice(
    apparatus: Item, tmp_path: Path
) -> None:
    day = ago(apparatus.site, 9)
    rows = [
        f"S031,use,{day},pass,Bo Lund,",
        f"M1,use,{day},pass,Bo Lund,named itself",
        f"M1,cleaning,{day},pass,Bo Lund,",
        f"S031,use,{day},pass,Bo Lund,",  # the second use of the day: the mask is named once
        f"S031,cleaning,{day},pass,Bo Lund,",
    ]
    assert "5 records could be written, and 5 for what was fitted to sets" in brought_in(
        tmp_path, *rows, check=True
    )
    assert not Record.objects.exists()
    assert "10 records added, 0 were" in brought_in(tmp_path, *rows)
    assert [len(uses(tag)) for tag in ("S031", "M1", "V1", "F1")] == [2, 2, 2, 2]
    valve = Record.objects.filter(item__tag="V1").first()
    assert valve
    assert set_record_of(valve) == Record.objects.get(number=1)
    assert "0 records added, 5 were" in brought_in(tmp_path, *rows)
    assert not list(broken_links())
    assert recompute() == 0


def test_use_of_a_set_is_use_of_exactly_what_was_fitted_then(
    station: Site, add: Callable[..., Item], tmp_path: Path
) -> None:
    """Random fittings and uses; what was in is reckoned here day by day, on its own."""
    draw, sets = Random(4), [add(f"S{n}", "set") for n in (1, 2)]
    masks = [add(f"M{n}", "mask") for n in range(4)]
    spells: list[tuple[Item, Item, int, int]] = []  # set, mask, first and last day, in days ago
    for mask in masks:
        at = 200
        while at > 30:
            start, end = at - draw.randint(1, 20), 0
            end = start - draw.randint(1, 30)
            set_item = draw.choice(sets)
            clash = any(
                s == set_item and not (end > first or start < last) for s, _, first, last in spells
            )
            if not clash and end > 0:
                fitted(set_item, mask, ago(station, start), ago(station, end))
                spells.append((set_item, mask, start, end))
            at = min(end, at) - 1
    days = [(draw.choice(sets), draw.randint(1, 200)) for _ in range(60)]
    brought_in(
        tmp_path, *(f"{s.tag},use,{ago(station, d)},pass,Bo Lund,{n}"
                    for n, (s, d) in enumerate(days)),
    )  # fmt: skip
    assert len(spells) > 8
    for mask in masks:
        was_in = [
            ago(station, day)
            for set_item, day in days
            for s, m, first, last in spells
            if (s, m) == (set_item, mask) and first >= day >= last
        ]
        assert uses(mask.tag) == sorted(was_in), mask.tag
    assert any(uses(mask.tag) for mask in masks)


def test_nothing_of_it_is_written_where_a_part_refuses(
    apparatus: Item, technician: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object, **__: object) -> None:
        raise RuntimeError

    monkeypatch.setattr("servicing.due.actions.services.refresh", broken)
    with pytest.raises(RuntimeError), transaction.atomic():
        happens(apparatus, technician)
    assert not Record.objects.exists()

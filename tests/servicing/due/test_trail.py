"""Everything a date depends on is in the trail, with what was, what is, who and why. A9."""

import hashlib
import json
from datetime import date
from typing import Any

import pytest
from django.contrib.auth.models import User

from registry.items.models import Item
from registry.items.queries import as_told
from registry.lists.pure.register import read_register
from registry.lists.pure.sites import read_sites
from registry.sites.models import Site
from registry.trail.models import TrailEntry
from registry.trail.pure import as_text
from registry.trail.queries import broken_trail
from servicing.due.actions.register import (
    ReasonMissing,
    import_register,
    import_sites,
    load_rules,
    rename_type,
    save_item,
    save_site,
)
from servicing.rules.pure.tables import read_table
from servicing.rules.queries import adopted_now
from tests.people import BLANK, signed_in
from tests.registry.lists.making import HEAD

RULE = """
table = "masks"
title = "Masks"
jurisdiction = "here"
caution = "none"
[[rule]]
id = "leak"
task = "tightness-test"
level = "maker"
when = { kind = ["mask"] }
every = "EVERY"
from = "made"
source = "an invented sheet"
seen = "practice"
"""


def entries(what: str) -> list[TrailEntry]:
    return list(TrailEntry.objects.filter(what=what).order_by("number"))


def told(entry: TrailEntry) -> tuple[Any, Any]:
    before, after = (json.loads(text) if text else None for text in (entry.before, entry.after))
    return before, after


def edited(mask: Item, **changes: Any) -> dict[str, Any]:
    known = {name: getattr(mask, name) for name in BLANK} | {"serial": mask.serial}
    site = changes.pop("site", mask.site)
    return {
        "tag": mask.tag,
        "kind": "mask",
        "maker": mask.maker,
        "model": "Vizard",
        "site": site,
        "attributes": {**known, **changes},
    }


def test_an_item_made_and_its_made_date_changed_are_two_entries(
    mask: Item, technician: User
) -> None:
    save_item(mask, **edited(mask, made_on=date(2019, 3, 10)), user=technician, why="read again")
    made, changed = entries("item")
    assert told(made)[0] is None
    assert told(made)[1]["made_on"] == "2020-03-10"
    assert told(changed) == ({"made_on": "2020-03-10"}, {"made_on": "2019-03-10"})
    assert (changed.by, changed.why) == ("Tekla Merrow (tekla)", "read again")
    assert changed.subject == "00123"


def test_saving_what_is_known_already_is_no_change(mask: Item, technician: User) -> None:
    save_item(mask, **edited(mask), user=technician)
    assert len(entries("item")) == 1


@pytest.mark.parametrize("changes", [{"made_on": date(2019, 3, 10)}, {"serial": "S-9"}], ids=str)
def test_a_made_date_or_a_serial_is_not_changed_without_a_reason(
    mask: Item, technician: User, changes: dict[str, Any]
) -> None:
    with pytest.raises(ReasonMissing):
        save_item(mask, **edited(mask, **changes), user=technician)
    stored = Item.objects.get()
    assert (stored.made_on, stored.serial) == (date(2020, 3, 10), "S-00123")
    assert len(entries("item")) == 1


def test_a_move_to_a_site_with_other_dates_needs_a_reason_and_a_move_without_does_not(
    mask: Item, station: Site, valley: Site, technician: User
) -> None:
    alone = Site(code="ALONE", name="No tables")
    save_site(alone, tables=[])
    save_item(mask, **edited(mask, site=valley), user=technician)
    with pytest.raises(ReasonMissing):
        save_item(mask, **edited(mask, site=alone), user=technician)
    moved = entries("item")[-1]
    assert told(moved) == ({"site": "ST1"}, {"site": "VAL"})


def test_the_form_asks_for_the_reason_and_keeps_what_was_typed(
    mask: Item, technician: User
) -> None:
    client = signed_in(technician)
    address = f"/items/{mask.pk}/edit/"
    form = client.get(address).context["form"]
    typed = {n: "" if (v := form[n].value()) is None else v for n in form.fields}
    answer = client.post(address, {**typed, "made_on": "2019-07"})
    assert answer.status_code == 422
    assert 'value="2019-07"' in answer.content.decode()
    assert "write the reason" in answer.content.decode()
    said = {**typed, "made_on": "2019-07", "why": "card"}
    assert "Dates that would move" in client.post(address, said).content.decode()
    assert client.post(address, {**said, "step": "enter"}).status_code == 302
    assert (entries("item")[-1].why, entries("item")[-1].by_user) == ("card", technician)


def test_a_sites_zone_and_its_tables_are_noted_with_who_and_why(
    station: Site, manager: User
) -> None:
    station.timezone = "Asia/Tokyo"
    with pytest.raises(ReasonMissing):
        save_site(station, tables=["us-cylinders"], user=manager)
    station.refresh_from_db()
    station.timezone = "Asia/Tokyo"
    save_site(station, tables=["us-cylinders"], user=manager, why="it moved")
    last = entries("site")[-1]
    assert told(last) == (
        {"time zone": "Europe/Vienna", "rule tables": []},
        {"time zone": "Asia/Tokyo", "rule tables": ["us-cylinders"]},
    )
    assert (last.subject, last.by_user, last.why) == ("ST1", manager, "it moved")


def test_a_changed_rule_is_noted_row_by_row(db: None) -> None:
    for every in ("P1Y", "P2Y", "P2Y"):
        load_rules([read_table("masks.toml", RULE.replace("EVERY", every))[0]])
    new, changed = entries("rule")
    assert told(new)[1]["every"] == "P1Y"
    before, after = told(changed)
    assert (before["every"], after["every"]) == ("P1Y", "P2Y")
    assert (before["version"], after["version"]) == (1, 2)
    load_rules([read_table("masks.toml", RULE.replace("EVERY", "P2Y").replace("leak", "tight"))[0]])
    ended = next(entry for entry in entries("rule") if not entry.after)
    assert (ended.subject, ended.why) == ("leak", "no longer in table masks")


def test_a_changed_caution_is_noted(db: None) -> None:
    for caution in ("none", "look twice"):
        text = RULE.replace("EVERY", "P1Y").replace('"none"', f'"{caution}"')
        load_rules([read_table("masks.toml", text)[0]])
    assert told(entries("rule table")[-1]) == ({"caution": "none"}, {"caution": "look twice"})


def test_a_types_new_name_is_noted(mask: Item, technician: User) -> None:
    rename_type(
        mask.type, maker="Pellwright", model="Vizard II", user=technician, why="typed wrong"
    )
    (entry,) = entries("type")
    assert told(entry) == ({"model": "Vizard"}, {"model": "Vizard II"})
    assert entry.by_user == technician


def listed(*rows: str) -> list[Any]:
    text = "".join(f"{row}\n" for row in (HEAD, *rows))
    found, problems = read_register(
        "list.csv", text.encode(), sites={"ST1": date(2026, 1, 1)}, registered={}
    )
    assert problems == []
    return found


def test_a_list_is_one_entry_with_a_digest_and_one_for_each_changed_item(
    mask: Item, technician: User
) -> None:
    rows = listed(
        "00123,mask,Pellwright,Vizard,S-00123,2020-03-11,2020-04-01,ST1",
        *(f"N{n},mask,Pellwright,Vizard,N-{n},2021-01-01,,ST1" for n in range(3)),
    )
    import_register(rows, file="list.csv", file_hash="f" * 64, user=technician)
    changed = entries("item")[-1]
    before, after = {"made_on": "2020-03-10", "size": "M"}, {"made_on": "2020-03-11", "size": ""}
    assert told(changed) == (before, after)
    (entry,) = entries("list of items")
    said = told(entry)[1]
    texts = [as_text(as_told(item)) for item in Item.objects.filter(tag__startswith="N")]
    digest = hashlib.sha256("".join(f"{text}\n" for text in texts).encode()).hexdigest()
    assert said["digest of the new items"] == digest
    assert (said["new items"], said["changed items"]) == (3, 1)
    assert said["SHA-256 of the file"] == "f" * 64
    import_register(rows, file="list.csv", file_hash="f" * 64, user=technician)
    assert len(entries("list of items")) == 1


def test_a_list_of_sites_notes_each_that_changed(station: Site, manager: User) -> None:
    text = "code,name,parent,timezone,rule_tables\nST1,Station one,VAL,Asia/Tokyo,us-cylinders\n"
    rows, problems = read_sites(
        "sites.csv",
        text.encode(),
        zones=frozenset({"Asia/Tokyo"}),
        tables=frozenset({"us-cylinders"}),
        known=frozenset({"VAL"}),
    )
    assert problems == []
    import_sites(rows, file="sites.csv", file_hash="0" * 64, user=manager)
    assert told(entries("site")[-1])[1] == {
        "time zone": "Asia/Tokyo",
        "rule tables": ["us-cylinders"],
    }
    assert (station.pk, "us-cylinders") in adopted_now()
    before = TrailEntry.objects.count()
    import_sites(rows, file="sites.csv", file_hash="0" * 64, user=manager)
    assert TrailEntry.objects.count() == before
    assert broken_trail() is None

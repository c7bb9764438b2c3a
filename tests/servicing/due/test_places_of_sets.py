"""A set and its parts are in one place: moved together, said where they are not."""

import random
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.core.management import call_command
from django.core.management.base import CommandError
from django.urls import reverse

from registry.items.facts import ATTRIBUTES
from registry.items.models import Item
from registry.sets.models import Fitting
from registry.sets.queries import set_of
from registry.sites.clock import now, today_at
from registry.sites.models import Site
from registry.trail.models import TrailEntry
from servicing.due.actions.preview import reach_of
from servicing.due.actions.register import save_item, save_site
from servicing.due.actions.sets import fit, take_out
from servicing.due.queries.engine import owed
from servicing.due.queries.sets import set_sheet, sets_today
from tests.people import make_item, signed_in
from tests.registry.lists.making import HEAD

DAY = timedelta(days=1)


@pytest.fixture
def kettlescar(valley: Site) -> Site:
    """Another station, which follows another table of cylinders."""
    site = Site(code="KET", name="Kettlescar", timezone="Europe/Vienna")
    save_site(site, tables=["us-cylinders"])
    return site


@pytest.fixture
def apparatus(station: Site) -> Item:
    """A set with a cylinder and a mask; what else it lacks is of no matter here."""
    whole = make_item(station, "S031", "set", model="Ravine")
    cylinder = make_item(station, "C117", "cylinder", made_on=date(2020, 3, 5))
    for part in (cylinder, make_item(station, "M117")):
        put_in(whole, part)
    return whole


def put_in(whole: Item, part: Item) -> Fitting:
    key = f"{whole.tag}-{part.tag}-{Fitting.objects.count()}"
    return fit(
        set_item=whole,
        part=part,
        on=today_at(whole.site) - 10 * DAY,
        by=None,
        entry_key=key,
        confirmed=True,
        note="looked at",
    )


def held(tag: str) -> Item:
    return Item.objects.select_related("type", "site").get(tag=tag)


def move(tag: str, site: Site, **more: Any) -> Item:
    item = held(tag)
    known = {name: getattr(item, name) for name in ATTRIBUTES}
    more |= {"kind": item.type.kind, "maker": item.maker, "model": item.type.model}
    return save_item(item, tag=tag, site=site, attributes=known, **more)


def reasons(whole: Item, on: date | None = None, **then: Any) -> tuple[str, ...]:
    item = held(whole.tag)
    return set_sheet(item, on or today_at(item.site), **then).readiness.reasons


NOT_HERE = "cylinder C117 is at Kettlescar, not here"


def test_a_set_that_moves_takes_its_parts_along(
    apparatus: Item, kettlescar: Site, technician: User
) -> None:
    move("S031", kettlescar, user=technician, why="the new station")
    assert {held(tag).site for tag in ("S031", "C117", "M117")} == {kettlescar}
    entries = TrailEntry.objects.order_by("-number")[:3]
    assert {(e.subject, e.before, e.after) for e in entries} == {
        (tag, '{"site":"ST1"}', '{"site":"KET"}') for tag in ("S031", "C117", "M117")
    }
    assert {e.why for e in entries} == {"the new station", "with its set S031: the new station"}
    assert not any("not here" in why for why in reasons(apparatus))
    cylinder = held("C117")
    assert {o.rule.table for o in owed(cylinder, today_at(kettlescar))} == {"us-cylinders"}


def test_before_a_set_moves_its_parts_and_their_dates_are_shown(
    apparatus: Item, kettlescar: Site
) -> None:
    reach = reach_of(lambda: move("S031", kettlescar), apparatus)
    assert [(each.part.tag, each.before.code, each.after.code) for each in reach.carried] == [
        ("C117", "ST1", "KET"),
        ("M117", "ST1", "KET"),
    ]
    assert ("C117", "hydrostatic-retest") in {(m.tag, m.task) for m in reach.moves}
    assert held("C117").site.code == "ST1"


def test_a_part_alone_elsewhere_makes_its_set_not_ready_and_the_page_says_so_before(
    apparatus: Item, kettlescar: Site, technician: User
) -> None:
    reach = reach_of(lambda: move("C117", kettlescar), held("C117"))
    assert NOT_HERE in reach.sets[0].after.reasons
    assert NOT_HERE not in reasons(apparatus)
    move("C117", kettlescar)
    assert NOT_HERE in reasons(apparatus)
    [row] = sets_today()
    assert NOT_HERE in row.readiness.reasons
    page = signed_in(technician).get(apparatus.get_absolute_url()).content.decode()
    assert NOT_HERE in page


def test_of_an_earlier_day_or_moment_it_is_said_where_the_part_was_then(
    apparatus: Item, kettlescar: Site
) -> None:
    before = now()
    move("C117", kettlescar)
    today = today_at(apparatus.site)
    assert NOT_HERE in reasons(apparatus)
    assert NOT_HERE not in reasons(apparatus, known_by=before)
    assert NOT_HERE in reasons(apparatus, known_by=now())
    # The move was entered today: yesterday the part was in the set and beside it.
    assert set_of(held("C117"), today - DAY) is not None
    assert NOT_HERE not in reasons(apparatus, today - DAY)


def test_what_is_fitted_from_another_site_comes_to_the_set(
    apparatus: Item, kettlescar: Site, technician: User
) -> None:
    make_item(kettlescar, "F117", "frame")
    desk, address = signed_in(technician), reverse("set-parts", args=[apparatus.pk])
    sent = {"tag": "F117", "key": "k", "step": "enter", "confirmed": "on", "note": "looked at"}
    asked = desk.post(address, {"tag": "F117", "key": "k"})
    assert "It is at Kettlescar by the register" in asked.content.decode()
    done = desk.post(address, {**sent, "on": str(today_at(apparatus.site))}, follow=True)
    assert "F117 is in S031 as frame. It came from Kettlescar" in done.content.decode()
    assert held("F117").site == apparatus.site
    last = TrailEntry.objects.order_by("-number").first()
    assert last is not None
    assert (last.subject, last.after, last.why) == ("F117", '{"site":"ST1"}', "fitted to S031")


def register_list(tmp_path: Path, *rows: tuple[str, str, str]) -> str:
    lines = [HEAD]
    for tag, site, _ in rows:
        item = held(tag)
        made = item.made_on or ""
        named = f"{item.type.kind},{item.maker},{item.type.model},{item.serial}"
        lines.append(f"{tag},{named},{made},,{site}")
    path = tmp_path / "register.csv"
    path.write_text("\n".join(lines))
    return str(path)


def test_a_list_that_moves_a_set_moves_what_is_fitted_to_it(
    apparatus: Item, kettlescar: Site, tmp_path: Path
) -> None:
    call_command("import_register", register_list(tmp_path, ("S031", "KET", "")))
    assert {held(tag).site for tag in ("S031", "C117", "M117")} == {kettlescar}


@pytest.mark.parametrize(
    "rows", [(("C117", "KET", ""),), (("S031", "KET", ""), ("C117", "ST1", ""))]
)
def test_a_list_that_parts_a_cylinder_from_its_set_is_refused_by_line(
    apparatus: Item,
    kettlescar: Site,
    tmp_path: Path,
    rows: tuple[tuple[str, str, str], ...],
    capsys: pytest.CaptureFixture[str],
) -> None:
    file = register_list(tmp_path, *rows)
    with pytest.raises(CommandError, match="1 problem found"):
        call_command("import_register", file)
    assert f"{file}:{len(rows) + 1}: column site:" in capsys.readouterr().err
    assert {held(tag).site.code for tag in ("S031", "C117", "M117")} == {"ST1"}


def test_a_list_of_fittings_brings_the_parts_to_their_set(
    apparatus: Item, kettlescar: Site, tmp_path: Path
) -> None:
    make_item(kettlescar, "F117", "frame")
    path = tmp_path / "fittings.csv"
    today = today_at(apparatus.site)
    path.write_text(f"set,part,place,fitted_on,removed_on\nS031,F117,frame,{today},\n")
    call_command("import_fittings", str(path))
    assert held("F117").site == apparatus.site


def test_after_any_moves_the_parts_of_a_moved_set_are_where_it_is(
    apparatus: Item, kettlescar: Site, station: Site
) -> None:
    draw, sites = random.Random(41), [kettlescar, station]
    for step in range(25):
        deed = draw.choice(["set", "set", "part", "swap"])
        if deed == "set":
            home = draw.choice(sites)
            was = held("S031").site
            move("S031", home)
            fitted = Fitting.objects.open().filter(set=apparatus)
            if home != was:
                assert {f.part.site for f in fitted.select_related("part__site")} <= {home}
        elif deed == "part":
            move(draw.choice(["C117", "M117"]), draw.choice(sites))
        else:
            tag = draw.choice(["C117", "M117"])
            running = Fitting.objects.open().filter(part__tag=tag).select_related("set").first()
            if running is not None:
                take_out(fitting=running, on=running.fitted_on, by=None, entry_key=f"o{step}")
            put_in(held("S031"), held(tag))
            assert held(tag).site == held("S031").site
        # A set is never readier than its parts: what is elsewhere is named.
        home = held("S031").site
        apart = {
            f.part.tag
            for f in Fitting.objects.open().filter(set=apparatus).exclude(part__site=home)
        }
        found = {
            tag for tag in ("C117", "M117") if any(f"{tag} is at" in w for w in reasons(apparatus))
        }
        assert found == apart

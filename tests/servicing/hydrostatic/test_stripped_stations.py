"""Nobody strips a station without a word: what each deed takes is said before, by name."""

from collections.abc import Callable
from pathlib import Path

import pytest
from django.contrib.auth.models import User
from django.core.management import call_command
from django.urls import reverse

from registry.items.models import Item
from registry.sets.models import Fitting
from registry.sites.clock import now, today_at
from registry.sites.models import Site, SiteVersion
from registry.sites.queries import sites_as_known
from registry.trail.models import TrailEntry
from servicing.away.models import Consignment
from servicing.due.actions.local_rules import Draft, preview_whole
from servicing.due.actions.preview import turnout_of
from servicing.due.actions.register import save_site
from servicing.due.actions.sets import take_out
from servicing.due.actions.standing import withdraw
from servicing.due.queries.sets import ready_sets, sets_today
from tests.people import OWN_RULE, PASSWORD, signed_in
from tests.registry.lists.making import HEAD
from tests.servicing.due.test_places_of_sets import held, move
from tests.servicing.due.test_sets import (
    add,
    parts,
    whole,
)

__all__ = ["add", "parts", "whole"]


@pytest.fixture
def tender(station: Site) -> Site:
    """A vehicle below the station; its sets are the station's too."""
    site = Site(code="ST1-1", name="Tender one", parent=station, timezone="Europe/Vienna")
    save_site(site, tables=[])
    return site


def ask(site: Site, least: int | None, user: User | None = None) -> Site:
    site.least_ready = least
    save_site(site, tables=[], user=user)
    return site


SAID = "Station one falls below its least number: from 1 to 0 ready sets, and 1 is the least"


def counts() -> dict[str, tuple[int, int, bool]]:
    rows = ready_sets(sets_today())
    return {r.at.site.code: (r.ready, r.sets, r.short) for r in rows if not r.at.alone}


def test_a_station_counts_the_sets_of_its_vehicles_and_may_be_asked_for_some(
    whole: Item, station: Site, tender: Site, manager: User
) -> None:
    assert counts() == {"VAL": (1, 1, False), "ST1": (1, 1, False)}
    before = now()
    ask(station, 1, manager)
    move("S031", tender)
    assert counts() == {"VAL": (1, 1, False), "ST1": (1, 1, False), "ST1-1": (1, 1, False)}
    ask(station, 2)
    assert counts()["ST1"] == (1, 1, True)
    home = signed_in(manager).get("/").content.decode()
    assert "Station one can't turn out: 1 of 1 set ready, 2 are the least" in home
    assert home.index("can't turn out") < home.index(" overdue</a>")
    page = signed_in(manager).get(reverse("set-list")).content.decode()
    assert "<strong>can&#x27;t turn out</strong>" in page
    ask(station, None)
    assert "turn out:" not in signed_in(manager).get("/").content.decode()
    # Twice dated, and in the trail.
    known = list(SiteVersion.objects.filter(site=station).values_list("least_ready", flat=True))
    assert known == [None, 1, 2, None]
    assert sites_as_known(before)[station.pk].least_ready is None
    told = TrailEntry.objects.filter(what="site", subject="ST1").order_by("number")
    assert '"least ready sets":1' in told[1].after
    assert told[1].by_user == manager


def test_the_number_is_stated_on_the_form_of_the_site(station: Site, manager: User) -> None:
    desk, address = signed_in(manager), reverse("site-edit", args=[station.pk])
    sent = {"code": "ST1", "name": "Station one", "timezone": "Europe/Vienna", "units": "bar"}
    sent["parent"] = str(station.parent_id)
    for typed, status, least in (("0", 302, 0), ("-1", 422, 0), ("x", 422, 0), ("", 302, None)):
        assert desk.post(address, {**sent, "least_ready": typed}).status_code == status
        station.refresh_from_db()
        assert station.least_ready == least


def tick_of(page: str) -> str:
    return page.split('name="know_')[1].split('"', maxsplit=1)[0]


def test_packing_and_leaving_say_which_station_is_stripped_and_want_a_tick(
    whole: Item, station: Site, technician: User
) -> None:
    ask(station, 1)
    desk = signed_in(technician)
    begun = {"key": "c" * 32, "from_site": station.pk, "house": "Fellgate", "tags": "C-1"}
    answer = desk.post(reverse("consignment-add"), begun)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert SAID in page
    assert "S031 is not ready: cylinder C-1: away since" in page
    assert " at Fellgate (consignment " in page
    assert not Consignment.objects.exists()
    assert counts()["ST1"] == (1, 1, False)
    ticked = {**begun, f"know_{tick_of(page)}": "on"}
    assert desk.post(reverse("consignment-add"), ticked).status_code == 302
    [consignment] = Consignment.objects.all()
    assert SAID in desk.get(consignment.get_absolute_url()).content.decode()
    leaving = reverse("consignment-move", args=[consignment.pk])
    page = desk.get(leaving).content.decode()
    assert SAID in page
    today = today_at(station).isoformat()
    assert desk.post(leaving, {"on": today}).status_code == 422
    assert desk.post(leaving, {"on": today, "know_of-something-else": "on"}).status_code == 422
    assert counts()["ST1"] == (1, 1, False)
    left = {"on": today, "act": "leaves", f"know_{tick_of(page)}": "on"}
    for _ in range(2):  # pressed twice it has left, and is not back at once
        assert desk.post(leaving, left).status_code == 302
        assert counts()["ST1"] == (0, 1, True)


@pytest.mark.parametrize("decision", ["withdraw", "quarantine", "condemn"])
def test_a_decision_says_it_on_its_page_and_wants_a_tick(
    whole: Item, station: Site, manager: User, decision: str
) -> None:
    ask(station, 1)
    mask = held("M-1")
    desk, address = signed_in(manager), reverse("decide", args=[mask.pk, decision])
    page = desk.get(address).content.decode()
    assert SAID in page
    assert ("know_" in page) == (decision != "condemn"), "there the second page asks"
    sent = {"key": "d" * 32, "reason": "Fell off the truck.", "password": PASSWORD, "step": "enter"}
    assert desk.post(address, sent).status_code == 422
    assert counts()["ST1"] == (1, 1, False)
    asked = desk.post(address, {**sent, "step": "check" if decision == "condemn" else "enter"})
    ticked = {**sent, f"know_{tick_of(asked.content.decode())}": "on"}
    assert desk.post(address, ticked).status_code == 302
    assert counts()["ST1"] == (0, 1, True)


def test_moving_a_set_or_one_of_its_parts_says_it_and_wants_a_tick(
    whole: Item, valley: Site, station: Site, technician: User
) -> None:
    ask(station, 1)
    for tag in ("M-1", "S031"):
        item = held(tag)
        desk, address = signed_in(technician), reverse("item-edit", args=[item.pk])
        form = desk.get(address).context["form"]
        sent = {name: value for name, value in form.initial.items() if value is not None}
        sent |= {"site": valley.pk, "why": "moved"}
        page = desk.post(address, sent).content.decode()
        assert SAID in page
        assert desk.post(address, {**sent, "step": "enter"}).status_code == 422
        assert held(tag).site == station
        if tag == "S031":
            ticked = {**sent, "step": "enter", f"know_{tick_of(page)}": "on"}
            assert desk.post(address, ticked).status_code == 302
            assert held("M-1").site == valley


def test_a_rule_asked_for_says_what_it_takes_on_the_day_it_counts(
    whole: Item, valley: Site, station: Site, manager: User
) -> None:
    ask(station, 1)
    # A mask cleaned today is clean for so long; made 100 days ago, it never had an overhaul.
    row = {**OWN_RULE, "task": "overhaul", "every": "P1M", "from": "made"}
    _, turnout = preview_whole(Draft(valley, today_at(valley), row))
    assert [fall.words for fall in turnout.falls] == [SAID]
    assert [stood.tag for stood in turnout.stops] == ["S031"]
    assert counts()["ST1"] == (1, 1, False)


def test_what_is_foretold_is_what_then_is(
    whole: Item, station: Site, technician: User, valley: Site
) -> None:
    """Each deed is foretold, done, and counted: the station stands as was said."""
    ask(station, 1)
    fitting = whole.fittings.open().get(part=held("F-1"))
    today = today_at(station)
    deeds: list[Callable[[], object]] = [
        lambda: move("R-1", valley),
        lambda: take_out(fitting=fitting, on=today, by=None, entry_key="out"),
        lambda: withdraw(item=held("D-1"), reason="Dropped.", user=technician, entry_key="w"),
    ]
    for deed in deeds:
        said = turnout_of(deed, [whole.pk])
        before = counts()["ST1"][0]
        deed()
        after = counts()["ST1"][0]
        falls = [(fall.before, fall.after) for fall in said.falls]
        assert falls == ([(before, after)] if after < min(before, 1) else [])


def test_lists_say_what_they_take_from_a_station_whether_written_or_only_checked(
    whole: Item, valley: Site, station: Site, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    ask(station, 1)
    moves = tmp_path / "register.csv"
    moves.write_text(
        f"{HEAD}\n"
        f"S031,set,{whole.maker},{whole.type.model},{whole.serial},{whole.made_on or ''},,VAL\n"
    )
    took = tmp_path / "fittings.csv"
    [mask] = Fitting.objects.filter(part__tag="M-1")
    today = today_at(station)
    took.write_text(
        f"set,part,place,fitted_on,removed_on\nS031,M-1,mask,{mask.fitted_on},{today}\n"
    )
    for command, file, stops in (
        ("import_register", moves, ""),
        ("import_fittings", took, "ready no more: S031\n"),
    ):
        call_command(command, str(file), "--check")
        assert capsys.readouterr().out.endswith(f"ST1: {SAID}\n{stops}")
        assert counts()["ST1"] == (1, 1, False), "nothing was written"
    call_command("import_fittings", str(took))
    assert capsys.readouterr().out.endswith(f"ST1: {SAID}\nready no more: S031\n")
    assert counts()["ST1"] == (0, 1, True)

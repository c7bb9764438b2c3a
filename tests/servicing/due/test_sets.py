"""Sets in the register: fitting, swapping, readiness, and what was so on a day as known then."""

from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal
from functools import partial
from html import unescape
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from registry.items.models import Item
from registry.sets.actions import DoesNotFit, FittingRefused, FormUsedTwice, NotStated
from registry.sets.models import Fitting
from registry.sets.pure.places import NoPlace, Place
from registry.sets.queries import fittings_with, set_of
from registry.sites.clock import now, today_at
from registry.sites.models import Site
from registry.trail.models import TrailEntry
from servicing.due.actions.services import Service, enter_all, log_service, new_record
from servicing.due.actions.sets import fit, take_out
from servicing.due.pure.obligations import State
from servicing.due.queries.engine import NotKnownThen, owed
from servicing.due.queries.sets import ready_sets, set_sheet, sets_today
from tests.people import approve, make_item, signed_in, state
from tests.worlds import world_fixture

PARTS: dict[str, dict[str, Any]] = {
    "frame": {},
    "cylinder": {
        "connection": "G5/8-300",
        "working_pressure_bar": Decimal(300),
        "water_capacity_l": Decimal("6.8"),
        "tare_kg": Decimal("3.9"),
        "construction": "type-3",
    },
    "reducer": {"connection": "G5/8-300", "working_pressure_bar": Decimal(300)},
    "demand-valve": {"connection": "EN-148-3"},
    "mask": {"connection": "EN-148-3"},
}
MASSES = {"frame": "2.6", "reducer": "0.9", "demand-valve": "0.5", "mask": "0.6"}


def cared_for(item: Item, user: User) -> Item:
    """Log a pass of everything the item owes today."""
    today = today_at(item.site)
    while asked := [o.task for o in owed(item, today) if o.state(today) is not State.CURRENT]:
        task = min(asked, key=lambda name: name != "cleaning")
        key = f"{item.tag}-{task}-{item.records.count()}"
        service = Service(task, today, "pass", "Tekla Merrow")
        log_service(item=item, service=service, user=user, entry_key=key)
    return item


def add_part(site: Site, user: User, tag: str, kind: str, **known: Any) -> Item:
    """Register a well kept part whose mass is stated."""
    born = {"made_on": today_at(site) - timedelta(days=100), **PARTS[kind]}
    item = make_item(site, tag, kind, model=f"{kind} model", **{**born, **known})
    if kind in MASSES:
        item = state(item, mass_kg=Decimal(MASSES[kind]))
    return cared_for(item, user)


Parts = dict[str, Item]


@pytest.fixture
def add(station: Site, technician: User) -> Callable[..., Item]:
    return partial(add_part, station, technician)


@world_fixture
def parts(station: Site, technician: User) -> Parts:
    return {kind: add_part(station, technician, f"{kind[0].upper()}-1", kind) for kind in PARTS}


@world_fixture
def whole(station: Site, technician: User, parts: Parts) -> Item:
    """A set with all its parts, ready."""
    born = today_at(station) - timedelta(days=90)
    item = make_item(station, "S031", "set", model="Ravine", made_on=born)
    approve(item, *parts.values())
    cared_for(item, technician)
    for part in parts.values():
        put_in(item, part)
    return item


def put_in(set_item: Item, part: Item, **more: Any) -> Fitting:
    key = more.pop("entry_key", f"{set_item.tag}-{part.tag}-{Fitting.objects.count()}")
    on = more.pop("on", today_at(set_item.site))
    return fit(set_item=set_item, part=part, on=on, by=None, entry_key=key, **more)


def fails(item: Item, task: str, user: User, outcome: str = "fail") -> None:
    service = Service(task, today_at(item.site), outcome, "Tekla Merrow")
    log_service(item=item, service=service, user=user, entry_key=f"{item.tag}-{task}-{outcome}")


def shown_today(set_item: Item) -> Any:
    return set_sheet(set_item, today_at(set_item.site))


def test_a_whole_set_of_good_parts_is_ready(whole: Item) -> None:
    shown = shown_today(whole)
    assert shown.readiness.ready
    assert shown.readiness.sentence.startswith("S031 is ready. First due: ")
    assert shown.assembled.mass.verdict == (
        "10.746 kg: within the limit of 18 kg (EN 137:2006, 6.6)."
    )
    dates = [part.first.due_on for part in shown.parts]
    assert dates == sorted(dates)


def test_a_failed_part_makes_the_set_not_ready_at_once(
    whole: Item, parts: Parts, technician: User
) -> None:
    fails(parts["mask"], "tightness-test", technician)
    ready = shown_today(whole).readiness
    assert not ready.ready
    assert ready.sentence.startswith("S031 is not ready: mask M-1: out of service since ")


def test_a_swap_takes_the_old_part_out_and_moves_the_set_at_once(
    whole: Item, parts: Parts, add: Callable[..., Item], technician: User
) -> None:
    fails(parts["mask"], "tightness-test", technician)
    put_in(whole, add("M-2", "mask"))
    assert shown_today(whole).readiness.ready
    assert set_of(parts["mask"], today_at(whole.site)) is None
    today = today_at(whole.site)
    [past] = fittings_with(parts["mask"])
    assert (past.set, past.removed_on, past.removal_note) == (whole, today, "for M-2")
    last = TrailEntry.objects.order_by("-number")[:2]
    assert [(entry.what, entry.subject) for entry in last] == [("fitting", "S031 mask")] * 2


def test_a_missing_part_is_said(whole: Item, parts: Parts) -> None:
    fitting = Fitting.objects.open().get(part=parts["mask"])
    take_out(fitting=fitting, on=today_at(whole.site), by=None, entry_key="out")
    ready = shown_today(whole).readiness
    assert (ready.state, ready.sentence) == (
        "incomplete",
        "S031 is not ready: the mask is missing.",
    )
    # The same form again changes nothing; another form says that it is out already.
    take_out(fitting=fitting, on=today_at(whole.site), by=None, entry_key="out")
    with pytest.raises(FittingRefused, match="was taken out of S031"):
        take_out(fitting=fitting, on=today_at(whole.site), by=None, entry_key="out-2")


def test_a_set_over_18_kg_is_refused_with_the_sum_spelled_out(
    whole: Item, add: Callable[..., Item]
) -> None:
    """EN 137:2006, 6.6 [text]: at most 18 kg, ready for use with mask and full cylinder."""
    heavy = add("C-9", "cylinder", tare_kg=Decimal("11.2"))
    with pytest.raises(DoesNotFit) as refused:
        put_in(whole, heavy)
    assert (
        "2.600 (frame F-1) + 11.200 (cylinder C-9) + 2.246 (air in C-9) + 0.900 (reducer R-1) + "
        "0.500 (demand valve D-1) + 0.600 (mask M-1) = 18.046 kg"
    ) in str(refused.value)
    assert str(refused.value).endswith("over the limit of 18 kg. (EN 137:2006, 6.6 [text])")
    assert Fitting.objects.filter(part=heavy).count() == 0
    assert shown_today(whole).readiness.ready


@pytest.mark.parametrize(
    ("known", "why"),
    [
        ({"connection": "CGA-347"}, "another thread"),
        ({"working_pressure_bar": Decimal(380), "connection": "EN-144-2-A3"}, "must not seal"),
        ({"working_pressure_bar": Decimal(320)}, "class A2, up to 300 bar"),
    ],
)
def test_nobody_overrides_a_thread_or_a_pressure_class(
    whole: Item, add: Callable[..., Item], known: dict[str, Any], why: str
) -> None:
    other = add("C-9", "cylinder", **known)
    with pytest.raises(DoesNotFit, match=why):
        put_in(whole, other, confirmed=True, note="the chief said so")


def test_what_is_not_stated_takes_a_confirmation_with_a_note(
    whole: Item, add: Callable[..., Item]
) -> None:
    blank = add("M-2", "mask", connection="")
    with pytest.raises(NotStated, match="connection of mask M-2 is not stated"):
        put_in(whole, blank)
    with pytest.raises(NotStated):
        put_in(whole, blank, confirmed=True, note=" ")
    fitting = put_in(whole, blank, confirmed=True, note="thread gauge G2")
    assert fitting.confirmed == ["The connection of mask M-2 is not stated."]


def test_a_condemned_part_is_never_fitted(
    whole: Item, add: Callable[..., Item], technician: User
) -> None:
    dead = add("C-9", "cylinder")
    fails(dead, "external-inspection", technician, "condemned")
    with pytest.raises(FittingRefused, match=r"C-9 was condemned on .* never fitted again"):
        put_in(whole, dead)


def test_an_overdue_part_may_be_fitted_and_the_set_says_so(
    whole: Item, add: Callable[..., Item], station: Site
) -> None:
    known = {**PARTS["cylinder"], "made_on": date(2010, 1, 1)}
    late = make_item(station, "C-8", "cylinder", model="cylinder model", **known)
    put_in(whole, late)
    assert shown_today(whole).readiness.sentence.startswith("S031 is not ready: cylinder C-8: ")


def test_a_part_in_another_set_stays_there(whole: Item, parts: Parts, station: Site) -> None:
    other = make_item(station, "S032", "set", model="Ravine")
    with pytest.raises(FittingRefused, match=r"M-1 is in S031 since .* Take it out there"):
        put_in(other, parts["mask"])
    with pytest.raises(FittingRefused, match="M-1 is no set"):
        put_in(parts["mask"], parts["frame"])
    with pytest.raises(NoPlace, match="A set is no part of a set"):
        put_in(whole, other)


def test_a_form_that_comes_twice_fits_once(whole: Item, add: Callable[..., Item]) -> None:
    mask, other = add("M-2", "mask"), add("M-3", "mask")
    first = put_in(whole, mask, entry_key="form")
    assert put_in(whole, mask, entry_key="form") == first
    assert Fitting.objects.filter(part=mask).count() == 1
    with pytest.raises(FormUsedTwice):
        put_in(whole, other, entry_key="form")


def test_a_day_to_come_and_a_day_that_is_taken_are_refused(
    whole: Item, parts: Parts, add: Callable[..., Item]
) -> None:
    today = today_at(whole.site)
    mask = add("M-2", "mask")
    with pytest.raises(FittingRefused, match="is in the future"):
        put_in(whole, mask, on=today + timedelta(days=1))
    with pytest.raises(FittingRefused, match=r"M-1 went in on .* can't take its place on"):
        put_in(whole, mask, on=today - timedelta(days=1))
    put_in(whole, mask)
    with pytest.raises(FittingRefused, match="was made on"):
        put_in(whole, parts["mask"], on=date(2020, 1, 1))


def test_a_set_as_it_was_on_a_day_and_as_was_known_then(
    station: Site, technician: User, parts: Parts, add: Callable[..., Item]
) -> None:
    today = today_at(station)
    item = make_item(station, "S031", "set", model="Ravine", made_on=today - timedelta(days=90))
    before_anything = now()
    approve(item, *parts.values())
    second = add("M-2", "mask")
    ago = partial(timedelta)
    put_in(item, parts["mask"], on=today - ago(days=20))
    between = now()
    put_in(item, second, on=today - ago(days=10))

    def masks(days: int, known_by: Any = None) -> list[str]:
        shown = set_sheet(item, today - ago(days=days), known_by)
        return [part.item.tag for part in shown.parts if part.place is Place.MASK]

    assert (masks(21), masks(20), masks(11), masks(10), masks(0)) == (
        [],
        ["M-1"],
        ["M-1"],
        ["M-2"],
        ["M-2"],
    )
    assert masks(5, between) == ["M-1"], "the swap was entered later"
    assert masks(5, before_anything) == []
    with pytest.raises(NotKnownThen):
        set_sheet(item, today, before_anything - ago(days=1))


def test_what_is_stated_of_a_type_later_changes_no_answer_of_before(
    whole: Item, parts: Parts
) -> None:
    moment = now()
    state(parts["frame"], mass_kg=Decimal(30))
    today = today_at(whole.site)
    assert not set_sheet(whole, today).readiness.ready
    assert "over the limit of 18 kg" in set_sheet(whole, today).readiness.reasons[0]
    assert set_sheet(whole, today, moment).assembled.mass.sum_kg == Decimal("10.746")
    assert set_sheet(whole, today, moment).readiness.ready


def test_the_list_says_what_the_page_says_and_counts_by_site(
    whole: Item, parts: Parts, technician: User, station: Site
) -> None:
    make_item(station, "S032", "set", model="Ravine")
    fails(parts["reducer"], "functional-test", technician)
    rows = {row.item.tag: row.readiness for row in sets_today()}
    assert rows["S031"] == shown_today(whole).readiness
    assert rows["S032"].sentence == "S032 is not ready: no part is fitted."
    counts = [(row.at.name, row.ready, row.sets) for row in ready_sets(sets_today())]
    assert counts == [("Valley service and all below", 0, 2), ("Station one", 0, 2)]


def test_the_number_of_queries_does_not_grow_with_the_sets(
    whole: Item, station: Site, add: Callable[..., Item], manager: User
) -> None:
    client = signed_in(manager)

    def asked(path: str) -> int:
        with CaptureQueriesContext(
            connection,
        ) as queries:
            assert client.get(path).status_code == 200
        return len(queries)

    before = {path: asked(path) for path in ("/", "/sets/")}
    for number in range(5):
        more = make_item(station, f"S04{number}", "set", model="Ravine")
        for kind in PARTS:
            put_in(more, add(f"{kind[0].upper()}-2{number}", kind))
    assert {path: asked(path) for path in before} == before


# ── screens ─────────────────────────────────────────────────────────────────────────────────────


@pytest.fixture
def bench(technician: User) -> Client:
    return signed_in(technician)


def test_one_scan_swaps_a_mask(whole: Item, add: Callable[..., Item], bench: Client) -> None:
    add("M-2", "mask")
    answer = bench.post(f"/items/{whole.pk}/parts/", {"key": "k1", "tag": "M-2"}, follow=True)
    assert answer.redirect_chain[-1][1] == 302
    assert "M-2 is in S031 as mask, M-1 came out." in answer.content.decode()
    again = bench.post(f"/items/{whole.pk}/parts/", {"key": "k1", "tag": "M-2"})
    assert again.status_code == 302
    assert Fitting.objects.filter(part__tag="M-2").count() == 1


def test_a_cylinder_is_changed_by_steps_that_are_confirmed(
    whole: Item, add: Callable[..., Item], bench: Client
) -> None:
    add("C-2", "cylinder")
    path = f"/items/{whole.pk}/parts/"
    page = bench.post(path, {"key": "k1", "tag": "C-2"}).content.decode()
    assert "C-1 comes out." in page
    assert "The system is vented: the gauge reads zero." in page
    assert "common practice" in page
    sent = {"key": "k1", "tag": "C-2", "step": "enter", "on": today_at(whole.site).isoformat()}
    answer = bench.post(path, sent)
    assert answer.status_code == 422
    assert "Confirm the step: The cylinder valve is closed." in answer.content.decode()
    assert not Fitting.objects.filter(part__tag="C-2").exists()
    ticks = {f"step_{number}": "on" for number in range(1, 7)}
    answer = bench.post(path, {**sent, **ticks}, follow=True)
    assert (
        "C-2 is in S031 as cylinder, C-1 came out. Now check for leaks" in answer.content.decode()
    )


@pytest.mark.parametrize(
    ("tag", "said"),
    [
        ("NOPE", "Nothing carries the mark NOPE"),
        ("M-1", "M-1 is in S031 since"),
        ("C-9", "C-9 does not go in.</li><li>The set would weigh"),
        ("", "Scan the part"),
    ],
)
def test_a_refused_scan_leaves_an_empty_field_and_the_reason(
    whole: Item, add: Callable[..., Item], bench: Client, tag: str, said: str
) -> None:
    add("C-9", "cylinder", tare_kg=Decimal("14"))
    answer = bench.post(f"/items/{whole.pk}/parts/", {"key": "k", "tag": tag})
    assert answer.status_code == 422
    page = answer.content.decode()
    assert said in page
    assert "<title>Error: " in page
    assert 'name="tag" value' not in page


def test_the_pages_of_a_set_and_of_its_part_name_each_other(
    whole: Item, parts: Parts, bench: Client
) -> None:
    page = bench.get(whole.get_absolute_url()).content.decode()
    assert "S031 is ready." in page
    assert "10.746 kg" in page
    assert "The charge of C-1 is not known: read the gauge." in page
    assert parts["mask"].get_absolute_url() in page
    page = bench.get(parts["mask"].get_absolute_url()).content.decode()
    assert f'<a href="{whole.get_absolute_url()}">S031</a> as mask' in page
    page = bench.get(f"/items/{parts['mask'].pk}/fittings/").content.decode()
    assert "The sets that M-1 was in" in page


@pytest.mark.parametrize(
    ("after", "known"),
    [
        (("emptied", "pass"), False),
        (("hydrostatic-retest", "fail"), False),
        (("periodic-inspection", "pass"), True),
    ],
)
def test_a_set_says_of_its_charge_what_the_cylinder_s_own_page_goes_by(
    whole: Item, parts: Parts, technician: User, after: tuple[str, str], known: bool
) -> None:
    on, cylinder = today_at(whole.site), parts["cylinder"]
    for task, outcome in (("fill", "pass"), after):
        done = Service(task=task, done_on=on, outcome=outcome, performed_by="Tekla Merrow")
        enter_all([new_record(cylinder, done, f"air-{task}")], user=technician, at=now())
    [first, *_] = set_sheet(whole, on).remarks
    assert first.startswith("C-1 was filled on" if known else "The charge of C-1 is not known")


def test_a_part_comes_out_with_its_steps(whole: Item, parts: Parts, bench: Client) -> None:
    fitting = Fitting.objects.get(part=parts["cylinder"])
    path = f"/items/{whole.pk}/parts/{fitting.pk}/out/"
    sent = {"key": "o1", "on": today_at(whole.site).isoformat(), "note": "to the retest"}
    assert bench.post(path, sent).status_code == 422
    ticks = {f"step_{number}": "on" for number in range(1, 4)}
    assert bench.post(path, {**sent, **ticks}).status_code == 302
    assert bench.post(path, {**sent, **ticks}).status_code == 302, "sent twice, out once"
    fitting.refresh_from_db()
    assert (fitting.removed_by, fitting.removal_note) == ("Tekla Merrow (tekla)", "to the retest")


def test_a_connection_of_a_type_is_chosen_from_known_words_or_said_why(
    parts: Parts, manager: User
) -> None:
    client, named = signed_in(manager), parts["demand-valve"].type
    path, sent = f"/types/{named.pk}/edit/", {"maker": named.maker, "model": named.model}
    assert '<option value="EN-148-3"' in client.get(path).content.decode()
    answer = client.post(path, {**sent, "outlet_other": "EN-148-33"})
    assert answer.status_code == 422
    page = unescape(answer.content.decode())
    assert "connection that gives the air on EN-148-33 is none of those to choose from" in page
    assert "perhaps EN-148-3 is meant" in page
    assert client.post(path, {**sent, "outlet": "EN-148-1", "outlet_other": "x"}).status_code == 422
    said = {**sent, "outlet_other": "EN-148-33", "why": "so it is stamped"}
    assert client.post(path, said).status_code == 302
    assert client.post(path, {**sent, "outlet": "EN-148-33"}).status_code == 302, "as it stands"
    named.refresh_from_db()
    assert named.outlet == "EN-148-33"
    assert client.post(path, {**sent, "outlet": "EN-148-3"}).status_code == 302
    named.refresh_from_db()
    assert named.outlet == "EN-148-3"


def test_a_type_states_what_its_items_fit(whole: Item, parts: Parts, manager: User) -> None:
    client = signed_in(manager)
    named = parts["demand-valve"].type
    sent = {"maker": named.maker, "model": named.model, "mass_kg": "0,55", "outlet": ""}
    answer = client.post(f"/types/{named.pk}/edit/", {**sent, "breathing": "positive-pressure"})
    assert answer.status_code == 302
    named.refresh_from_db()
    assert (named.mass_kg, named.breathing) == (Decimal("0.55"), "positive-pressure")
    entry = TrailEntry.objects.order_by("-number").first()
    assert entry is not None
    assert (entry.what, entry.by_user) == ("type", manager)
    number = TrailEntry.objects.count()
    client.post(f"/types/{named.pk}/edit/", {**sent, "breathing": "positive-pressure"})
    assert TrailEntry.objects.count() == number, "the same again is no change"
    page = client.get(f"/types/{whole.type_id}/edit/").content.decode()
    assert page.count("checked") == len(PARTS)

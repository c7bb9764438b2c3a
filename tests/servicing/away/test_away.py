"""What is at a test house is neither fitted, filled nor serviced here, and everybody sees it."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from types import SimpleNamespace

import pytest
from django.apps import apps
from django.contrib.auth.models import User
from django.db import connection
from django.db.migrations import RunPython
from django.db.migrations.loader import MigrationLoader
from django.urls import reverse

from registry.items.models import Item
from registry.sets.actions import FittingRefused
from registry.sites.clock import now, today_at
from registry.sites.models import Site
from servicing.away.models import Consigned, Consignment
from servicing.away.queries import all_away, away_now, away_on
from servicing.bench.actions.procedures import load_procedures
from servicing.bench.pure.tables import read_procedures
from servicing.due.actions.services import ItemAway, Service, effect_of, log_service
from servicing.due.actions.sets import fit, planned
from servicing.due.actions.standing import withdraw
from servicing.due.queries.sets import set_sheet, sets_today
from servicing.filling.actions import FillRefused, GaugeReading, log_fill
from servicing.filling.pure.may_fill import Weight
from servicing.hydrostatic.actions.consignments import (
    ConsignmentRefused,
    open_consignment,
    receive,
    send,
    take_back,
)
from servicing.hydrostatic.actions.results import enter_results
from servicing.ledger.models import Record
from servicing.ledger.queries.records import history_of
from tests.people import RULES, approve, make_compressor, make_cylinder, make_item, signed_in
from tests.servicing.hydrostatic.away import HOUSE, own_test, result, sent_away
from tests.worlds import world_fixture

DAY = timedelta(days=1)


@world_fixture
def cylinders(station: Site, technician: User) -> list[Item]:
    return [make_cylinder(station, tag, technician) for tag in ("C0001", "C0002")]


@world_fixture
def away(station: Site, cylinders: list[Item], technician: User) -> Consignment:
    """Both cylinders, gone since ten days."""
    return sent_away(station, cylinders, technician)


@world_fixture
def apparatus(station: Site, cylinders: list[Item]) -> Item:
    made = make_item(station, "S001", "set", model="Rygg", made_on=cylinders[0].made_on)
    approve(made, *cylinders)
    return made


def place_of(away: Consignment, item: Item) -> Consigned:
    return away.cylinders.get(item=item)


def words_of(away: Consignment) -> str:
    since = away.sent_on
    assert since is not None
    return f"away since {since.day} {since:%b %Y} at {HOUSE} (consignment {away.number})"


def test_what_is_away_is_not_fitted_and_the_refusal_says_where_it_is(
    away: Consignment, apparatus: Item, cylinders: list[Item], technician: User
) -> None:
    today = today_at(apparatus.site)
    with pytest.raises(FittingRefused, match="receive it first") as refused:
        planned(set_item=apparatus, part=cylinders[0], on=today)
    assert words_of(away) in str(refused.value)
    with pytest.raises(FittingRefused, match="receive it first"):
        fit(set_item=apparatus, part=cylinders[0], on=today, by=technician, entry_key="f")
    page = signed_in(technician).post(
        reverse("set-parts", args=[apparatus.pk]), {"key": "s" * 32, "tag": "C0001"}
    )
    assert page.status_code == 422
    assert words_of(away) in page.content.decode()


def test_what_is_being_packed_is_still_here(
    station: Site, apparatus: Item, cylinders: list[Item], technician: User
) -> None:
    open_consignment(
        from_site=station, house=HOUSE, items=cylinders, user=technician, entry_key="packed"
    )
    assert away_now([cylinders[0].pk]) == {}
    assert planned(set_item=apparatus, part=cylinders[0], on=today_at(station))


def test_the_filling_point_says_that_the_register_is_behind(
    away: Consignment, station: Site, cylinders: list[Item], technician: User
) -> None:
    compressor = make_compressor(station, "P1", technician)
    with pytest.raises(FillRefused) as refused:
        log_fill(
            item=cylinders[0],
            compressor=compressor,
            reading=GaugeReading(Decimal(200), Decimal(15)),
            user=technician,
            entry_key="fill",
        )
    worst = refused.value.verdict.worst
    assert worst is not None
    assert worst.weight is Weight.AWAY
    desk = signed_in(technician)
    desk.post(reverse("filling-compressor"), {"compressor": compressor.pk})
    page = desk.get(reverse("filling"), {"q": "C0001"}).content.decode()
    assert "Away by the register" in page
    assert words_of(away) in page
    assert "the register is behind" in page
    receive(consigned=place_of(away, cylinders[0]), back_on=today_at(station), user=None)
    assert (
        "Away by the register" not in desk.get(reverse("filling"), {"q": "C0001"}).content.decode()
    )


def test_no_work_at_the_bench_is_entered_while_it_is_away(
    away: Consignment, cylinders: list[Item], technician: User
) -> None:
    item, today = cylinders[0], today_at(cylinders[0].site)
    before = Record.objects.count()
    for day in (today, today - 9 * DAY):
        service = Service("external-inspection", day, "pass", "Tekla Merrow")
        with pytest.raises(ItemAway, match="receive it first"):
            log_service(item=item, service=service, user=technician, entry_key="x")
        with pytest.raises(ItemAway):
            effect_of(item, service)
    desk = signed_in(technician)
    own = desk.get(reverse("own-test", args=[item.pk])).content.decode()
    assert words_of(away) in own
    refused = desk.post(reverse("own-test", args=[item.pk]), own_test(item, "enter"))
    assert refused.status_code == 422
    assert Record.objects.count() == before


def test_guided_work_is_not_begun_while_it_is_away(
    away: Consignment, cylinders: list[Item], technician: User
) -> None:
    tables = [
        read_procedures(path.name, path.read_text())[0]
        for path in sorted((RULES / "procedures").glob("*.toml"))
    ]
    load_procedures(tables, at=now())
    desk, item = signed_in(technician), cylinders[0]
    answer = desk.get(reverse("bench", args=[item.pk, "external-inspection"]), follow=True)
    assert answer.redirect_chain == [(item.get_absolute_url(), 302)]
    assert f"C0001 is {words_of(away)}. If it is here" in answer.content.decode()


def test_work_of_before_it_left_can_still_be_entered_late(
    away: Consignment, cylinders: list[Item], technician: User
) -> None:
    for number, days in enumerate((10, 12)):
        on = today_at(cylinders[0].site) - days * DAY
        service = Service("external-inspection", on, "pass", "Tekla Merrow")
        log_service(item=cylinders[0], service=service, user=technician, entry_key=f"l{number}")
    assert history_of(cylinders[0]).filter(entry_key__startswith="l").count() == 2


def test_results_of_the_house_and_decisions_do_not_need_it_here(
    away: Consignment, cylinders: list[Item], technician: User
) -> None:
    tested = result(cylinders[0], mark="FCT 7")
    enter_results(consignment=away, results=[tested], user=technician)
    withdraw(item=cylinders[0], reason="Doubt on its history.", user=technician, entry_key="w")
    assert [r.task for r in history_of(cylinders[0])[:2]] == ["withdrawal", "hydrostatic-retest"]


def test_a_set_whose_cylinder_is_away_is_not_ready_and_says_where_it_is(
    station: Site, apparatus: Item, cylinders: list[Item], technician: User
) -> None:
    today = today_at(station)
    fit(
        set_item=apparatus,
        part=cylinders[0],
        on=today - 20 * DAY,
        by=technician,
        entry_key="f",
        confirmed=True,
        note="looked at",
    )
    away = sent_away(station, cylinders, technician)
    row = next(row for row in sets_today() if row.item == apparatus)
    why = f"cylinder C0001: {words_of(away)}"
    assert not row.readiness.ready
    assert why in row.readiness.reasons
    shown = set_sheet(apparatus, today)
    assert shown.readiness.reasons == row.readiness.reasons
    assert shown.parts[0].reason == words_of(away)
    assert why not in set_sheet(apparatus, today - 11 * DAY).readiness.reasons, "before it left"
    assert why in set_sheet(apparatus, today - 10 * DAY).readiness.reasons, "the day it left"
    take_back(consignment=away, back_on=today, user=None)
    assert why not in set_sheet(apparatus, today).readiness.reasons
    assert why in set_sheet(apparatus, today - DAY).readiness.reasons
    assert all(why not in row.readiness.reasons for row in sets_today())


def test_what_was_known_of_it_at_a_moment_can_be_asked(
    away: Consignment, station: Site, cylinders: list[Item]
) -> None:
    pk, today, before = cylinders[0].pk, today_at(station), now()
    assert away_on([pk], today - DAY, datetime(2020, 1, 1, tzinfo=UTC)) == {}
    take_back(consignment=away, back_on=today - DAY, user=None)
    assert away_on([pk], today) == {}
    assert away_on([pk], today, before)[pk].number == away.number, "nobody had said it was back"
    assert away_on([pk], today, now()) == {}


def test_one_cylinder_is_received_before_the_others(
    away: Consignment, station: Site, cylinders: list[Item], technician: User
) -> None:
    first, second = (place_of(away, item) for item in cylinders)
    today = today_at(station)
    desk = signed_in(technician)
    back = reverse("consigned-back", args=[first.pk])
    assert "No result is entered for it yet" in desk.get(back).content.decode()
    for _ in range(2):
        assert desk.post(back, {"on": today.isoformat()}).status_code == 302
    assert set(all_away()) == {cylinders[1].pk}
    assert Consignment.objects.get().back_on is None
    with pytest.raises(ConsignmentRefused, match="came back on"):
        receive(consigned=first, back_on=today - DAY, user=None)
    with pytest.raises(ConsignmentRefused, match="can't be"):
        receive(consigned=second, back_on=today + DAY, user=None)
    receive(consigned=second, back_on=today - DAY, user=None)
    assert Consignment.objects.get().back_on == today, "the day on which the last was back"
    assert all_away() == {}


def test_it_may_go_out_again_after_it_was_received(
    away: Consignment, station: Site, cylinders: list[Item], technician: User
) -> None:
    receive(consigned=place_of(away, cylinders[0]), back_on=today_at(station), user=None)
    again = open_consignment(
        from_site=station, house=HOUSE, items=cylinders[:1], user=technician, entry_key="again"
    )
    send(consignment=again, sent_on=today_at(station), user=None)
    assert away_now([cylinders[0].pk])[cylinders[0].pk].number == again.number


def test_pages_and_lists_show_that_it_is_away_and_where(
    away: Consignment, cylinders: list[Item], technician: User
) -> None:
    desk = signed_in(technician)
    page = desk.get(cylinders[0].get_absolute_url()).content.decode()
    assert f'<h1 class="answer incomplete">C0001 is {words_of(away)}.' in page
    assert "Receive it" in page
    assert "Do it: " not in page
    for name in ("item-list", "due-list"):
        assert f"ST1; away: {away.number}" in desk.get(reverse(name)).content.decode()
    then = {"on": (today_at(cylinders[0].site) - 20 * DAY).isoformat()}
    assert "C0001 is away" not in desk.get(cylinders[0].get_absolute_url(), then).content.decode()


def test_what_came_back_before_each_had_its_own_day_has_that_of_its_consignment(
    away: Consignment, station: Site
) -> None:
    take_back(consignment=away, back_on=today_at(station), user=None)
    Consigned.objects.update(back_on=None)
    steps = (
        operation
        for migration in MigrationLoader(connection).disk_migrations.values()
        for operation in migration.operations
        if isinstance(operation, RunPython)
        and getattr(operation.code, "__name__", "") == "back_with_the_rest"
    )
    next(steps).code(apps, SimpleNamespace(connection=connection))  # type: ignore[arg-type]
    assert {*Consigned.objects.values_list("back_on", flat=True)} == {today_at(station)}

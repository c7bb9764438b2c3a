"""A consignment: who is in it, and when it leaves and comes back."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.contrib.auth.models import User
from django.db import IntegrityError, transaction

from registry.items.models import Item
from registry.sites.clock import today_at
from registry.sites.models import Site
from servicing.away.models import Consigned, Consignment
from servicing.hydrostatic.actions.consignments import (
    ConsignmentRefused,
    add_cylinders,
    open_consignment,
    remove_cylinder,
    send,
    take_back,
)
from servicing.hydrostatic.actions.results import enter_results
from servicing.hydrostatic.pure.verdict import Word
from servicing.hydrostatic.queries import (
    consignments_listed,
)
from tests.servicing.hydrostatic.away import (
    HOUSE,
    cylinder,
    result,
    sent_away,
)


def test_a_cylinder_is_in_one_running_consignment_only(
    station: Site, away: Consignment, fleet: list[Item], technician: User
) -> None:
    with pytest.raises(ConsignmentRefused, match=f"00001 is in consignment {away.number} already"):
        open_consignment(
            from_site=station, house=HOUSE, items=fleet, user=technician, entry_key="two"
        )
    assert Consignment.objects.count() == 1
    other = open_consignment(
        from_site=station, house=HOUSE, items=[], user=technician, entry_key="two"
    )
    with pytest.raises(IntegrityError), transaction.atomic():
        Consigned.objects.create(consignment=other, item=fleet[0])


def test_only_cylinders_that_are_not_condemned_go(
    *,
    station: Site,
    mask: Item,
    away: Consignment,
    fleet: list[Item],
    technician: User,
    manager: User,
) -> None:
    bad = result(fleet[0], word=Word.CONDEMN, permanent_ml=Decimal(9), reason="over")
    enter_results(consignment=away, results=[bad], user=manager)
    take_back(consignment=away, back_on=today_at(station), user=None)
    with pytest.raises(ConsignmentRefused, match=r"00123 is no cylinder\. 00001 is condemned"):
        open_consignment(
            from_site=station, house=HOUSE, items=[mask, fleet[0]], user=technician, entry_key="x"
        )


def test_begun_twice_by_one_form_it_is_one_consignment(
    station: Site, fleet: list[Item], technician: User
) -> None:
    made = [
        open_consignment(
            from_site=station, house=HOUSE, items=fleet, user=technician, entry_key="one"
        )
        for _ in range(2)
    ]
    assert made[0] == made[1]
    assert made[0].number == f"{made[0].made_at.year}-001"


def test_what_has_left_keeps_its_list(away: Consignment, station: Site, technician: User) -> None:
    with pytest.raises(ConsignmentRefused, match="has left"):
        add_cylinders(consignment=away, items=[cylinder(station, "00009")], user=None)
    row = away.cylinders.get(item__tag="00001")
    with pytest.raises(ConsignmentRefused, match="has left"):
        remove_cylinder(consigned=row, user=None)
    with pytest.raises(ConsignmentRefused, match="left on"):
        send(consignment=away, sent_on=today_at(station), user=None)


def test_days_that_cannot_be_are_refused(
    station: Site, fleet: list[Item], technician: User
) -> None:
    today = today_at(station)
    empty = open_consignment(
        from_site=station, house=HOUSE, items=[], user=technician, entry_key="one"
    )
    with pytest.raises(ConsignmentRefused, match="no cylinders"):
        send(consignment=empty, sent_on=today, user=None)
    add_cylinders(consignment=empty, items=fleet, user=None)
    with pytest.raises(ConsignmentRefused, match="in the future"):
        send(consignment=empty, sent_on=today + timedelta(days=1), user=None)
    with pytest.raises(ConsignmentRefused, match="being packed"):
        take_back(consignment=empty, back_on=today, user=None)
    send(consignment=empty, sent_on=today, user=None)
    with pytest.raises(ConsignmentRefused, match="it left on"):
        take_back(consignment=empty, back_on=today - timedelta(days=1), user=None)


def test_lists_of_consignments_ask_the_database_no_more_for_more(
    station: Site, technician: User, django_assert_num_queries: object
) -> None:
    for number in range(4):
        items = [cylinder(station, f"{number}{n:04d}") for n in range(3)]
        sent_away(station, items, technician, key=f"key {number}")
    with django_assert_num_queries(4):  # type: ignore[operator]
        rows = consignments_listed()
    assert [(row.many, row.waiting) for row in rows] == [(3, 3)] * 4

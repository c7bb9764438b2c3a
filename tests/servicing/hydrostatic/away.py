"""Invented cylinders, consignments and results; what is not said is good."""

from datetime import date, timedelta
from decimal import Decimal
from typing import NamedTuple

from django.contrib.auth.models import User

from registry.items.models import Item
from registry.sites.clock import today_at
from registry.sites.models import Site
from servicing.away.models import Consignment
from servicing.due.queries.engine import explained, owed
from servicing.hydrostatic.actions.consignments import open_consignment, send
from servicing.hydrostatic.actions.results import enter_results
from servicing.hydrostatic.pure.amounts import Pressure
from servicing.hydrostatic.pure.house import HouseResult
from servicing.hydrostatic.pure.verdict import Word
from servicing.ledger.queries.records import history_of
from tests.people import make_item

RETEST = "hydrostatic-retest"
HOUSE = "Fellgate Cylinder Testing"


def cylinder(site: Site, tag: str, **known: object) -> Item:
    plain = {
        "made_on": date(2021, 5, 4),
        "in_service_on": date(2021, 6, 1),
        "specification": "EN-12245",
        "construction": "type-3",
        "fibre": "carbon",
        "water_capacity_l": Decimal("6.8"),
        "working_pressure_bar": Decimal(300),
        "test_pressure_bar": Decimal(450),
        "design_life_years": 15,
    }
    return make_item(site, tag, "cylinder", model="Tern 68", **{**plain, **known})


def sent_away(site: Site, items: list[Item], user: User, key: str = "one") -> Consignment:
    made = open_consignment(from_site=site, house=HOUSE, items=items, user=user, entry_key=key)
    send(consignment=made, sent_on=today_at(site) - timedelta(days=10), user=None)
    return made


def result(item: Item, **changed: object) -> HouseResult:
    """Return a good jacket test a week ago."""
    plain: dict[str, object] = {
        "tag": item.tag,
        "tested_on": today_at(item.site) - timedelta(days=7),
        "method": "jacket",
        "word": Word.PASS,
        "by": "R. Amble",
        "reached": Pressure.of(450, "bar"),
        "held_s": 30,
        "total_ml": Decimal("62.0"),
        "permanent_ml": Decimal("1.2"),
        "mark": "FCT 7",
    }
    return HouseResult(**{**plain, **changed})  # type: ignore[arg-type]


def by_hand(item: Item, step: str, **changed: str) -> dict[str, str]:
    form = {
        "step": step,
        "word": "pass",
        "tested_on": (today_at(item.site) - timedelta(days=7)).isoformat(),
        "method": "jacket",
        "reached": "450 bar",
        "held_s": "30",
        "total_ml": "62,0",
        "permanent_ml": "3.11",
        "by": "R. Amble",
    }
    return {**form, **changed}


def own_test(item: Item, step: str, **changed: str) -> dict[str, str]:
    """Return the form of a good jacket test of our own."""
    form = {
        "key": "o" * 32,
        "step": step,
        "tested_on": today_at(item.site).isoformat(),
        "by": "Tekla Merrow",
        "method": "jacket",
        "by_eye": "pass",
        "reached": "450 bar",
        "held_s": "30",
        "total_ml": "62.0",
        "permanent_ml": "1.2",
        "cylinder": "CAL-7",
        "certified": "450 bar",
        "certified_ml": "100.0",
        "showed": "451 bar",
        "read_ml": "100.4",
        "left_ml": "0",
        "number": "1",
    }
    return {**form, **changed}


class Away(NamedTuple):
    """One consignment being packed; one away with a disputed result and one still to come."""

    packed: Consignment
    away: Consignment
    waiting: int
    disputed: int
    at_home: Item

    @property
    def here(self) -> dict[str, int]:
        """Return what stands in the addresses of these pages."""
        return {
            "packed": self.packed.pk,
            "away": self.away.pk,
            "waiting": self.waiting,
            "disputed": self.disputed,
            "cylinder": self.at_home.pk,
        }


def retests(site: Site, user: User) -> Away:
    """Make cylinders C0101 to C0104 in two consignments, and C0105 at home."""
    items = [cylinder(site, f"C01{number:02d}") for number in range(1, 6)]
    packed = open_consignment(
        from_site=site, house=HOUSE, items=items[:2], user=user, entry_key="packed"
    )
    away = sent_away(site, items[2:4], user, key="away")
    disputed = result(items[2], permanent_ml=Decimal("3.11"))
    made = enter_results(consignment=away, results=[disputed], user=user)[0]
    waiting = away.cylinders.get(item=items[3]).pk
    return Away(packed, away, waiting, made.pk, items[4])


def readings_of(item: Item, at: int = 0) -> dict[str, str]:
    """Return the readings of an item's latest record but `at` by name, with unit and verdict."""
    record = history_of(item)[at]
    return {
        each.name: " ".join(filter(None, (each.typed, each.unit, each.verdict)))
        for each in record.readings_as_read
    }


def standing(item: Item) -> str:
    return str(explained(item, today_at(item.site))[0].word)


def due_on(item: Item) -> date | None:
    today = today_at(item.site)
    return next(one.due_on for one in owed(item, today) if one.task == RETEST)

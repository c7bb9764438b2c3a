"""The demo: its lists, what is stated of its types, its people and what it sent away."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.contrib.auth.models import User
from django.db import transaction

from registry.bulk.actions import Progress, quiet
from registry.items.actions import state_serving, state_type
from registry.items.models import Item, ItemType
from registry.people.actions import add_person
from registry.people.pure import Role
from registry.sites.clock import now
from registry.sites.models import Site
from servicing.demo.actions import lists
from servicing.demo.pure import DemoFleet
from servicing.demo.pure.consignments import Trip
from servicing.hydrostatic.actions.consignments import open_consignment, send, take_back
from servicing.hydrostatic.actions.results import enter_results


@dataclass(frozen=True, slots=True)
class DemoPerson:
    """An account of the demo. Its password is public: it works on loopback only."""

    username: str
    password: str
    full_name: str
    role: Role
    site: str


@transaction.atomic
def make_demo(
    fleet: DemoFleet,
    people: Sequence[DemoPerson],
    trips: Sequence[Trip] = (),
    progress: Progress = quiet,
) -> None:
    """Write the invented fleet, its people and its consignments; rule tables must be loaded.

    The results of consignments are entered by the first of the people.

    The fleet goes through the same reading and the same checks as somebody's own lists.
    """
    lists.bring_in_sites(fleet)
    items = lists.bring_in_register(fleet, progress)
    _state_types(fleet)
    lists.bring_in_fittings(fleet)
    # After what is fitted: what happened to a set happened to its parts too.
    lists.bring_in_history(fleet, items, progress)
    for person in people:
        add_person(
            username=person.username,
            full_name=person.full_name,
            role=person.role,
            site=Site.objects.get(code=person.site),
            password=person.password,
        )
    for number, trip in enumerate(trips, start=1):
        _send_out(trip, User.objects.get(username=people[0].username), f"demo-{number}")


def _send_out(trip: Trip, user: User, entry_key: str) -> None:
    found = {item.tag: item for item in Item.objects.filter(tag__in=trip.tags)}
    made = open_consignment(
        from_site=Site.objects.get(code=trip.site),
        house=trip.house,
        items=[found[tag] for tag in trip.tags],
        user=user,
        entry_key=entry_key,
    )
    send(consignment=made, sent_on=trip.left_on, user=user)
    enter_results(consignment=made, results=trip.results, user=user)
    if trip.back_on is not None:
        take_back(consignment=made, back_on=trip.back_on, user=user)


def _state_types(fleet: DemoFleet) -> None:
    types = {(t.kind, t.maker, t.model): t for t in ItemType.objects.all()}
    nothing = {"inlet": "", "outlet": "", "highest_bar": None, "mass_kg": None}
    for stated in fleet.types:
        facts: dict[str, Any] = {**nothing, "breathing": "", "joins": None, **stated.facts}
        facts["mass_kg"] = Decimal(facts["mass_kg"]) if facts["mass_kg"] else None
        facts["joins"] = int(facts["joins"]) if facts["joins"] else None
        approved = [types[name] for name in stated.approved if name in types]
        state_type(types[stated.name], facts=facts, approved=approved, by=None, at=now())
        if stated.serving.serves_as:
            state_serving(types[stated.name], serving=stated.serving, by=None, at=now())

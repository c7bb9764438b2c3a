"""Filling an empty register with the invented fleet, by the same roads as a real list."""

import csv
import hashlib
import io
import zoneinfo
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any, TypeVar

from django.contrib.auth.models import User
from django.db import transaction

from registry.bulk.actions import Progress, quiet
from registry.items.actions import state_serving, state_type
from registry.items.models import Item, ItemType
from registry.lists.pure.fittings import read_fittings
from registry.lists.pure.problems import Problem
from registry.lists.pure.register import read_register
from registry.lists.pure.sites import read_sites
from registry.lists.queries import known_things
from registry.people.actions import add_person
from registry.people.pure import DEMO_PREFIX, Role
from registry.sites.clock import now, today_at
from registry.sites.models import Site
from servicing.demo.pure import DemoFleet
from servicing.demo.pure.consignments import Trip
from servicing.due.actions.history import import_history
from servicing.due.actions.register import import_register, import_sites, save_site
from servicing.due.actions.sets import import_fittings
from servicing.hydrostatic.actions.consignments import open_consignment, send, take_back
from servicing.hydrostatic.actions.results import enter_results
from servicing.ledger.pure.history import KnownItem, read_history
from servicing.ledger.queries.records import condemned_days
from servicing.rules.queries import known_tasks, published_tables

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class DemoPerson:
    """An account of the demo. Its password is public: it works on loopback only."""

    username: str
    password: str
    full_name: str
    role: Role
    site: str


class NotTheDemo(ValueError):
    """The register holds a fleet that is not the demo's; the demo would spoil it."""


def is_demo() -> bool:
    """Say whether the register holds the demo already. Raises NotTheDemo for another fleet."""
    demo = User.objects.filter(username__startswith=DEMO_PREFIX).exists()
    if not demo and any(kept.objects.exists() for kept in (Site, Item, User)):
        raise NotTheDemo(
            "This database holds a fleet of its own; the demo needs an empty one. Set "
            "NECKRING_DATA_DIR to another folder, or DATABASE_URL to another database."
        )
    return demo


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
    sites = _read(
        "sites.csv",
        fleet.sites,
        lambda name, content: read_sites(
            name,
            content,
            zones=frozenset(zoneinfo.available_timezones()),
            tables=published_tables(),
            known=frozenset(),
        ),
    )
    import_sites(sites, file="tarn-valley-sites.csv", file_hash=_digest(fleet.sites))
    for row in sites:
        if row.code in fleet.least_ready:
            site = Site.objects.get(code=row.code)
            site.least_ready = fleet.least_ready[row.code]
            save_site(site, tables=row.rule_tables)
    todays = {site.code: today_at(site) for site in Site.objects.all()}
    register = _read(
        "register.csv",
        fleet.register,
        lambda name, content: read_register(name, content, sites=todays, registered={}),
    )
    import_register(
        register,
        progress,
        file="tarn-valley-register.csv",
        file_hash=_digest(fleet.register),
    )
    items = {row.tag: KnownItem(row.made_on, todays[row.site], None) for row in register}
    _state_types(fleet)
    read = _read(
        "fittings.csv",
        fleet.fittings,
        lambda name, content: read_fittings(
            name, content, items=known_things(condemned_days()), known=()
        ),
    )
    import_fittings(read, by=None, at=now())
    # After what is fitted: what happened to a set happened to its parts too.
    history = _read(
        "history.csv",
        fleet.history,
        lambda name, content: read_history(name, content, items=items, tasks=known_tasks()),
    )
    import_history(
        history,
        file="tarn-valley-history.csv",
        file_hash=_digest(fleet.history),
        progress=progress,
    )
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
        if stated.serving.words:
            state_serving(types[stated.name], serving=stated.serving, by=None, at=now())


def _read(
    name: str,
    rows: Sequence[dict[str, str]],
    read: Callable[[str, bytes], tuple[list[T], list[Problem]]],
) -> list[T]:
    found, problems = read(name, _as_csv(rows))
    if problems:
        raise ValueError(f"the demo's own {name} is not sound: {problems[0]}")
    return found


def _digest(rows: Sequence[dict[str, str]]) -> str:
    return hashlib.sha256(_as_csv(rows)).hexdigest()


def _as_csv(rows: Sequence[dict[str, str]]) -> bytes:
    columns = list(dict.fromkeys(column for row in rows for column in row))
    text = io.StringIO(newline="")
    writer = csv.DictWriter(text, columns, restval="")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue().encode()


def demo_day() -> date:
    """Return the day the demo is made for: the earliest that is today somewhere on earth.

    So nothing in it lies in the future of any of its sites.
    """
    return today_at(Site(timezone="Etc/GMT+12"))

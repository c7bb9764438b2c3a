"""Two sites, the rule tables, one person of each role and a stranger; all invented."""

from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any
from uuid import uuid4

from django.contrib.auth.models import User
from django.test import Client

from registry.items.actions import state_type
from registry.items.facts import ATTRIBUTES
from registry.items.models import TYPE_FACTS, Item
from registry.people.actions import add_person
from registry.people.actions.presence import PROVED_AT
from registry.people.pure import Role
from registry.sites.clock import now, today_at
from registry.sites.models import Site
from servicing.due.actions.register import load_rules, save_item, save_site
from servicing.due.actions.services import Service, log_service
from servicing.rules.pure.tables import read_table
from tests.worlds import world_fixture

RULES = Path(__file__).resolve().parent.parent / "fixtures" / "rules"
PASSWORD = "a long invented pass phrase"
OWN_RULE: dict[str, object] = {
    "task": "cleaning",
    "level": "local",
    "bars": "use",
    "when": {"kind": ["mask"]},
    "every": "P2M",
    "from": "in-service",
    "source": "our own decision",
    "edition": "of 2026",
    "checked_on": date(2026, 11, 25),
    "seen": "practice",
}
"""A rule that a manager may ask for, such as two managers make."""
BLANK: dict[str, object] = {
    "made_on": None,
    "made_to_month": False,
    "in_service_on": None,
    "connection": "",
    "size": "",
    "working_pressure_bar": None,
    "specification": "",
    "construction": "",
    "fibre": "",
    "marks": [],
    "water_capacity_l": None,
    "test_pressure_bar": None,
    "tare_kg": None,
    "ree_ml": None,
    "design_life_years": None,
}


@world_fixture
def rules(db: None) -> None:
    """All rule tables of fixtures/rules, loaded."""
    tables = [read_table(path.name, path.read_text())[0] for path in sorted(RULES.glob("*.toml"))]
    load_rules(tables)


@world_fixture
def valley(rules: None) -> Site:
    """The site above all others; it follows the ISO/EN table and the general one."""
    site = Site(code="VAL", name="Valley service", timezone="Europe/Vienna")
    save_site(site, tables=["iso-en-cylinders", "general-apparatus"])
    return site


@world_fixture
def station(valley: Site) -> Site:
    """A station below it, with no tables of its own."""
    site = Site(code="ST1", name="Station one", parent=valley, timezone="Europe/Vienna")
    save_site(site, tables=[])
    return site


def make_item(site: Site, tag: str, kind: str = "mask", **known: object) -> Item:
    """Register an item; what is not said is unknown."""
    return save_item(
        Item(),
        tag=tag,
        kind=kind,
        maker=str(known.pop("maker", "Pellwright")),
        model=str(known.pop("model", "Vizard")),
        site=site,
        attributes={**BLANK, "serial": f"S-{tag}", **known},
    )


def retag(item: Item, tag: str, user: User) -> Item:
    """Give an item another tag, as its edit page does."""
    attributes = {name: getattr(item, name) for name in ATTRIBUTES}
    named = {"kind": item.type.kind, "maker": item.maker, "model": item.type.model}
    why = "the label came off"
    return save_item(
        item, tag=tag, **named, site=item.site, attributes=attributes, user=user, why=why
    )


def state(item: Item, **facts: object) -> Item:
    """State something of an item's type; what is not said is not stated."""
    blank = {"inlet": "", "outlet": "", "highest_bar": None, "mass_kg": None}
    more = {"breathing": "", "joins": None}
    approved = list(item.type.approved.all())
    state_type(item.type, facts={**blank, **more, **facts}, approved=approved, by=None, at=now())
    return Item.objects.select_related("type", "site").get(pk=item.pk)


def approve(set_item: Item, *parts: Item) -> None:
    """Put the types of parts on the list of a set's type."""
    named = set_item.type
    facts = {name: getattr(named, name) for name in TYPE_FACTS}
    listed = [*named.approved.all(), *(part.type for part in parts)]
    state_type(named, facts=facts, approved=listed, by=None, at=now())


STEEL: dict[str, object] = {
    "maker": "Ferrowane",
    "model": "Ridge 6",
    "specification": "EN-1964-1",
    "construction": "type-1",
    "water_capacity_l": Decimal("6.000"),
    "working_pressure_bar": Decimal(300),
    "test_pressure_bar": Decimal(450),
}


def make_cylinder(site: Site, tag: str, user: User, **known: object) -> Item:
    """Register a steel cylinder that was tested and looked at three weeks ago."""
    on = today_at(site) - timedelta(days=21)
    made = {"made_on": date(2019, 5, 1), "in_service_on": date(2019, 6, 1)}
    item = make_item(site, tag, "cylinder", **{**STEEL, **made, **known})
    for task in ("hydrostatic-retest", "internal-inspection", "external-inspection"):
        passed(item, task, on, user)
    return item


def make_compressor(site: Site, tag: str, user: User, days_ago: int = 10) -> Item:
    """Register a compressor whose air was tested so many days ago."""
    on = today_at(site) - timedelta(days=days_ago)
    names = {"maker": "Stourmund", "model": "Bellow"}
    compressor = make_item(site, tag, "compressor", **names, made_on=date(2020, 1, 1))
    return passed(compressor, "air-quality-test", on, user)


def make_filling_point(site: Site, user: User) -> tuple[Item, Item]:
    """Register a cylinder that may be filled, C0001, and a compressor with good air, P1."""
    return make_cylinder(site, "C0001", user), make_compressor(site, "P1", user)


def passed(item: Item, task: str, on: date, user: User, outcome: str = "pass") -> Item:
    """Log a task as done, and return the item."""
    service = Service(task, on, outcome, "Tekla Merrow")
    log_service(item=item, service=service, user=user, entry_key=uuid4().hex)
    return item


@world_fixture
def mask(station: Site) -> Item:
    """A mask made in 2020, without a record."""
    return make_item(
        station, "00123", made_on=date(2020, 3, 10), in_service_on=date(2020, 4, 1), size="M"
    )


def make_person(name: str, role: Role, site: Site) -> User:
    """Make an account for one of the Merrows."""
    return add_person(
        username=name, full_name=f"{name.title()} Merrow", role=role, site=site, password=PASSWORD
    )


@world_fixture
def technician(station: Site) -> User:
    return make_person("tekla", Role.TECHNICIAN, station)


@world_fixture
def manager(valley: Site) -> User:
    return make_person("manfrid", Role.MANAGER, valley)


@world_fixture
def second_manager(valley: Site) -> User:
    """Who approves what the first manager asks for."""
    return make_person("marek", Role.MANAGER, valley)


@world_fixture
def auditor(valley: Site) -> User:
    return make_person("audra", Role.AUDITOR, valley)


@world_fixture
def stranger(db: None) -> User:
    """Somebody with an account and no role."""
    return User.objects.create_user("strahan", password=PASSWORD)


class Following(Client):
    """Goes on, as every browser does, to the page that shows what was sent before it is signed."""

    def post(self, *args: Any, **kwargs: Any) -> Any:
        answer = super().post(*args, **kwargs)
        where = answer.get("Location", "")
        return self.get(where) if where.endswith("shown=1") else answer


def signed_in(user: User) -> Client:
    """Return a client in which the person is signed in."""
    client = Following()
    client.force_login(user)
    return client


def unproved(client: Client, *, minutes: int = 10) -> Client:
    """Let the last password be so long ago that a signature asks for it again."""
    session = client.session
    session[PROVED_AT] = (now() - timedelta(minutes=minutes)).isoformat()
    session.save()
    return client

"""A small register, and every use case that writes, once each: for tests over all of them."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from functools import partial

from django.contrib.auth.models import User

from registry.items.actions import state_serving, state_type
from registry.items.models import TYPE_FACTS, Item
from registry.items.pure import Serving
from registry.people.actions import add_person, make_roles
from registry.people.actions.authorisations import grant_authorisation
from registry.people.models import EVERY_TASK
from registry.people.pure import Role
from registry.sites.clock import today_at
from registry.sites.models import Site
from reports.documents.actions import SERVICE_RECORD, make
from servicing.bench.actions.procedures import load_procedures, set_type_limit
from servicing.bench.pure.limits import Limit
from servicing.bench.pure.procedure import ProcedureTable
from servicing.bench.pure.tables import read_procedures
from servicing.bench.pure.units import UNITS
from servicing.due.actions.corrections import correct_record
from servicing.due.actions.local_rules import Draft, approve_rule, propose_rule, reject_rule
from servicing.due.actions.register import load_rules, save_item, save_site
from servicing.due.actions.services import Service, log_service
from servicing.due.actions.sets import fit, take_out
from servicing.due.actions.standing import condemn, return_to_service, withdraw
from servicing.filling.actions import GaugeReading, log_fill
from servicing.ledger.actions import sign
from servicing.ledger.models import Record
from servicing.rules.models import RuleProposal
from servicing.rules.pure.rule import Table
from servicing.rules.pure.tables import read_table
from tests.people import BLANK, OWN_RULE, PASSWORD, RULES, approve, make_filling_point, make_item
from tests.servicing.bench.test_actions import OPEN
from tests.worlds import world_fixture

AT = datetime(2026, 11, 25, 10, 30, tzinfo=UTC)
WHY = "The other one was on the bench."
TABLES = ("iso-en-cylinders", "general-apparatus", "finland")


@dataclass(frozen=True)
class Register:
    """What the use cases find: people, and things in every state they need."""

    site: Site
    technician: User
    manager: User
    second: User


def table_of(name: str) -> Table:
    found, faults = read_table(f"{name}.toml", (RULES / f"{name}.toml").read_text())
    assert not faults
    return found


def procedures(text: str = "The maker's figure.") -> ProcedureTable:
    found, faults = read_procedures("masks.toml", OPEN.replace("The maker's figure.", text))
    assert not faults
    return found


def item(tag: str) -> Item:
    return Item.objects.select_related("type", "site").get(tag=tag)


def make_register() -> Register:
    """Make two masks in service, one out of service, one condemned, a set, a filling point."""
    make_roles()
    load_rules([table_of(name) for name in (*TABLES, "us-own-cylinders")])
    load_procedures([procedures()], at=AT - timedelta(days=1))
    site = Site(code="WS", name="Workshop", timezone="Europe/Vienna")
    save_site(site, tables=TABLES[:2])
    people = [
        add_person(username=name, full_name=name.title(), role=role, site=site, password=PASSWORD)
        for name, role in (
            ("tekla", Role.TECHNICIAN),
            ("manfrid", Role.MANAGER),
            ("marek", Role.MANAGER),
        )
    ]
    register = Register(site, *people)
    masks = [make_item(site, tag) for tag in ("M1", "M2")]
    shed = Site.objects.create(code="SH", name="Shed that asks nothing", timezone="Europe/Vienna")
    masks += [make_item(shed, tag) for tag in ("M3", "M4")]
    log_service(item=masks[0], service=a_test(site), user=register.technician, entry_key="first")
    withdraw(item=masks[2], reason=WHY, user=register.technician, entry_key="out")
    condemn(item=masks[3], reason=WHY, user=register.manager, entry_key="end")
    make_item(site, "G1", "instrument", model="Bench 3")
    set_item = make_item(site, "S1", "set", model="Ravine")
    approve(set_item, masks[0])
    fit(set_item=set_item, part=masks[0], on=today_at(site), by=None, entry_key="fit")
    make_filling_point(site, register.technician)
    for _ in range(2):
        propose_rule(Draft(site, today_at(site), OWN_RULE), by=register.manager)
    return register


@world_fixture
def register(db: None) -> Register:
    return make_register()


def a_test(site: Site, note: str = "") -> Service:
    return Service("tightness-test", today_at(site), "pass", "Tekla", note=note)


def _correct(r: Register) -> Record:
    """Undo a condemnation, which a second person signs."""
    record = Record.objects.get(entry_key="end")
    return correct_record(
        record=record,
        service=None,
        reason=WHY,
        user=r.technician,
        entry_key="c",
        second=r.second,
        signed=True,
    )


def _sign(r: Register) -> object:
    record = Record.objects.get(entry_key="first")
    return sign(record=record, user=r.technician, meaning="performed", at=AT, zone="Europe/Vienna")


def _save_item(r: Register) -> Item:
    cylinder, made = item("C0001"), today_at(r.site) - timedelta(days=9000)
    known = {name: getattr(cylinder, name) for name in BLANK}
    return save_item(
        cylinder,
        tag=cylinder.tag,
        kind="cylinder",
        maker=cylinder.type.maker,
        model=cylinder.type.model,
        site=r.site,
        attributes={**known, "serial": cylinder.serial, "made_on": made},
        user=r.manager,
        why=WHY,
    )


def _load_rules(r: Register) -> object:
    """Load a table of which one row changed, and one ended."""
    table = table_of(TABLES[2])
    first, *rest = table.rules
    changed = replace(table, rules=(replace(first, source="another clause"), *rest[1:]))
    return load_rules([changed], user=r.manager, why=WHY)


def _approve_rule(r: Register) -> int:
    return approve_rule(RuleProposal.objects.order_by("pk")[0], by=r.second)


def _reject_rule(r: Register) -> None:
    reject_rule(RuleProposal.objects.order_by("pk")[1], by=r.second, reason=WHY)


def _swap(r: Register) -> object:
    on = today_at(r.site)
    return fit(set_item=item("S1"), part=item("M2"), on=on, by=r.technician, entry_key="swap")


def _take_out(r: Register) -> object:
    fitting = item("S1").fittings.get(removed_on=None)
    return take_out(fitting=fitting, on=today_at(r.site), by=r.technician, entry_key="take")


def _fill(r: Register) -> Record:
    reading = GaugeReading(Decimal(300), Decimal(15))
    who, air = r.technician, item("P1")
    return log_fill(item=item("C0001"), compressor=air, reading=reading, user=who, entry_key="f")


def _load_procedures(_: Register) -> object:
    """Load a table of which one procedure changed."""
    return load_procedures([procedures("The maker's own figure.")], at=AT)


def _limit(r: Register) -> object:
    limit = Limit(None, Decimal("0.5"), UNITS["mbar"], "manual 7.1", "maker")
    return set_type_limit(of=item("M1").type, reading="leak", limit=limit, by=r.manager, at=AT)


def _grant(r: Register) -> object:
    day = today_at(r.site)
    return grant_authorisation(
        person=r.technician, task=EVERY_TASK, valid_from=day, valid_until=None, user=r.manager
    )


def _state_type(r: Register) -> object:
    named = item("M1").type
    facts = {**{name: getattr(named, name) for name in TYPE_FACTS}, "mass_kg": Decimal("0.6")}
    return state_type(named, facts=facts, approved=[], by=r.manager, at=AT, why=WHY)


def _state_serving(r: Register) -> object:
    serving = Serving(("mask-test-bench",))
    return state_serving(item("G1").type, serving=serving, by=r.manager, at=AT, why=WHY)


def _log(r: Register) -> Record:
    return log_service(
        item=item("M1"),
        service=a_test(r.site, "anew"),
        user=r.technician,
        entry_key="s",
        signed=True,
    )


def _save_site(r: Register) -> int:
    return save_site(Site.objects.get(code="WS"), tables=TABLES, user=r.manager, why=WHY)


def _add_person(r: Register) -> User:
    return add_person(
        username="audra",
        full_name="Audra",
        role=Role.AUDITOR,
        site=r.site,
        password=PASSWORD,
        user=r.manager,
    )


def _print(r: Register) -> object:
    return make(SERVICE_RECORD, item("M1"), user=r.technician)


def _standing(deed: Callable[..., Record], tag: str, r: Register) -> Record:
    return deed(item=item(tag), reason=WHY, user=r.manager, entry_key=f"decide {tag}", signed=True)


USE_CASES: dict[str, Callable[[Register], object]] = {
    "log_service": _log,
    "correct_record": _correct,
    "sign": _sign,
    "save_item": _save_item,
    "state_type": _state_type,
    "state_serving": _state_serving,
    "save_site": _save_site,
    "load_rules": _load_rules,
    "approve_rule": _approve_rule,
    "reject_rule": _reject_rule,
    "load_procedures": _load_procedures,
    "set_type_limit": _limit,
    "fit": _swap,
    "take_out": _take_out,
    "withdraw": partial(_standing, withdraw, "M2"),
    "return_to_service": partial(_standing, return_to_service, "M3"),
    "grant_authorisation": _grant,
    "add_person": _add_person,
    "log_fill": _fill,
    "make": _print,
}
"""By the name of the action; in an order in which all of them can be done, one after another."""

"""Who may do what is asked by the use case itself, so that no command or page passes it by."""

import ast
import importlib
import inspect
import textwrap
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.contrib.auth.models import AnonymousUser, User
from django.db import connection
from django.test.utils import CaptureQueriesContext

from registry.items.models import Item
from registry.people.actions.accounts import close_account
from registry.people.actions.authorisations import grant_authorisation
from registry.people.actions.rights import NotAllowed
from registry.people.pure import WHO_MAY, Right, Role
from registry.sites.clock import now, today_at
from registry.sites.models import Site
from reports.documents.actions import SERVICE_RECORD, make
from servicing.bench.actions.batches import (
    add_to_batch,
    answer_in_batch,
    complete_batch,
    discard_batch,
)
from servicing.bench.actions.drafts import answer_step, begin_again, keep_setting
from servicing.bench.actions.thrown import bring_back_batch, bring_back_draft
from servicing.bench.models import Batch, Draft
from servicing.bench.pure.answers import Given
from servicing.due.actions.corrections import correct_record, reach_of_correction
from servicing.due.actions.services import Service, ServiceRefused, log_service
from servicing.ledger.models import Record
from servicing.papers.models import Paper
from tests.people import make_person
from tests.work_in_hand import begin_work

ROOT = Path(__file__).resolve().parent.parent
INNER = "a step of other use cases, which ask first; no page and no command calls it"
READS = "reads or works out, and writes nothing"
UNDONE = "does what it is given and undoes it, to say what that would move"
MACHINE = "the machine's own: when it is installed or starts, or the dates are reckoned anew"
DEMO = "the invented fleet, into an empty register, by whoever starts the demo"
GUARD = "asks for rights itself"
OWN_WORDS = "what somebody typed, kept for nobody but themselves"
SESSION = "signing in and out, whoever it is"
OPEN = {
    "registry.bulk.actions.count_afresh": INNER,
    "registry.bulk.actions.insert_rows": INNER,
    "registry.items.actions.keep_former_tag": INNER,
    "registry.items.actions.keep_versions": INNER,
    "registry.items.actions.move_items": INNER,
    "registry.items.actions.write_item": INNER,
    "registry.lists.actions.digest_of": READS,
    "registry.lists.actions.write_fittings": INNER,
    "registry.lists.actions.write_register": INNER,
    "registry.lists.actions.write_sites": INNER,
    "registry.people.actions.accounts.end_sessions": INNER,
    "registry.people.actions.accounts.make_roles": MACHINE,
    "registry.people.actions.kept.keep": OWN_WORDS,
    "registry.people.actions.kept.keep_sent": OWN_WORDS,
    "registry.people.actions.kept.let_go": OWN_WORDS,
    "registry.people.actions.presence.begin_session": SESSION,
    "registry.people.actions.presence.end_session": SESSION,
    "registry.people.actions.presence.prove_presence": SESSION,
    "registry.people.actions.presence.second_person": SESSION,
    "registry.people.actions.rights.only": GUARD,
    "registry.people.actions.rights.refuse_unless": GUARD,
    "registry.people.actions.security.security": MACHINE,
    "registry.people.actions.tries.begin_try": SESSION,
    "registry.people.actions.tries.right_password": SESSION,
    "registry.sets.actions.close_row": INNER,
    "registry.sets.actions.fit_part": INNER,
    "registry.sets.actions.remove_part": INNER,
    "registry.sites.actions.keep_versions": INNER,
    "registry.trail.actions.called": READS,
    "registry.trail.actions.lock_trail": INNER,
    "registry.trail.actions.note": INNER,
    "registry.trail.actions.note_all": INNER,
    "servicing.bench.actions.drafts.unsaved": READS,
    "servicing.bench.actions.hand.refuse_others": GUARD,
    "servicing.bench.actions.signing.effect_of_works": READS,
    "servicing.bench.actions.signing.refusals_of": READS,
    "servicing.bench.actions.signing.service_of": READS,
    "servicing.bench.actions.signing.services_of": READS,
    "servicing.demo.actions.fleet.make_demo": DEMO,
    "servicing.demo.actions.lists.bring_in_fittings": DEMO,
    "servicing.demo.actions.lists.bring_in_history": DEMO,
    "servicing.demo.actions.lists.bring_in_register": DEMO,
    "servicing.demo.actions.lists.bring_in_sites": DEMO,
    "servicing.due.actions.corrections.reach_of_correction": UNDONE,
    "servicing.due.actions.local_rules.preview_draft": UNDONE,
    "servicing.due.actions.local_rules.preview_whole": UNDONE,
    "servicing.due.actions.preview.done_and_fallen": UNDONE,
    "servicing.due.actions.preview.moved_and_fallen": UNDONE,
    "servicing.due.actions.preview.moving": INNER,
    "servicing.due.actions.preview.reach_of": UNDONE,
    "servicing.due.actions.preview.turnout_of": UNDONE,
    "servicing.due.actions.register.follow": INNER,
    "servicing.due.actions.register.preview_rules": UNDONE,
    "servicing.due.actions.services.enter": INNER,
    "servicing.due.actions.services.enter_all": INNER,
    "servicing.due.actions.services.sign_what_is_entered": INNER,
    "servicing.due.actions.services.told_by": READS,
    "servicing.due.actions.sets.bring_here": INNER,
    "servicing.due.actions.standing.may_condemn": READS,
    "servicing.due.actions.store.recompute": MACHINE,
    "servicing.due.actions.store.refresh": INNER,
    "servicing.hydrostatic.actions.consignments.turnout_when_gone": UNDONE,
    "servicing.hydrostatic.actions.results.log_retest": INNER,
    "servicing.ledger.actions.append_records": INNER,
    "servicing.ledger.actions.measured_afresh": MACHINE,
    "servicing.ledger.actions.sign": INNER,
    "servicing.ledger.actions.took_part": READS,
    "servicing.oversight.actions.begin_serving": MACHINE,
    "servicing.oversight.actions.note_program": MACHINE,
    "servicing.papers.actions.keep_paper": INNER,
    "servicing.rules.actions.add_local_rule": INNER,
    "servicing.rules.actions.adopt_for_all_days": INNER,
    "servicing.rules.actions.end_local_rule": INNER,
    "servicing.rules.actions.load_tables": INNER,
}
"""What writes, or names a person, and asks for no right, with the reason."""

WRITES = {
    *("save", "create", "bulk_create", "get_or_create", "update_or_create", "update", "delete"),
    *("execute", "executemany"),
}


def actions() -> Iterator[tuple[str, Callable[..., Any]]]:
    """Yield every public function of a module of actions, with its full name."""
    for app in ("registry", "servicing", "reports"):
        for path in sorted((ROOT / app).glob("*/actions*")):
            files = sorted(path.glob("*.py")) if path.is_dir() else [path]
            for file in files:
                name = ".".join(file.relative_to(ROOT).with_suffix("").parts)
                module = importlib.import_module(name.removesuffix(".__init__"))
                for each, found in vars(module).items():
                    own = inspect.isfunction(found) and found.__module__ == module.__name__
                    if own and not each.startswith("_"):
                        yield f"{module.__name__}.{each}", found


def person_of(action: Callable[..., Any]) -> str:
    """Return the argument by which an action is told who does it; empty where it has none."""
    taken = inspect.signature(action).parameters
    return next((name for name in ("user", "by") if name in taken), "")


ACTIONS = dict(actions())
GUARDED = {name: found for name, found in ACTIONS.items() if hasattr(found, "right")}


def tried(action: Callable[..., Any], person: object) -> list[str]:
    """Return what was written when somebody without the right tried an action.

    Its other arguments are no sound ones: it has to refuse before it looks at them.
    """
    arguments = dict.fromkeys(inspect.signature(action).parameters)
    with (
        CaptureQueriesContext(
            connection,
        ) as asked,
        pytest.raises(NotAllowed),
    ):
        action(**{**arguments, person_of(action): person})
    return [row["sql"] for row in asked if not row["sql"].startswith("SELECT")]


def called_by(function: Callable[..., Any]) -> set[str]:
    """Return the names of what a function calls, and what private ones of its file call."""
    module, names = inspect.getmodule(function), set[str]()
    waiting = [inspect.unwrap(function)]
    while waiting:
        tree = ast.parse(textwrap.dedent(inspect.getsource(waiting.pop())))
        found = {
            node.func.attr if isinstance(node.func, ast.Attribute) else node.func.id
            for node in ast.walk(tree)
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute | ast.Name)
        }
        own = (getattr(module, name, None) for name in found - names if name.startswith("_"))
        waiting += [each for each in own if inspect.isfunction(each)]
        names |= found
    return names


def short(names: Iterable[str]) -> set[str]:
    return {name.rpartition(".")[2] for name in names}


INNERS = short(name for name, why in OPEN.items() if why == INNER)


def test_every_action_that_writes_or_names_a_person_asks_for_a_right_or_says_why_not() -> None:
    """What it writes by is known by name: the tables' own words, and the actions that write."""
    writing = WRITES | INNERS | short(GUARDED)
    rest = ACTIONS.keys() - GUARDED.keys()
    asked = {
        name for name in rest if person_of(ACTIONS[name]) or called_by(ACTIONS[name]) & writing
    }
    assert asked - OPEN.keys() == set()
    assert OPEN.keys() <= rest
    assert len(GUARDED) > 50


def test_what_is_said_to_write_nothing_calls_nothing_that_writes() -> None:
    writing = (WRITES - {"update"}) | INNERS | short(GUARDED)
    for name in [name for name, why in OPEN.items() if why == READS]:
        assert not called_by(ACTIONS[name]) & writing, name


def test_a_use_case_refuses_everybody_who_has_not_its_right_and_writes_nothing(
    technician: User, manager: User, auditor: User, stranger: User, left: User
) -> None:
    roles = {Role.TECHNICIAN: technician, Role.MANAGER: manager, Role.AUDITOR: auditor}
    for name, action in GUARDED.items():
        refused = [who for role, who in roles.items() if role not in WHO_MAY[action.right]]
        for person in (*refused, stranger, left, AnonymousUser()):
            assert tried(action, person) == [], (name, person)


@pytest.fixture
def left(manager: User, second_manager: User, station: Site) -> User:
    """A manager whose account is closed, as a request that began before still holds it."""
    person = make_person("lorne", Role.MANAGER, station)
    close_account(User.objects.get(pk=person.pk), user=second_manager)
    assert person.is_active
    return person


def test_nobody_named_is_whoever_types_commands_and_only_where_that_is_foreseen() -> None:
    refusing = [
        name
        for name, action in GUARDED.items()
        if "None" not in str(inspect.signature(action).parameters[person_of(action)].annotation)
    ]
    assert "servicing.due.actions.services.log_service" in refusing
    for name in refusing:
        with pytest.raises(NotAllowed):
            GUARDED[name](**{person_of(GUARDED[name]): None})


def test_what_only_the_authorised_may_do_is_refused_without_a_page(
    mask: Item, technician: User, manager: User
) -> None:
    today = today_at(mask.site)
    grant_authorisation(
        person=manager, task="cleaning", valid_from=today, valid_until=None, user=None
    )
    service = Service("cleaning", today, "pass", "Tekla Merrow")
    with pytest.raises(ServiceRefused, match="not authorised for cleaning"):
        log_service(item=mask, service=service, user=technician, entry_key="k")
    assert not Record.objects.exists()


def a_cleaning(mask: Item, by: str, **other: Any) -> Service:
    return Service("cleaning", today_at(mask.site), other.pop("outcome", "pass"), by, **other)


def test_a_correction_asks_the_same_authorisation_as_the_record_it_corrects(
    mask: Item, technician: User, manager: User
) -> None:
    clean = a_cleaning(mask, "Tekla Merrow")
    record = log_service(item=mask, service=clean, user=technician, entry_key="k")
    may_clean: dict[str, Any] = {
        "task": "cleaning",
        "valid_from": today_at(mask.site),
        "valid_until": None,
    }
    grant_authorisation(person=manager, user=None, **may_clean)
    named: dict[str, Any] = {"record": record, "reason": "It leaked again."}
    failed = a_cleaning(mask, "Tekla Merrow", outcome="fail")
    another = Service("tightness-test", today_at(mask.site), "pass", "Tekla Merrow")
    for right in (failed, another, None):
        with pytest.raises(ServiceRefused, match="Tekla Merrow is not authorised for cleaning"):
            correct_record(service=right, user=technician, entry_key="c", **named)
        with pytest.raises(ServiceRefused, match="not authorised for cleaning"):
            reach_of_correction(record, right, reason="It leaked again.", user=technician)
    assert Record.objects.count() == 1
    assert correct_record(service=failed, user=manager, entry_key="c", **named).outcome == "fail"


def test_whoever_corrects_a_record_to_their_own_work_had_to_be_authorised_on_that_day(
    mask: Item, technician: User, manager: User
) -> None:
    today = today_at(mask.site)
    grant_authorisation(
        person=manager, task="cleaning", valid_from=today, valid_until=None, user=None
    )
    clean = a_cleaning(mask, "Ottilie")
    record = log_service(item=mask, service=clean, user=technician, entry_key="k")
    mine = a_cleaning(mask, manager.get_full_name(), authorised="authorisation of another")
    earlier = replace(mine, done_on=today - timedelta(days=1))
    named: dict[str, Any] = {
        "record": record,
        "reason": "It was me.",
        "user": manager,
        "entry_key": "c",
    }
    with pytest.raises(ServiceRefused, match="not authorised for cleaning"):
        correct_record(service=earlier, **named)
    kept = correct_record(service=mine, **named)
    assert kept.authorised.startswith("authorisation")
    assert "another" not in kept.authorised
    assert kept.performed_by_user == manager


@pytest.fixture
def begun(mask: Item, technician: User) -> tuple[Draft, Batch]:
    """A draft and a batch in a technician's hand."""
    batch, _ = begin_work(mask, [technician])
    return Draft.objects.filter(batch=None).get(), Batch.objects.get(pk=batch)


def test_nobody_goes_on_with_work_in_somebody_elses_hand(
    begun: tuple[Draft, Batch], mask: Item, manager: User
) -> None:
    draft, batch = begun
    at, given = now(), Given(word="good")
    theirs: dict[str, Any] = {"draft": draft, "user": manager}
    deeds: list[Callable[[], object]] = [
        lambda: keep_setting(
            **theirs, done_on=draft.done_on, instruments={}, today=at.date(), at=at
        ),
        lambda: answer_step(**theirs, step="condition", given=given, at=at),
        lambda: answer_in_batch(**theirs, given={"condition": given}, at=at),
        lambda: begin_again(**theirs, at=at),
        lambda: bring_back_draft(**theirs),
        lambda: add_to_batch(user=manager, batch=batch, item=mask, at=at),
        lambda: discard_batch(user=manager, batch=batch, at=at),
        lambda: bring_back_batch(user=manager, batch=batch),
        lambda: complete_batch(
            user=manager, batch=batch, confirmed=[], seen="", note="", checker=None, at=at
        ),
    ]
    for deed in deeds:
        with pytest.raises(NotAllowed, match="somebody else's hand"):
            deed()


def test_a_paper_is_made_for_nobody_without_a_role(mask: Item, stranger: User) -> None:
    with pytest.raises(NotAllowed):
        make(SERVICE_RECORD, mask, user=stranger)
    assert not Paper.objects.exists()


def test_what_asks_for_no_right_is_called_by_no_page_and_no_command() -> None:
    inner = {name for name, why in OPEN.items() if why == INNER}
    pages = [
        path
        for app in ("registry", "servicing", "reports")
        for path in (ROOT / app).rglob("*.py")
        if {"desk", "commands"} & set(path.parts) or "views" in path.as_posix()
    ]
    assert len(pages) > 60
    reached = [
        f"{path.relative_to(ROOT)}: {node.module}.{each.name}"
        for path in pages
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.ImportFrom)
        for each in node.names
        if f"{node.module}.{each.name}" in inner
    ]
    assert reached == []


def test_every_right_is_somebodys_and_a_manager_may_do_all_but_review() -> None:
    assert set(WHO_MAY) == set(Right)
    without = [right for right, roles in WHO_MAY.items() if Role.MANAGER not in roles]
    assert without == [Right.REVIEW]

"""Who may do what is asked by the use case itself, so that no command or page passes it by."""

import ast
import importlib
import inspect
from collections.abc import Callable, Iterator
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
from registry.sites.clock import today_at
from registry.sites.models import Site
from servicing.due.actions.services import Service, ServiceRefused, log_service
from servicing.ledger.models import Record
from tests.people import make_person

ROOT = Path(__file__).resolve().parent.parent
INNER = "a step of other use cases, which ask first; no page and no command calls it"
READS = "reads or works out, and writes nothing"
OWN_WORDS = "what somebody typed, kept for nobody but themselves"
SESSION = "signing in and out, whoever it is"
OPEN = {
    "registry.lists.actions.write_fittings": INNER,
    "registry.people.actions.kept.keep": OWN_WORDS,
    "registry.people.actions.kept.let_go": OWN_WORDS,
    "registry.people.actions.presence.begin_session": SESSION,
    "registry.people.actions.presence.end_session": SESSION,
    "registry.people.actions.rights.refuse_unless": READS,
    "registry.sets.actions.close_row": INNER,
    "registry.sets.actions.fit_part": INNER,
    "registry.sets.actions.remove_part": INNER,
    "registry.trail.actions.called": READS,
    "registry.trail.actions.note": INNER,
    "registry.trail.actions.note_all": INNER,
    "servicing.bench.actions.drafts.unsaved": READS,
    "servicing.bench.actions.signing.effect_of_works": READS,
    "servicing.bench.actions.signing.refusals_of": READS,
    "servicing.bench.actions.signing.service_of": READS,
    "servicing.bench.actions.signing.services_of": READS,
    "servicing.due.actions.corrections.reach_of_correction": READS,
    "servicing.due.actions.services.enter": INNER,
    "servicing.due.actions.services.enter_all": INNER,
    "servicing.due.actions.services.sign_what_is_entered": INNER,
    "servicing.due.actions.services.told_by": READS,
    "servicing.due.actions.sets.bring_here": INNER,
    "servicing.due.actions.standing.may_condemn": READS,
    "servicing.hydrostatic.actions.results.log_retest": INNER,
    "servicing.ledger.actions.append_records": INNER,
    "servicing.ledger.actions.sign": INNER,
    "servicing.ledger.actions.took_part": READS,
    "servicing.papers.actions.keep_paper": INNER,
}
"""The actions that name a person and ask for no right, with the reason."""


def actions() -> Iterator[tuple[str, Callable[..., Any]]]:
    """Yield every public action that is told who does it, with its full name."""
    for app in ("registry", "servicing"):
        for path in sorted((ROOT / app).glob("*/actions*")):
            files = sorted(path.glob("*.py")) if path.is_dir() else [path]
            for file in files:
                name = ".".join(file.relative_to(ROOT).with_suffix("").parts)
                module = importlib.import_module(name.removesuffix(".__init__"))
                for each, found in vars(module).items():
                    own = inspect.isfunction(found) and found.__module__ == module.__name__
                    if own and not each.startswith("_") and person_of(found):
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


def test_every_action_that_names_a_person_asks_for_a_right_or_says_why_not() -> None:
    assert ACTIONS.keys() - GUARDED.keys() == OPEN.keys()
    assert len(GUARDED) > 40


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

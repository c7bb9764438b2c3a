"""Making the roles, and giving people an account, a role and a site. No account is deleted."""

from typing import Any

from django.contrib.auth.models import Group, User
from django.contrib.auth.password_validation import validate_password
from django.contrib.sessions.models import Session
from django.core.exceptions import ValidationError
from django.db import DEFAULT_DB_ALIAS, connections, transaction

from registry.lettering.pure import signs_named, unprintable
from registry.people.actions.rights import only
from registry.people.actions.security import security
from registry.people.models import PersonVersion, Posting
from registry.people.pure import Right, Role, folded, typed
from registry.people.queries import role_of
from registry.sites.clock import now
from registry.sites.models import Site
from registry.trail.actions import called, note
from registry.trail.models import TrailEntry
from registry.trail.pure import differences

_MANAGERS = "Only a fleet manager may change accounts."


class PersonRefused(ValueError):
    """A change of somebody's account that can't be; the text says why and what to do."""


def make_roles(*, using: str = DEFAULT_DB_ALIAS, **_: Any) -> None:
    """Make the groups that stand for the roles, where they don't exist yet.

    Called after every migration, also one that has not come to the groups' table yet.
    """
    if Group._meta.db_table in connections[using].introspection.table_names():
        for role in Role:
            Group.objects.using(using).get_or_create(name=role.value)


@only(Right.MANAGE, _MANAGERS)
@transaction.atomic
def add_person(
    *,
    username: str,
    full_name: str,
    role: Role,
    site: Site,
    password: str,
    user: User | None = None,
) -> User:
    """Give somebody an account with a role at a site.

    user: the manager who does it; None for the command line. Raises ValidationError where
    the name is taken or was ever somebody's, in other capitals too, or the password is too
    weak; then nothing is written.
    """
    if folded(username) in _names_ever():
        raise ValidationError(f"The name {username} is taken; choose another.")
    person = User(username=User.normalize_username(username))
    _name(person, full_name)
    _set_password(person, password)
    person.save()
    _keep(person, role=role, site=site, before=None, user=user)
    return person


@only(Right.MANAGE, _MANAGERS)
@transaction.atomic
def change_person(
    person: User,
    *,
    full_name: str,
    role: Role,
    site: Site,
    user: User | None = None,
    why: str = "",
) -> User:
    """Change what somebody is called, may do, or where; the account's name stays for ever.

    Raises PersonRefused where a manager changes their own role, or takes it from the last
    one; then nothing is written.
    """
    _one_at_a_time()
    person.refresh_from_db()
    before = _as_told(person)
    if role is not role_of(person):
        if user == person:
            raise PersonRefused("Nobody changes their own role; ask another manager.")
        _not_the_last(person)
    _name(person, full_name)
    person.save()
    _keep(person, role=role, site=site, before=before, user=user, why=why)
    return person


@only(Right.MANAGE, _MANAGERS)
@transaction.atomic
def close_account(person: User, *, user: User | None = None, why: str = "") -> None:
    """Close an account for good and end its sessions at once. Nothing of it is deleted.

    Raises PersonRefused for one's own account and for the last manager's.
    """
    _one_at_a_time()
    person.refresh_from_db()
    if not person.is_active:
        return
    if user == person:
        raise PersonRefused("Nobody closes their own account; ask another manager.")
    _not_the_last(person)
    before, role = _as_told(person), role_of(person)
    site = Site.objects.filter(postings__user=person).first()
    person.is_active = False
    person.set_unusable_password()
    person.save()
    end_sessions(person)
    _keep(person, role=role, site=site, before=before, user=user, why=why)


@only(Right.MANAGE, _MANAGERS)
@transaction.atomic
def set_password(person: User, *, password: str, user: User | None, why: str = "") -> None:
    """Give somebody another password, and end their sessions.

    Raises ValidationError, and PersonRefused for one's own, which asks for the old one.
    """
    if user == person:
        raise PersonRefused("Change your own password under your name, with the one you have.")
    _set_password(person, password)
    person.save(update_fields=["password"])
    end_sessions(person)
    told = {"password": "set anew"}
    note(what="person", subject=person.username, after=told, why=why, by=user, at=now())
    _log("password-set", person, user)


@only(Right.READ)
@transaction.atomic
def change_own_password(*, user: User, password: str, session_key: str | None) -> None:
    """Give somebody the password they chose, and end all their sessions but the one in hand.

    The caller has made sure, by the old password, that it is them. Raises ValidationError.
    """
    _set_password(user, password)
    user.save(update_fields=["password"])
    end_sessions(user, but=session_key)
    told = {"password": "changed by its owner"}
    note(what="person", subject=user.username, after=told, by=user, at=now())
    _log("password-changed", user, user)


def end_sessions(person: User, *, but: str | None = None) -> None:
    """Sign somebody out wherever they are signed in; but: the key of the session that stays."""
    for session in Session.objects.exclude(session_key=but):
        if session.get_decoded().get("_auth_user_id") == str(person.pk):
            session.delete()


def _one_at_a_time() -> None:
    """Keep two managers from taking the role from each other at once."""
    list(Group.objects.select_for_update().filter(name=Role.MANAGER.value))


def _not_the_last(person: User) -> None:
    others = User.objects.filter(is_active=True, groups__name=Role.MANAGER.value)
    if role_of(person) is Role.MANAGER and not others.exclude(pk=person.pk).exists():
        raise PersonRefused("This is the last manager; make somebody else one first.")


def _names_ever() -> set[str]:
    """Return every account's name there is or ever was."""
    kept = TrailEntry.objects.filter(what="person").values_list("subject", flat=True)
    return {folded(n) for n in (*User.objects.values_list("username", flat=True), *kept)}


def _name(person: User, full_name: str) -> None:
    if lacking := unprintable(full_name):
        raise ValidationError(f"Paper can't show {signs_named(lacking)}: write the name without.")
    person.first_name, _, person.last_name = " ".join(full_name.split()).partition(" ")
    person.clean_fields(exclude=["password"])


def _set_password(person: User, password: str) -> None:
    validate_password(typed(password), person)
    person.set_password(typed(password))


def _as_told(person: User) -> dict[str, object]:
    """Return an account as the trail tells it."""
    posting = Posting.objects.select_related("site").filter(user=person).first()
    return {
        "account": person.username,
        "name": person.get_full_name(),
        "role": role_of(person) or "",
        "site": posting.site.code if posting else "",
        "account is": "open" if person.is_active else "closed",
    }


def _keep(
    person: User,
    *,
    role: Role | None,
    site: Site | None,
    before: dict[str, object] | None,
    user: User | None,
    why: str = "",
) -> None:
    """Give the role and the site, and keep that in the person's versions and in the trail."""
    if site is not None:
        Posting.objects.update_or_create(user=person, defaults={"site": site})
    if person.is_active and role is not None:
        person.groups.set([Group.objects.get(name=role.value)])
    was, becomes = differences(before or {}, _as_told(person))
    if not becomes:
        return
    at = now()
    PersonVersion.objects.create(
        user=person,
        known_from=at,
        name=person.get_full_name(),
        role=role.value if role else "",
        site=site,
        is_open=person.is_active,
        by=called(user),
    )
    old = None if before is None else was
    note(what="person", subject=person.username, before=old, after=becomes, why=why, by=user, at=at)
    _log("rights-changed", person, user)


def _log(what: str, person: User, user: User | None) -> None:
    if user is not None:  # who types commands has the machine; the trail names them
        security(what, account=person.username, by=user.username)

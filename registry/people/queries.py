"""Who somebody is to the program: role, site, what the role may do, and which tasks."""

from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.conf import settings
from django.contrib.auth.models import Group, User
from django.core.exceptions import PermissionDenied
from django.db.models import Q, QuerySet
from django.http import HttpRequest

from registry.people.models import EVERY_TASK, Authorisation, KeptForm, PersonVersion
from registry.people.pure import (
    DEMO_PREFIX,
    ENDS_SOON,
    KEPT_FOR,
    WHO_MAY,
    Right,
    Role,
)
from registry.sites.clock import now
from registry.sites.models import Site
from registry.wording.pure.dates import day_words

SHOWN_BEFORE = "shown "
"""Stands before the address of a form that is shown and was not sent too late."""
_ROLE_TO_SHOW = "_role_to_show"


@dataclass(frozen=True, slots=True)
class Viewer:
    """The person signed in, for the head of every page."""

    name: str
    role: Role
    site: Site | None

    @property
    def may_record(self) -> bool:
        """Whether the person may enter services and edit items."""
        return self.role in WHO_MAY[Right.RECORD]

    @property
    def may_manage(self) -> bool:
        """Whether the person may change sites and what they have adopted."""
        return self.role in WHO_MAY[Right.MANAGE]


class PersonRequest(HttpRequest):
    """A request of somebody who is signed in."""

    user: User


def role_of(user: User) -> Role | None:
    """Return a user's role as it stands; with several groups the one with the most rights."""
    groups = Group.objects.filter(user__pk=user.pk, user__is_active=True)
    names = set(groups.values_list("name", flat=True)) if user.is_active else set()
    role = next((role for role in Role if role.value in names), None)
    setattr(user, _ROLE_TO_SHOW, role)
    return role


def role_to_show(user: User) -> Role | None:
    """Return the role that was found of this user last, on this page: for what only shows it.

    So the doors ask once for each request and nothing that is drawn asks again. Whatever
    lets somebody do something asks `may`, which looks afresh.
    """
    return getattr(user, _ROLE_TO_SHOW) if hasattr(user, _ROLE_TO_SHOW) else role_of(user)


def may(user: User, right: Right) -> bool:
    """Say whether somebody has a right: by their role as it stands now, the account open."""
    return role_of(user) in WHO_MAY[right]


def viewer_of(user: User) -> Viewer:
    """Return who a user is to the program. Raises PermissionDenied without a role."""
    role = role_to_show(user)
    if role is None:
        raise PermissionDenied("Your account has no role yet; ask the fleet manager for one.")
    posting = getattr(user, "posting", None)
    return Viewer(user.get_full_name() or user.get_username(), role, posting and posting.site)


def zone_of(user: User) -> str:
    """Return the zone whose clock somebody's pages go by: that of their site.

    Every moment on a page, and every one that is typed into it, is one of this zone; the
    foot of the page says so once. Moments are kept, hashed and exported in UTC.
    """
    posting = getattr(user, "posting", None)
    return posting.site.timezone if posting else "UTC"


DEMO_IS_LOCAL = "The demo's accounts work only where the program is local."


def works_here(user: User) -> bool:
    """Say whether an account counts: the demo's, whose passwords are public, on loopback only."""
    return settings.ON_LOOPBACK_ONLY or not user.get_username().startswith(DEMO_PREFIX)


@dataclass(frozen=True, slots=True)
class Bar:
    """What bars somebody from signing second: the sentence for the page, `why` for the trail."""

    sentence: str
    why: str


def why_not_second(person: User, *, beside: User) -> Bar | None:
    """Return why somebody may not sign as second person; None where they may.

    The one place that decides it, for the door at the screen and for the use cases behind it.
    That they had no part in the record itself is asked where it is signed (`took_part`).
    """
    name = person.get_full_name() or person.get_username()
    if person.pk == beside.pk:
        return Bar(
            f"Second person: {name} did or enters this; somebody else must sign.",
            "did or enters this themselves",
        )
    if not works_here(person):
        return Bar(
            f"Second person: {DEMO_IS_LOCAL}",
            "an account of the demo",
        )
    if not may(person, Right.RECORD):
        return Bar(f"Second person: {name} may not record services.", "may not record services")
    return None


@dataclass(frozen=True, slots=True)
class PersonRow:
    """What a person is, or was on a past day.

    since, granted_by: when they were given the role they have, and by whom; None and ""
    where that was not kept.
    """

    pk: int
    username: str
    name: str
    role: str
    site: str
    is_open: bool
    since: datetime | None
    granted_by: str


def people_as_of(moment: datetime | None = None) -> list[PersonRow]:
    """Return everybody who has or had an account, as they stood at a moment or now, by name."""
    versions = PersonVersion.objects.select_related("user", "site").order_by("known_from", "pk")
    found: dict[int, PersonRow] = {}
    for row in versions if moment is None else versions.filter(known_from__lte=moment):
        fresh = _row(row)
        held = found.get(fresh.pk)
        if held and (held.role, held.is_open) == (fresh.role, fresh.is_open):
            fresh = replace(fresh, since=held.since, granted_by=held.granted_by)
        found[fresh.pk] = fresh
    if moment is None:
        found |= {user.pk: _unkept(user) for user in User.objects.exclude(pk__in=found)}
    return sorted(found.values(), key=lambda row: (not row.is_open, row.name.casefold()))


def _row(version: PersonVersion) -> PersonRow:
    return PersonRow(
        pk=version.user_id,
        username=version.user.get_username(),
        name=version.name,
        role=version.role,
        site=str(version.site or ""),
        is_open=version.is_open,
        since=version.known_from,
        granted_by=version.by,
    )


def _unkept(user: User) -> PersonRow:
    """Return somebody whose account was made past the program."""
    name = user.get_full_name() or user.get_username()
    posting = getattr(user, "posting", None)
    site = str(posting.site) if posting else ""
    role = role_of(user) or ""
    return PersonRow(user.pk, user.get_username(), name, role, site, user.is_active, None, "")


class NotAuthorised(ValueError):
    """Somebody may not do a task on a day; the text says so and what to do."""


def authorisation_of(
    user: User, task: str, on: date, known_by: datetime | None = None
) -> Authorisation | None:
    """Return the authorisation that lets a person do a task on a day, None without one.

    One for the task itself goes before one for all tasks, then the one that lasts longest.
    The last day is a good day; the day on which it was taken back is not. known_by: as it
    was known at that moment.
    """
    rows = _known(known_by).filter(user=user, task__in=[task, EVERY_TASK], valid_from__lte=on)
    rows = rows.filter(Q(valid_until=None) | Q(valid_until__gte=on))
    good = [row for row in rows if _ended_on(row, user, known_by) > on]
    return max(good, key=lambda r: (r.task == task, r.valid_until or date.max, r.pk), default=None)


def needs_authorisation(task: str, known_by: datetime | None = None) -> bool:
    """Say whether a task is for authorised people only.

    It is as soon as anybody was ever authorised for it by name. One for all tasks does not
    count: given to one person, it would shut everybody else out of everything.
    """
    return _known(known_by).filter(task=task).exists()


def authorised_text(user: User, task: str, on: date, known_by: datetime | None = None) -> str:
    """Return by what somebody may do a task on a day, in words for the record.

    Raises NotAuthorised where the task is for authorised people and they are not.
    """
    found = authorisation_of(user, task, on, known_by)
    if found is not None:
        until = f"until {day_words(found.valid_until)}" if found.valid_until else "without an end"
        what = "all tasks" if found.task == EVERY_TASK else found.task
        number = f"authorisation {found.pk}"
        return (
            f"{number}: {what}, from {day_words(found.valid_from)} {until}, by {found.granted_by}"
        )
    if needs_authorisation(task, known_by):
        name = user.get_full_name() or user.get_username()
        raise NotAuthorised(
            f"{name} is not authorised for {task.replace('-', ' ')} on {day_words(on)}; "
            "ask the fleet manager, or have it done by somebody who is."
        )
    return "no authorisation is kept for this task"


def authorisations_of(user: User) -> list[Authorisation]:
    """Return everything somebody was ever authorised for, the latest first."""
    return list(Authorisation.objects.filter(user=user).order_by("-valid_from", "-pk"))


def authorisations_in_force(on: date) -> dict[int, dict[str, Authorisation]]:
    """Return who may do what on a day: by account and task, the one that lasts longest."""
    found: dict[int, dict[str, Authorisation]] = {}
    for row in _every_row():
        if row.valid_from <= on <= _last_day(row):
            held = found.setdefault(row.user_id, {})
            if row.task not in held or _last_day(row) > _last_day(held[row.task]):
                held[row.task] = row
    return found


def tasks_by_name() -> list[str]:
    """Return the tasks that are for authorised people only; see `needs_authorisation`."""
    rows = Authorisation.objects.exclude(task=EVERY_TASK).order_by("task")
    return list(rows.values_list("task", flat=True).distinct())


def authorisations_ending(on: date, user: User | None = None) -> list[Authorisation]:
    """Return what ends within ENDS_SOON of a day, or ended that short a time ago, by its end.

    user: whose; None for everybody whose account is open. What another one follows, and what
    was taken back, is left out.
    """
    rows = [row for row in _every_row() if row.user.is_active and row.ended_at is None]
    ends = [row for row in rows if abs(_last_day(row) - on) <= ENDS_SOON and row.valid_from <= on]
    found = [
        row
        for row in ends
        if (user is None or row.user_id == user.pk)
        and not any(_follows(other, row) for other in rows)
    ]
    return sorted(found, key=lambda row: (_last_day(row), row.user_id, row.task))


def _every_row() -> list[Authorisation]:
    return list(Authorisation.objects.select_related("user__posting__site"))


def _follows(other: Authorisation, row: Authorisation) -> bool:
    """Say whether one authorisation goes on where another ends, for the same task or for all."""
    same = other.user_id == row.user_id and other.task in (row.task, EVERY_TASK)
    begins = other.valid_from <= _last_day(row) + timedelta(days=1)
    return same and begins and _last_day(other) > _last_day(row)


def _last_day(row: Authorisation) -> date:
    """Return the last day that an authorisation covers."""
    ended = _ended_on(row, row.user, None)
    taken_back = ended if ended == date.max else ended - timedelta(days=1)
    return min(row.valid_until or date.max, taken_back)


def _known(known_by: datetime | None) -> QuerySet[Authorisation]:
    rows = Authorisation.objects.all()
    return rows if known_by is None else rows.filter(granted_at__lte=known_by)


def _ended_on(row: Authorisation, user: User, known_by: datetime | None) -> date:
    """Return the first day that is no longer covered, at the person's site."""
    if row.ended_at is None or (known_by is not None and row.ended_at > known_by):
        return date.max
    return row.ended_at.astimezone(ZoneInfo(zone_of(user))).date()


def kept_form(user: User, address: str) -> KeptForm | None:
    """Return what somebody typed at an address after their session had ended, None if nothing."""
    return _kept(user).filter(address=address).first()


def kept_for(request: PersonRequest) -> KeptForm | None:
    """Return what waits for whoever opens a form's page; None where they send the form."""
    if request.method != "GET":
        return None
    return kept_form(request.user, request.get_full_path())


def every_kept(user: User) -> list[KeptForm]:
    """Return all that somebody typed after a session of theirs had ended, the latest first."""
    return list(_kept(user).order_by("-kept_at"))


def latest_kept(user: User) -> KeptForm | None:
    """Return what somebody typed last after a session of theirs had ended, None if nothing."""
    return _kept(user).order_by("-kept_at").first()


def previewed_form(user: User, address: str) -> KeptForm | None:
    """Return what somebody sent to an address and is shown there again, None if nothing."""
    fresh = KeptForm.objects.filter(user=user, kept_at__gt=now() - KEPT_FOR)
    return fresh.filter(address=address).first()


def _kept(user: User) -> QuerySet[KeptForm]:
    found = KeptForm.objects.filter(user=user, kept_at__gt=now() - KEPT_FOR)
    return found.exclude(address__startswith=SHOWN_BEFORE)

"""Who somebody is to the program: role, site, and what the role may do."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import wraps
from typing import Any, TypeVar, cast

from django.contrib.auth.models import User
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse

from registry.people.pure import Role
from registry.sites.models import Site

View = TypeVar("View", bound=Callable[..., HttpResponse])


@dataclass(frozen=True, slots=True)
class Viewer:
    """The person signed in, for the head of every page."""

    name: str
    role: Role
    site: Site | None

    @property
    def may_record(self) -> bool:
        """Whether the person may enter services and edit items."""
        return self.role in (Role.TECHNICIAN, Role.MANAGER)

    @property
    def may_manage(self) -> bool:
        """Whether the person may change sites and what they have adopted."""
        return self.role is Role.MANAGER


class PersonRequest(HttpRequest):
    """A request of somebody who is signed in."""

    user: User


def role_of(user: User) -> Role | None:
    """Return a user's role; with several groups the one with the most rights counts."""
    names = set(user.groups.values_list("name", flat=True)) if user.is_active else set()
    return next((role for role in Role if role.value in names), None)


def viewer_of(user: User) -> Viewer:
    """Return who a user is to the program. Raises PermissionDenied without a role."""
    role = role_of(user)
    if role is None:
        raise PermissionDenied("Your account has no role yet; ask the fleet manager for one.")
    posting = getattr(user, "posting", None)
    return Viewer(user.get_full_name() or user.get_username(), role, posting and posting.site)


def viewer(request: HttpRequest) -> dict[str, object]:
    """Give every template the person signed in, where they have a role."""
    user = getattr(request, "user", None)
    if not isinstance(user, User) or role_of(user) is None:
        return {}
    return {"viewer": viewer_of(user)}


def for_roles(*roles: Role) -> Callable[[View], View]:
    """Let only people with one of the roles through; others get 403."""

    def guard(view: View) -> View:
        @wraps(view)
        def guarded(request: PersonRequest, *args: Any, **kwargs: Any) -> HttpResponse:
            if role_of(request.user) not in roles:
                raise PermissionDenied("Your role may not do this; ask the fleet manager.")
            response = view(request, *args, **kwargs)
            # A bench PC is shared: after signing out, Back must show nothing.
            response.setdefault("Cache-Control", "no-store")
            return response

        return cast(View, guarded)

    return guard

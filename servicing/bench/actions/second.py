"""The second person: somebody else who comes to the screen and proves who they are."""

from django.contrib.auth.hashers import make_password
from django.contrib.auth.models import User
from django.db import transaction
from django.http import HttpRequest

from registry.people.actions.presence import address_of
from registry.people.actions.tries import begin_try, right_password
from registry.people.pure import Role, typed
from registry.people.queries import role_of, security
from registry.sites.clock import now
from registry.trail.actions import note


class NotTheSecondPerson(ValueError):
    """Whoever was named did not prove to be there, or may not check; the text says which."""


def second_person(request: HttpRequest, username: str, password: str) -> User:
    """Return who signs as second person, by their own name and password.

    A wrong password counts as a try to sign in and is in the trail. Raises
    NotTheSecondPerson or TooManyTries. Call it before the transaction of what is signed.
    """
    address, first = address_of(request), request.user
    assert isinstance(first, User)  # noqa: S101 (no view is open to others)
    if username.casefold() == first.username.casefold():
        raise NotTheSecondPerson(
            "Second person: who did the work can't also check it; somebody else must sign."
        )
    begin_try(username=username, address=address)
    person = User.objects.filter(username=username, is_active=True).first()
    # The same work for a name that nobody has.
    right = (person or User(password=make_password(""))).check_password(typed(password))
    if person is None or not right:
        _refused(first, "of nobody" if person is None else person.username, address)
        raise NotTheSecondPerson(
            "Second person: the name or the password is not right. Nothing was signed."
        )
    right_password(username=username, address=address)
    if role_of(person) not in (Role.TECHNICIAN, Role.MANAGER):
        raise NotTheSecondPerson(
            f"Second person: {person.get_full_name() or username} may not record services."
        )
    return person


def _refused(first: User, named: str, address: str) -> None:
    """Note a refusal. People type passwords into the field of the name; only names are kept."""
    why = "second person: name or password not right"
    security("signing-refused", account=named, address=address, why=why)
    with transaction.atomic():
        note(what="signing-refused", subject=named, why=why, by=first, at=now())

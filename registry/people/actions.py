"""Making the roles, and giving people an account, a role and a site."""

from typing import Any

from django.contrib.auth.models import Group, User
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import transaction

from registry.people.models import Posting
from registry.people.pure import Role
from registry.sites.models import Site


def make_roles(**_: Any) -> None:
    """Make the groups that stand for the roles, where they don't exist yet."""
    for role in Role:
        Group.objects.get_or_create(name=role.value)


@transaction.atomic
def add_person(*, username: str, full_name: str, role: Role, site: Site, password: str) -> User:
    """Give somebody an account with a role at a site.

    Raises ValidationError where the name is taken, in other capitals too, or the
    password is too weak; then nothing is written.
    """
    if User.objects.filter(username__iexact=username).exists():
        raise ValidationError(f"The name {username} is taken; choose another.")
    first, _, last = full_name.partition(" ")
    user = User(username=username, first_name=first, last_name=last)
    validate_password(password, user)
    user.set_password(password)
    user.save()
    user.groups.set([Group.objects.get(name=role.value)])
    Posting.objects.create(user=user, site=site)
    return user

"""Making the roles, and giving people an account, a role and a site."""

from typing import Any

from django.contrib.auth.models import Group, User
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import DEFAULT_DB_ALIAS, connections, transaction

from registry.people.models import Posting
from registry.people.pure import Role
from registry.sites.models import Site


def make_roles(*, using: str = DEFAULT_DB_ALIAS, **_: Any) -> None:
    """Make the groups that stand for the roles, where they don't exist yet.

    Called after every migration, also one that has not come to the groups' table yet.
    """
    if Group._meta.db_table in connections[using].introspection.table_names():
        for role in Role:
            Group.objects.using(using).get_or_create(name=role.value)


@transaction.atomic
def add_person(*, username: str, full_name: str, role: Role, site: Site, password: str) -> User:
    """Give somebody an account with a role at a site.

    Raises ValidationError where the name is taken, in other capitals too, or the
    password is too weak; then nothing is written.
    """
    if User.objects.filter(username__iexact=username).exists():
        raise ValidationError(f"The name {username} is taken; choose another.")
    first, _, last = full_name.partition(" ")
    user = User(username=User.normalize_username(username), first_name=first, last_name=last)
    user.clean_fields(exclude=["password"])
    validate_password(password, user)
    user.set_password(password)
    user.save()
    user.groups.set([Group.objects.get(name=role.value)])
    Posting.objects.create(user=user, site=site)
    return user

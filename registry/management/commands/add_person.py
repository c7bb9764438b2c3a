"""Give somebody an account."""

import os
from argparse import ArgumentParser
from getpass import getpass
from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError

from registry.management import console
from registry.people.actions import add_person
from registry.people.pure import DEMO_PREFIX, Role


class Command(BaseCommand):
    help = (
        "Give somebody an account with a role at a site. The password is asked for, or taken "
        "from the environment variable NECKRING_PASSWORD.\n"
        "Example: %(prog)s mira --name 'Mira Holt' --role technician --site WS"
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("username")
        parser.add_argument("--name", required=True, help="as printed on records")
        parser.add_argument("--role", required=True, choices=[role.value for role in Role])
        parser.add_argument("--site", required=True, help="the code of a site")

    def handle(self, **options: Any) -> None:
        if options["username"].startswith(DEMO_PREFIX):
            raise CommandError(f"names with {DEMO_PREFIX} are the demo's; choose another")
        site = console.site_with(options["site"])
        password = os.environ.get("NECKRING_PASSWORD") or _asked()
        try:
            add_person(
                username=options["username"],
                full_name=options["name"],
                role=Role(options["role"]),
                site=site,
                password=password,
            )
        except ValidationError as error:
            raise CommandError(" ".join(error.messages)) from error
        self.stdout.write(f"{options['username']} can sign in as {options['role']} at {site}")


def _asked() -> str:
    if not console.is_terminal():
        raise CommandError("no terminal to ask at; set NECKRING_PASSWORD", returncode=2)
    return getpass("Password (15 characters or more): ")

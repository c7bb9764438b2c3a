"""Print what a role needs that serves the program on PostgreSQL, and not more."""

import re
from argparse import ArgumentParser
from collections.abc import Iterator
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import connection

from registry.trail.guards import guarded


class Command(BaseCommand):
    help = (
        "Print the SQL that lets a PostgreSQL role serve the program without owning anything: "
        "it adds to the ledger and can't change, empty or unguard it. Run it by the owner after "
        "each migrate.\nExample: %(prog)s neckring_serving | psql neckring"
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("role", help="an existing role that is no superuser")

    def handle(self, *, role: str, **options: Any) -> None:
        if not re.fullmatch(r"[a-z_][a-z0-9_]*", role):
            raise CommandError(f"{role}: is no plain name of a role", returncode=2)
        if connection.vendor != "postgresql":
            raise CommandError("roles are of PostgreSQL; set DATABASE_URL", returncode=2)
        self.stdout.write("\n".join(f"{statement};" for statement in grants(role)))


def grants(role: str) -> Iterator[str]:
    """Yield the statements, each without its semicolon; run again they change nothing."""
    yield f"REVOKE ALL ON ALL TABLES IN SCHEMA public FROM {role}"
    yield f"GRANT USAGE ON SCHEMA public TO {role}"
    yield f"GRANT USAGE ON ALL SEQUENCES IN SCHEMA public TO {role}"
    append_only = {each.table: each for each in guarded()}
    for table in sorted(connection.introspection.table_names()):
        if table == "django_migrations":
            yield f"GRANT SELECT ON {table} TO {role}"
        elif (kept := append_only.get(table)) is None:
            yield f"GRANT SELECT, INSERT, UPDATE, DELETE ON {table} TO {role}"
        else:
            yield f"GRANT SELECT, INSERT ON {table} TO {role}"
            if kept.closes:
                columns = ", ".join((kept.closes, *kept.along))
                yield f"GRANT UPDATE ({columns}) ON {table} TO {role}"

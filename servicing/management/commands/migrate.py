"""Bring the database up to date, guards included."""

from typing import Any

from django.conf import settings
from django.core.management.commands import migrate
from django.db import connections

from registry.sets.guards import missing as missing_of_sets
from registry.trail.guards import missing


class Command(migrate.Command):
    """Django's own, but that it puts missing guards in place instead of refusing to run."""

    def get_check_kwargs(self, options: dict[str, Any]) -> Any:
        # Without the checks of the database: a guard that an upgrade adds or changes is
        # missing until this command has run, so it can't be what stops it.
        kwargs: Any = super().get_check_kwargs(options)
        return {name: value for name, value in kwargs.items() if name != "databases"}

    def handle(self, *args: Any, **options: Any) -> None:
        connection = connections[options["database"]]
        gone = {*missing(connection), *missing_of_sets(connection)}
        super().handle(*args, **options)
        back = gone - {*missing(connection), *missing_of_sets(connection)}
        if back and options["verbosity"]:
            self.stdout.write(
                f"Guards put in place: {', '.join(sorted(back))}. Unless this was an upgrade, "
                f"somebody took them away: run {settings.PROGRAM} verify_ledger."
            )

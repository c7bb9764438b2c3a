"""Recompute the chain of every item."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import connection

from registry.trail.guards import missing
from servicing.ledger.queries import broken_links


class Command(BaseCommand):
    help = (
        "Recompute every item's chain of records and name the first broken link of each. "
        "Exit status 1 where one is broken or a database guard is missing."
    )

    def handle(self, **options: Any) -> None:
        faults = [f"guard {name} is missing" for name in missing(connection)]
        faults += [f"{tag}: record {link.position}: {link.why}" for tag, link in broken_links()]
        for fault in faults:
            self.stderr.write(fault)
        if faults:
            many = "1 fault" if len(faults) == 1 else f"{len(faults)} faults"
            raise CommandError(f"the ledger is not whole: {many}")
        self.stdout.write("every chain holds and every guard is in place")

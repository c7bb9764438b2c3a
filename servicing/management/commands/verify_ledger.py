"""Recompute the ledger: every item's chain, the numbers, the signatures and the trail."""

import csv
from argparse import ArgumentParser
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import connection

from registry.sets.guards import missing as missing_of_sets
from registry.trail.guards import missing
from servicing.ledger.queries.whole import heads_lost, ledger_faults


class Command(BaseCommand):
    help = (
        "Recompute every item's chain of records, the register-wide numbers, the signatures "
        "and the trail, and name what does not hold. Exit status 1 where something does not, "
        "or a database guard is missing."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--heads", type=Path, help="a list written by the command heads and kept outside"
        )

    def handle(self, *, heads: Path | None = None, **options: Any) -> None:
        faults = [
            f"guard {name} is missing"
            for name in (*missing(connection), *missing_of_sets(connection))
        ]
        faults += ledger_faults()
        faults += heads_lost(read_heads(heads)) if heads else []
        for fault in faults:
            self.stderr.write(fault)
        if faults:
            many = "1 fault" if len(faults) == 1 else f"{len(faults)} faults"
            raise CommandError(f"the ledger is not whole: {many}")
        self.stdout.write("every chain holds and every guard is in place")


def read_heads(path: Path) -> Iterator[tuple[str, int, str]]:
    """Yield the rows of a head list. Raises CommandError where it is none."""
    try:
        with path.open(encoding="utf-8", newline="") as file:
            for row in csv.DictReader(file):
                yield row["tag"], int(row["position"]), row["hash"]
    except OSError as error:
        raise CommandError(f"{path}: can't be read: {error.strerror}", returncode=2) from error
    except (KeyError, TypeError, ValueError) as error:
        raise CommandError(f"{path}: is no list of heads: {error}", returncode=2) from error

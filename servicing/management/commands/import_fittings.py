"""Bring in what was fitted to which set."""

from argparse import ArgumentParser
from functools import partial
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from registry.lists.pure.fittings import read_fittings
from registry.lists.queries import known_fittings, known_things
from registry.management import console
from registry.sites.clock import now
from servicing.due.actions.preview import done_and_fallen, turnout_of
from servicing.due.actions.sets import import_fittings
from servicing.due.queries.turnout import sets_listed
from servicing.ledger.queries.records import condemned_days
from servicing.management.console import write_shortfall


class Command(BaseCommand):
    help = (
        "Bring in fittings from a CSV or XLSX file with the columns set,part,place,fitted_on,"
        "removed_on (empty while it lasts). Places: frame, cylinder, cylinder-2, connector, "
        "reducer, demand-valve, mask. All or nothing; the same file again changes nothing.\n"
        "Example: %(prog)s fittings.csv --check"
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path)
        parser.add_argument("--check", action="store_true", help="report only, write nothing")

    def handle(self, *, file: Path, check: bool, **options: Any) -> None:
        rows, problems = read_fittings(
            str(file),
            console.read_bytes(file),
            items=known_things(condemned_days()),
            known=known_fittings(),
        )
        console.refuse(problems, self.stderr)
        sets = sets_listed({row.set for row in rows})
        bring = partial(import_fittings, rows, at=now(), by=None)
        if check:
            self.stdout.write(f"{len(rows)} fittings could be written; nothing was")
            fallen = turnout_of(bring, sets)
        else:
            done, fallen = done_and_fallen(bring, sets)
            many = f"{done.new} fittings added, {done.changed} closed, {done.same} as they were"
            self.stdout.write(many)
        write_shortfall(fallen, self.stdout)

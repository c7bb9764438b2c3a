"""Bring in what was done before."""

import hashlib
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from registry.items.models import Item
from registry.management import console
from registry.sites.clock import today_in
from servicing.due.actions.history import history_records, import_history
from servicing.ledger.pure.history import KnownItem, read_history
from servicing.ledger.queries.records import condemned_days
from servicing.rules.queries import known_tasks


class Command(BaseCommand):
    help = (
        "Bring in records from a CSV or XLSX file with the columns tag,task,done_on,outcome,by,"
        "note, part_made_on where known, and reading:NAME columns; of a passed retest "
        "stamped_next, stamped_end, stamped_permit, stamped_body: what was marked on the cylinder. "
        "Outcome is pass, fail or condemned. All or nothing; the same file again changes nothing.\n"
        "Example: %(prog)s history.csv --check"
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path)
        parser.add_argument("--check", action="store_true", help="report only, write nothing")

    def handle(self, *, file: Path, check: bool, **options: Any) -> None:
        content = console.read_bytes(file)
        condemned = condemned_days()
        rows, problems = read_history(
            str(file),
            content,
            items={
                tag: KnownItem(made_on, today_in(zone), condemned.get(tag))
                for tag, made_on, zone in Item.objects.values_list(
                    "tag", "made_on", "site__timezone"
                )
            },
            tasks=known_tasks(),
        )
        console.refuse(problems, self.stderr)
        if check:
            more = len(history_records(rows, source=file.name)) - len(rows)
            along = f", and {more} for what was fitted to sets" if more else ""
            self.stdout.write(f"{len(rows)} records could be written{along}; nothing was")
            return
        added, known = import_history(
            rows,
            file=file.name,
            file_hash=hashlib.sha256(content).hexdigest(),
            progress=console.progress_on(self.stdout),
        )
        self.stdout.write(f"{added} records added, {known} were in the ledger already")

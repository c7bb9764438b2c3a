"""Write the list of heads that is kept outside, to show later that nothing was lost."""

import csv
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from servicing.ledger.queries.whole import heads


class Command(BaseCommand):
    help = (
        "Write the end of the trail (its row has no tag) and of every item's chain, as CSV "
        "with the columns tag,position,hash. Keep it where nobody who keeps the database can "
        "change it, and give it to verify_ledger --heads."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--out", type=Path, help="the file to write; else standard output")

    def handle(self, *, out: Path | None = None, **options: Any) -> None:
        rows = [("tag", "position", "hash"), *heads()]
        if out is None:
            csv.writer(self.stdout, lineterminator="\n").writerows(rows)
            return
        try:
            with out.open("w", encoding="utf-8", newline="") as file:
                csv.writer(file).writerows(rows)
        except OSError as error:
            raise CommandError(f"{out}: can't be written: {error}", returncode=2) from error
        self.stdout.write(f"{len(rows) - 2} heads and the trail's written to {out}")

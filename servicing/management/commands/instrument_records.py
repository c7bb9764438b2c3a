"""List what was measured with an instrument."""

import csv
import json
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from registry.items.pure import Kind, a_kind
from registry.management.console import item_with
from servicing.desk.bench.tables import MADE_WITH, made_with_rows

COLUMNS = MADE_WITH[:7]


class Command(BaseCommand):
    help = (
        "List the records in doubt because an instrument's latest calibration failed: all that "
        "was measured with it since its last good one. With --all every record made with it.\n"
        "Example: %(prog)s 00901 --all --format csv"
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("tag")
        parser.add_argument("--all", action="store_true", help="every record, in doubt or not")
        parser.add_argument("--format", default="table", choices=["table", "csv", "json"])

    def handle(self, **options: Any) -> None:
        instrument = item_with(options["tag"])
        if instrument.kind != Kind.INSTRUMENT:
            raise CommandError(f"{instrument.tag} is {a_kind(instrument.kind)}, no instrument")
        rows = made_with_rows(instrument, doubtful_only=not options["all"])
        if options["format"] == "json":
            self.stdout.write(json.dumps(rows, ensure_ascii=False, indent=1))
        elif options["format"] == "csv":
            writer = csv.DictWriter(self.stdout, MADE_WITH, lineterminator="\n")
            writer.writeheader()
            writer.writerows(rows)
        else:
            self._table(rows)

    def _table(self, rows: list[dict[str, Any]]) -> None:
        for row in rows:
            self.stdout.write("  ".join(str(row[name]) for name in COLUMNS))
        self.stdout.write(f"{len(rows)} record{'s' if len(rows) != 1 else ''}")

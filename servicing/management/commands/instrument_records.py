"""List what was measured with an instrument."""

import csv
import json
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from registry.items.pure import Kind
from registry.management.console import item_with
from servicing.bench.queries.instruments import in_doubt, made_with

COLUMNS = ("number", "tag", "task", "done_on", "outcome", "performed_by", "readings")


class Command(BaseCommand):
    help = (
        "List the records in doubt because an instrument's latest calibration failed: all that "
        "was measured with it since its last good one. With --all every record made with it.\n"
        "Example: manage.py instrument_records 00901 --all --format csv"
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("tag")
        parser.add_argument("--all", action="store_true", help="every record, in doubt or not")
        parser.add_argument("--format", default="table", choices=["table", "csv", "json"])

    def handle(self, **options: Any) -> None:
        instrument = item_with(options["tag"])
        if instrument.kind != Kind.INSTRUMENT:
            raise CommandError(f"{instrument.tag} is a {instrument.kind}, no instrument")
        doubt = in_doubt(instrument)
        found = made_with(instrument) if options["all"] else doubt[1] if doubt else []
        rows = [self._row(record) for record in found]
        if options["format"] == "json":
            self.stdout.write(json.dumps(rows, ensure_ascii=False, indent=1))
        elif options["format"] == "csv":
            writer = csv.DictWriter(self.stdout, COLUMNS, lineterminator="\n")
            writer.writeheader()
            writer.writerows(rows)
        else:
            self._table(rows)

    def _row(self, record: Any) -> dict[str, Any]:
        read = "; ".join(f"{r.name} {r.typed} {r.unit}".strip() for r in record.readings_as_read)
        return {
            "number": record.number,
            "tag": record.item.tag,
            "task": record.task,
            "done_on": record.done_on.isoformat(),
            "outcome": record.outcome,
            "performed_by": record.performed_by,
            "readings": read,
        }

    def _table(self, rows: list[dict[str, Any]]) -> None:
        for row in rows:
            self.stdout.write("  ".join(str(row[name]) for name in COLUMNS))
        self.stdout.write(f"{len(rows)} record{'s' if len(rows) != 1 else ''}")

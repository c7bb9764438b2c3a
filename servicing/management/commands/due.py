"""List what is due."""

import csv
import json
from argparse import ArgumentParser
from datetime import date
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from registry.management import console
from servicing.due.pure.obligations import State
from servicing.due.pure.sheet import GENERAL_CAUTION, DueRow
from servicing.due.queries.engine import NotKnownThen
from servicing.due.queries.rows import DueQuestion, known_rows
from servicing.management.console import task_named

COLUMNS = (
    "tag",
    "serial",
    "maker",
    "kind",
    "site",
    "task",
    "due_on",
    "state",
    "rule",
    "level",
    "source",
    "counted_from",
    "basis_on",
)


class Command(BaseCommand):
    help = (
        "List obligations, sorted by due date, site, tag and task; those that can't be "
        "determined come first with an empty due_on.\n"
        "Example: %(prog)s --on 2027-01-31 --state overdue --format csv"
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--on", type=console.day, help="a day, YYYY-MM-DD; today at each item's site"
        )
        parser.add_argument("--site", help="the code of a site; the sites below it are included")
        parser.add_argument("--task", default="", help="such as hydrostatic-retest")
        parser.add_argument("--state", default="", choices=[state.value for state in State])
        parser.add_argument(
            "--known-by",
            type=console.moment,
            help="as known at a moment, such as 2026-05-14T09:00+02:00",
        )
        parser.add_argument("--format", default="table", choices=["table", "csv", "json"])

    def handle(self, **options: Any) -> None:
        code, known_by = options["site"], options["known_by"]
        question = DueQuestion(
            on=options["on"],
            known_by=known_by,
            site=console.site_with(code, known_by) if code else None,
            task=task_named(options["task"]),
            state=options["state"],
        )
        try:
            rows = [_texts(row) for row in known_rows(question)]
        except NotKnownThen as problem:
            raise CommandError(str(problem)) from problem
        if options["format"] != "table" and self.stderr.isatty():
            # The columns are a contract with programs; a person gets the caution beside them.
            self.stderr.write(" ".join(GENERAL_CAUTION))
        if options["format"] == "csv":
            writer = csv.writer(self.stdout, lineterminator="\n")
            writer.writerow(COLUMNS)
            writer.writerows(rows)
        elif options["format"] == "json":
            found = [dict(zip(COLUMNS, row, strict=True)) for row in rows]
            self.stdout.write(json.dumps(found, ensure_ascii=False, indent=1))
        else:
            self._table(rows)

    def _table(self, rows: list[tuple[str, ...]]) -> None:
        if not rows:
            self.stdout.write("Nothing is due.")
        widths = [max(map(len, column)) for column in zip(COLUMNS, *rows, strict=True)]
        for row in (COLUMNS, *rows):
            cells = (text.ljust(width) for text, width in zip(row, widths, strict=True))
            self.stdout.write("  ".join(cells).rstrip())
        self.stdout.write("\n" + "\n".join(GENERAL_CAUTION))


def _texts(row: DueRow) -> tuple[str, ...]:
    return tuple(_text(getattr(row, column)) for column in COLUMNS)


def _text(value: object) -> str:
    if value is None:
        return ""
    return value.isoformat() if isinstance(value, date) else str(value)

"""Make a paper."""

import os
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import transaction

from registry.items.pure import Kind
from registry.management.console import day, item_with, moment, site_with
from registry.sites.clock import now
from reports.documents.actions import Printing, make_record, make_set
from reports.documents.pure.overdue import overdue_pdf
from reports.documents.queries import overdue_report
from servicing.due.queries.engine import NotKnownThen
from servicing.due.queries.rows import DueQuestion
from servicing.management.console import task_named

COMMAND = Printing("command line")


class Command(BaseCommand):
    help = (
        "Make a PDF.\n"
        "Examples: manage.py report overdue --site NORTH --out overdue.pdf\n"
        "          manage.py report record 00123 --on 2026-05-14 --out record.pdf\n"
        "          manage.py report set S031 --out set.pdf"
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        kinds = parser.add_subparsers(dest="report", required=True)
        overdue = kinds.add_parser("overdue", help="what is overdue or undetermined")
        overdue.add_argument("--site", help="the code of a site; those below it are included")
        overdue.add_argument("--task", default="", help="such as hydrostatic-retest")
        record = kinds.add_parser("record", help="one item: what it owes and what was done")
        record.add_argument("tag")
        assembled = kinds.add_parser("set", help="one set: its parts, their dates, its mass")
        assembled.add_argument("tag")
        for kind in (overdue, record, assembled):
            kind.add_argument("--on", type=day, help="a day, YYYY-MM-DD")
            kind.add_argument("--known-by", type=moment, help="as known at a moment")
            kind.add_argument("--out", type=Path, required=True, help="the PDF to write")

    def handle(self, **options: Any) -> None:
        makers = {"overdue": _overdue, "record": _record, "set": _set}
        try:
            with transaction.atomic():  # a paper that can't be written was not made
                write_aside(options["out"], makers[options["report"]](options))
        except NotKnownThen as problem:
            raise CommandError(str(problem)) from problem
        self.stdout.write(f"{options['out']} written")


def _overdue(options: dict[str, Any]) -> bytes:
    known_by = options["known_by"]
    site = site_with(options["site"], known_by) if options["site"] else None
    task = task_named(options["task"])
    sentence = f"{task.replace('-', ' ') or 'all tasks'} at {site.name if site else 'all sites'}"
    question = DueQuestion(on=options["on"], site=site, task=task, known_by=known_by)
    return overdue_pdf(
        overdue_report(question, sentence, printed_at=now(), printed_by=COMMAND.name)
    )


def _record(options: dict[str, Any]) -> bytes:
    item = item_with(options["tag"])
    return make_record(item, options["on"], printing=COMMAND, known_by=options["known_by"]).content


def _set(options: dict[str, Any]) -> bytes:
    item = item_with(options["tag"])
    if item.type.kind != Kind.SET:
        raise CommandError(f"{item.tag} is no set but a {item.type.kind}", returncode=2)
    return make_set(item, options["on"], printing=COMMAND, known_by=options["known_by"]).content


def write_aside(path: Path, content: bytes) -> None:
    """Write a file beside its name and then rename it: never half a paper under the name."""
    aside = path.with_name(f".{path.name}.part")
    try:
        with aside.open("wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        aside.replace(path)
    except OSError as error:
        aside.unlink(missing_ok=True)
        raise CommandError(f"{path}: can't be written: {error.strerror}", returncode=2) from error

"""Make a paper."""

import os
from argparse import ArgumentParser
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import transaction

from registry.items.models import Item
from registry.items.pure import Kind, a_kind
from registry.management import console
from registry.sites.clock import now, today_anywhere
from registry.wording.pure.dates import day_words
from reports.documents import actions as papers
from reports.documents.pure.duelist import due_list_pdf
from reports.documents.pure.overdue import overdue_pdf
from reports.documents.queries.lists import due_list_paper, overdue_report
from servicing.away.models import Consignment
from servicing.desk.parts.forms.questions import place_words
from servicing.due.queries.ahead import rows_ahead, span_end
from servicing.due.queries.engine import NotKnownThen
from servicing.due.queries.rows import DueQuestion, refuse_empty
from servicing.management.console import task_named


class Command(BaseCommand):
    help = (
        "Make a PDF.\nExamples: %(prog)s overdue --site NORTH --out overdue.pdf\n          "
        "%(prog)s forecast --site NORTH --until 2027-12-31 --out forecast.pdf\n          %(prog)s "
        "record 00123 --on 2026-05-14 --out record.pdf\n          %(prog)s set S031 --out set.pdf"
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        kinds = parser.add_subparsers(dest="report", required=True)
        overdue = kinds.add_parser("overdue", help="what is overdue or undetermined")
        forecast = kinds.add_parser("forecast", help="every time a task will come due")
        forecast.add_argument(
            "--until", type=console.day, help="the last day; the end of the month in a year"
        )
        for kind in (overdue, forecast):
            kind.add_argument("--site", help="the code of a site; those below it are included")
            kind.add_argument("--task", default="", help="such as hydrostatic-retest")
        as_of = [overdue, forecast]
        for paper in papers.PAPERS:
            parser = kinds.add_parser(paper.name, help=paper.says)
            parser.add_argument("subject", help=f"the tag or number of the {paper.about.word}")
            as_of += [parser] if paper.about.as_of else []
        for kind in as_of:
            kind.add_argument("--on", type=console.day, help="a day, YYYY-MM-DD")
            kind.add_argument("--known-by", type=console.moment, help="as known at a moment")
        for kind in kinds.choices.values():
            kind.add_argument("--out", type=Path, required=True, help="the PDF to write")

    def handle(self, **options: Any) -> None:
        makers = {"overdue": _overdue, "forecast": _forecast}
        makers |= {paper.name: partial(_made, paper) for paper in papers.PAPERS}
        try:
            with transaction.atomic():  # a paper that can't be written was not made
                write_aside(options["out"], makers[options["report"]](options))
        except NotKnownThen as problem:
            raise CommandError(str(problem)) from problem
        self.stdout.write(f"{options['out']} written")


def _overdue(options: dict[str, Any]) -> bytes:
    question = _question(options)
    return overdue_pdf(
        overdue_report(question, _words(question), printed_at=now(), printed_by=papers.BY_COMMAND)
    )


def _forecast(options: dict[str, Any]) -> bytes:
    question = _question(options)
    first = question.on or today_anywhere()
    until = options["until"] or span_end(first)
    if until < first:
        ends = f"--until {until.isoformat()} is before {first.isoformat()}"
        raise CommandError(f"{ends}, from when it looks ahead", returncode=2)
    question = replace(question, until=until, ahead=True)
    refuse_empty(question.known_by)
    sentence = f"{_words(question)} every time they will come due up to {day_words(until)}"
    rows = rows_ahead(question)
    return due_list_pdf(
        due_list_paper(question, sentence, rows, printed_at=now(), printed_by=papers.BY_COMMAND)
    )


def _question(options: dict[str, Any]) -> DueQuestion:
    known_by = options["known_by"]
    site = console.site_with(options["site"], known_by) if options["site"] else None
    task = task_named(options["task"])
    return DueQuestion(on=options["on"], site=site, task=task, known_by=known_by)


def _words(question: DueQuestion) -> str:
    task = question.task.replace("-", " ") or "all tasks"
    return f"{task} {place_words(question.site, alone=False)}"


def _made(paper: papers.PaperKind, options: dict[str, Any]) -> bytes:
    subject = FOUND[paper.about](options["subject"])
    on, known_by = options.get("on"), options.get("known_by")
    return papers.make(paper, subject, on, user=None, known_by=known_by).content


def _set_with(tag: str) -> Item:
    item = console.item_with(tag)
    if item.type.kind != Kind.SET:
        raise CommandError(f"{item.tag} is no set but {a_kind(item.type.kind)}", returncode=2)
    return item


def _consignment_with(number: str) -> Consignment:
    found: Consignment | None = papers.CONSIGNMENT.rows().filter(number__iexact=number).first()
    if found is None:
        raise CommandError(f"there is no consignment {number!r}; give its number", returncode=2)
    return found


FOUND: dict[papers.About, Callable[[str], papers.Subject]] = {
    papers.ITEM: console.item_with,
    papers.SET: _set_with,
    papers.CONSIGNMENT: _consignment_with,
}
"""How the command line finds what a paper is about."""


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

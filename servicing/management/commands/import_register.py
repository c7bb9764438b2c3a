"""Bring in items."""

import hashlib
from argparse import ArgumentParser
from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from registry.bulk.actions import quiet
from registry.items.models import Item
from registry.lists.pure.problems import Problem
from registry.lists.pure.questions import questions
from registry.lists.pure.register import read_register
from registry.lists.queries import held_for_questions, parts_left
from registry.management import console
from registry.sites.clock import today_at
from registry.sites.models import Site
from servicing.due.actions.preview import done_and_fallen, turnout_of
from servicing.due.actions.register import import_register
from servicing.due.queries.turnout import sets_listed
from servicing.management.console import write_shortfall
from servicing.rules.queries import words_of_rules


class Command(BaseCommand):
    help = (
        "Bring in items from a CSV or XLSX file. Columns: tag,kind,maker,model,serial,made_on,"
        "in_service_on,site and those of cylinders (README, 'Lists'). A known tag is changed to "
        "what the row says. All or nothing; the same file again changes nothing. New tags that "
        "may be read for another, lives that others of the type have, and words that no rule "
        "knows, are asked about.\n"
        "Example: %(prog)s register.xlsx --check"
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path)
        parser.add_argument("--check", action="store_true", help="report only, write nothing")

    def handle(self, *, file: Path, check: bool, **options: Any) -> None:
        content = console.read_bytes(file)
        known = Item.objects.values_list("tag", "maker", "serial")
        rows, problems = read_register(
            str(file),
            content,
            sites={site.code: today_at(site) for site in Site.objects.all()},
            registered={tag: (maker, serial) for tag, maker, serial in known},
        )
        console.refuse(sorted([*problems, *parts_left(str(file), rows)]), self.stderr)
        asked = questions(str(file), rows, held_for_questions(words_of_rules()))
        digest = hashlib.sha256(content).hexdigest()
        progress = quiet if check else console.progress_on(self.stdout)
        bring = partial(import_register, rows, progress, file=file.name, file_hash=digest)
        sets = sets_listed({row.tag for row in rows})
        if check:
            self.stdout.write(f"{len(rows)} items could be written; nothing was")
            fallen = turnout_of(bring, sets)
        else:
            done, fallen = done_and_fallen(bring, sets)
            many = f"{done.new} items new, {done.changed} changed, {done.same} as they were"
            self.stdout.write(many)
        write_shortfall(fallen, self.stdout)
        self._ask(asked)

    def _ask(self, asked: Sequence[Problem]) -> None:
        """Write what somebody should look at; nothing is refused for it."""
        if asked:
            many = "1 question" if len(asked) == 1 else f"{len(asked)} questions"
            self.stdout.write(f"{many} to look at; nothing is refused for them:")
        for question in asked:
            self.stdout.write(f"  {question}")

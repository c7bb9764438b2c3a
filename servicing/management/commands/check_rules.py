"""Look for what is doubtful in rule tables."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from registry.management.console import refuse
from servicing.management.commands.load_rules import read_tables
from servicing.rules.pure.check import doubts, tasks_without_a_rule
from servicing.rules.pure.tasks import COMMON_TASKS


class Command(BaseCommand):
    help = (
        "Find rows that can never match, rows of one level that disagree, broken satisfied_by and "
        "gaps in validity, in all of fixtures/rules/ without a FILE. Exit status 1 where there is "
        "a doubt. --kinds also lists which kinds have no rule for a task that others have.\n"
        "Example: %(prog)s fixtures/rules/germany.toml"
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path, nargs="*")
        parser.add_argument("--kinds", action="store_true", help="list kinds without a rule")

    def handle(self, *, file: list[Path], kinds: bool, **options: Any) -> None:
        tables, problems = read_tables(file)
        refuse(problems, self.stderr)
        rules = [rule for table in tables for rule in table.rules]
        if kinds:
            for task, without in tasks_without_a_rule(rules).items():
                self.stdout.write(f"{task}: not asked of {', '.join(without)}")
        found = doubts(rules, COMMON_TASKS, {table.name: table.includes for table in tables})
        for doubt in found:
            self.stderr.write(str(doubt))
        if found:
            raise CommandError(f"{len(found)} doubts in {len(rules)} rules")
        self.stdout.write(f"no doubt in {len(rules)} rules of {len(tables)} tables")

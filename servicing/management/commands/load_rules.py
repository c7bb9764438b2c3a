"""Load rule tables."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from registry.lists.pure.problems import Problem
from registry.management import console
from registry.wording.pure.dates import day_words
from servicing.due.actions.preview import Asked
from servicing.due.actions.register import load_rules, preview_rules
from servicing.management.console import write_shortfall
from servicing.rules.actions import RuleClash
from servicing.rules.pure.rule import Table
from servicing.rules.pure.tables import read_table


class Command(BaseCommand):
    help = (
        "Load rule tables from TOML files, all of fixtures/rules/ without a FILE. A changed row "
        "becomes a new version; loading the same again changes nothing. Due dates are kept true. "
        "With --check every date that would move is listed and nothing is written.\n"
        "Example: %(prog)s fixtures/rules/us-cylinders.toml"
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path, nargs="*")
        parser.add_argument("--check", action="store_true", help="list what moves, write nothing")

    def handle(self, *, file: list[Path], check: bool, **options: Any) -> None:
        tables, problems = read_tables(file)
        console.refuse(problems, self.stderr)
        try:
            if check:
                self._preview(tables)
                return
            loaded, moved = load_rules(tables)
        except RuleClash as problem:
            raise CommandError(f"{problem}; nothing was written") from problem
        self.stdout.write(
            f"{len(tables)} tables: {loaded.new} new rows, {loaded.changed} changed, "
            f"{loaded.ended} ended, {loaded.same} as they were; "
            f"stored due dates of {moved} items changed"
        )

    def _preview(self, tables: list[Table]) -> None:
        loaded, moves, fallen = preview_rules(tables)
        for move in moves:
            day = f" from {day_words(move.on)} on" if move.on else ""
            self.stdout.write(
                f"{move.tag}: {move.task}{day}: {_date(move.before)} -> {_date(move.after)}, "
                f"{move.by_how_much}: {move.why}"
            )
        for on, each in fallen:
            write_shortfall(each, self.stdout, f" from {day_words(on)} on" if on else "")
        self.stdout.write(
            f"{loaded.new} new rows, {loaded.changed} changed, {loaded.ended} ended would move "
            f"{len(moves)} obligations; nothing was written"
        )


def _date(owed: Asked | None) -> str:
    return "not asked" if owed is None else str(owed.due_on or "no date")


def read_tables(paths: list[Path]) -> tuple[list[Table], list[Problem]]:
    """Read rule tables and return them with everything wrong with them.

    paths: the files to read; none for all of fixtures/rules/.
    """
    paths = paths or sorted((settings.BASE_DIR / "fixtures" / "rules").glob("*.toml"))
    tables: list[Table] = []
    problems: list[Problem] = []
    for path in paths:
        try:
            text = console.read_bytes(path).decode()
        except UnicodeDecodeError:
            problems.append(Problem(str(path), 1, "", "", "is not UTF-8; save it as UTF-8"))
            continue
        table, found = read_table(str(path), text)
        tables.append(table)
        problems += found
    return tables, problems

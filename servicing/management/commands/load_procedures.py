"""Load tables of procedures."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.db import transaction

from registry.lists.pure.problems import Problem
from registry.management import console
from registry.sites.clock import now
from servicing.bench.actions.procedures import Loaded, ProcedureClash, load_procedures
from servicing.bench.pure.procedure import ProcedureTable
from servicing.bench.pure.tables import Known, read_procedures
from servicing.rules.queries import known_tasks, published_tables


class Command(BaseCommand):
    help = (
        "Load tables of procedures from TOML files, all of fixtures/rules/procedures/ without a "
        "FILE. A changed procedure becomes a new version; loading the same again changes nothing. "
        "With --check it is said what would change and nothing is written.\n"
        "Example: %(prog)s fixtures/rules/procedures/masks.toml"
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path, nargs="*")
        parser.add_argument("--check", action="store_true", help="report only, write nothing")

    def handle(self, *, file: list[Path], check: bool, **options: Any) -> None:
        tables, problems = read_tables(file)
        console.refuse(problems, self.stderr)
        try:
            loaded = _load(tables, check=check)
        except ProcedureClash as problem:
            raise CommandError(f"{problem}; nothing was written") from problem
        said = f"{loaded.new} new, {loaded.changed} changed, {loaded.ended} ended"
        if check:
            self.stdout.write(f"{said}; nothing was written")
        else:
            self.stdout.write(
                f"{len(tables)} tables of procedures: {said}, {loaded.same} as they were"
            )


def _load(tables: list[ProcedureTable], *, check: bool) -> Loaded:
    """Load tables; to check only, do so and take it all back."""
    with transaction.atomic():
        loaded = load_procedures(tables, at=now())
        if check:
            transaction.set_rollback(True)
    return loaded


def read_tables(paths: list[Path]) -> tuple[list[ProcedureTable], list[Problem]]:
    """Read tables of procedures and return them with everything wrong with them.

    paths: the files to read; none for all of fixtures/rules/procedures/.
    """
    folder = settings.BASE_DIR / "fixtures" / "rules" / "procedures"
    tables: list[ProcedureTable] = []
    problems: list[Problem] = []
    files = {path.stem for path in folder.parent.glob("*.toml")}
    known = Known(tasks=known_tasks(), tables=files | published_tables())
    for path in paths or sorted(folder.glob("*.toml")):
        try:
            text = console.read_bytes(path).decode()
        except UnicodeDecodeError:
            problems.append(Problem(str(path), 1, "", "", "is not UTF-8; save it as UTF-8"))
            continue
        table, found = read_procedures(str(path), text, known)
        tables.append(table)
        problems += found
    return tables, problems

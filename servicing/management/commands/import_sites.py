"""Bring in sites and the rule tables they adopt."""

import hashlib
import zoneinfo
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from registry.lists.pure.sites import read_sites
from registry.management import console
from registry.sites.models import Site
from servicing.due.actions.register import import_sites
from servicing.rules.queries import published_tables


class Command(BaseCommand):
    help = (
        "Bring in sites from a CSV or XLSX file with the columns "
        "code,name,parent,timezone,rule_tables (tables separated by ;). All or nothing.\n"
        "Example: %(prog)s sites.csv --check"
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path)
        parser.add_argument("--check", action="store_true", help="report only, write nothing")

    def handle(self, *, file: Path, check: bool, **options: Any) -> None:
        content = console.read_bytes(file)
        rows, problems = read_sites(
            str(file),
            content,
            zones=frozenset(zoneinfo.available_timezones()),
            tables=published_tables(),
            known=frozenset(Site.objects.values_list("code", flat=True)),
        )
        console.refuse(problems, self.stderr)
        if check:
            self.stdout.write(f"{len(rows)} sites could be written; nothing was")
            return
        moved = import_sites(rows, file=file.name, file_hash=hashlib.sha256(content).hexdigest())
        self.stdout.write(
            f"{len(rows)} site{'s' * (len(rows) != 1)} written; due dates of {moved} items moved"
        )

"""Write the ledger as anybody can recompute it, and print the program that does."""

import json
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from registry.items.models import Item
from servicing.ledger.queries.whole import export_lines

VERIFIER = Path(settings.BASE_DIR) / "fixtures" / "audit" / "verify_export.py"


class Command(BaseCommand):
    help = (
        "Write the ledger, one JSON object a line: each record's text as it is hashed, both "
        "hashes and its signatures, then the trail. With --verifier, print a program of "
        "sixty-odd lines that recomputes it with Python alone."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        what = parser.add_mutually_exclusive_group(required=True)
        what.add_argument("--out", type=Path, help="the file to write")
        what.add_argument("--verifier", action="store_true", help="print the verifier instead")
        parser.add_argument("--item", metavar="TAG", default="", help="one item, without the trail")

    def handle(self, *, out: Path | None, verifier: bool, item: str, **options: Any) -> None:
        if verifier or out is None:
            self.stdout.write(VERIFIER.read_text("utf-8"), ending="")
            return
        if item and not Item.objects.filter(tag=item).exists():
            raise CommandError(f"{item} is not in the register; correct the tag", returncode=2)
        try:
            with out.open("w", encoding="utf-8") as file:
                for line in export_lines(item):
                    file.write(json.dumps(line, ensure_ascii=False, sort_keys=True) + "\n")
        except OSError as error:
            raise CommandError(f"{out}: can't be written: {error}", returncode=2) from error
        self.stdout.write(f"the ledger is written to {out}")

"""Running a command in this process, and reading what it leaves; a shell is tests/console.py."""

import csv
import io
from collections.abc import Sequence
from pathlib import Path

import pypdf
from django.core.management import CommandError, call_command

from tests.console import Said

COLUMNS = [
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
]
FITTINGS = (
    "set,part,place,fitted_on,removed_on\n"
    "S001,00123,mask,2022-01-05,2023-01-05\n"
    "S001,F001,frame,2022-01-05,\n"
    "S001,00123,mask,2023-06-01,\n"
)
"""Two fittings of the past and one of now, of the set and the frame of `sets`."""


def run(*words: str) -> Said:
    """Run a command in this process and return what it left behind."""
    out, err = io.StringIO(), io.StringIO()
    try:
        call_command(*words, stdout=out, stderr=err)
    except CommandError as refusal:
        return Said(refusal.returncode, out.getvalue(), f"{err.getvalue()}{refusal}\n")
    return Said(0, out.getvalue(), err.getvalue())


def due_csv(*words: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(run("due", "--format", "csv", *words).out)))


def tags(rows: Sequence[dict[str, str]]) -> set[str]:
    return {row["tag"] for row in rows}


def text_of(file: Path) -> str:
    return "\n".join(page.extract_text() for page in pypdf.PdfReader(file).pages)

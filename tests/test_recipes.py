"""The recipes of DEVELOPERS.md ("To add"), followed in a copy of the program on an old register.

The register is one that the first release made (`recipes/first_release.py`). The copy gets a
kind, a fact, a form of rows, a paper, rules and a procedure by the lines and files that the
recipes name and no others (`recipes/changes.py`), and is asked what the register says now.
"""

import csv
import io
import json
import shutil
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pypdf
import pytest

from tests.console import ROOT, Said, manage_each
from tests.recipes import changes
from tests.registry.lists.making import HEAD

PARTS = ("config", "registry", "servicing", "reports", "templates", "fixtures")
SITES = "code,name,parent,timezone,rule_tables\nLAMPS,Lamp room,,Europe/Vienna,lamps\n"
REGISTER = (
    f"{HEAD},colour\n"
    "L-1,lamp,Pellwright,Glow,1,2020-05-05,2020-06-01,LAMPS,orange\n"
    "L-2,lamp,Pellwright,Glow,2,2020-05-05,2020-06-01,LAMPS,blue\n"
    "OLD-1,mask,Pellwright,Veil,9,2019-05-05,2019-06-01,LAMPS,orange\n"
)


@dataclass(frozen=True)
class Grown:
    """What each command said in the copy, by its first word; what people see; and the papers."""

    said: dict[str, Said]
    seen: dict[str, Any]
    record: str
    label: str


def followed(root: Path) -> None:
    """Follow the recipes in a copy of the program."""
    for part in PARTS:
        shutil.copytree(ROOT / part, root / part)
    for name in ("manage.py", "pyproject.toml"):
        shutil.copy(ROOT / name, root / name)
    for line in changes.LINES:
        line.into(root)
    for name, text in changes.FILES.items():
        (root / name).write_text(text, "utf-8")


def script(name: str) -> list[str]:
    text = (Path(changes.__file__).parent / name).read_text("utf-8")
    return ["shell", "--no-imports", "-c", text]


def words(paper: Path) -> str:
    return "\n".join(page.extract_text() for page in pypdf.PdfReader(paper).pages)


@pytest.fixture(scope="module")
def grown(tmp_path_factory: pytest.TempPathFactory) -> Grown:
    root = tmp_path_factory.mktemp("grown")
    followed(root)
    for name, text in (("sites.csv", SITES), ("register.csv", REGISTER)):
        (root / name).write_text(text)
    record, label = root / "record.pdf", root / "label.pdf"
    asked = {
        "first_release": script("first_release.py"),
        "makemigrations": ["makemigrations", "registry", "--name", "know_lamps_and_colours"],
        "migrate": ["migrate", "--verbosity", "0"],
        "load_rules": ["load_rules"],
        "load_procedures": ["load_procedures"],
        "import_sites": ["import_sites", "sites.csv"],
        "import_register": ["import_register", "register.csv"],
        "due": ["due", "--format", "csv"],
        "record": ["report", "record", "L-1", "--out", str(record)],
        "label": ["report", "label", "L-1", "--out", str(label)],
        "asked": script("asked.py"),
        "verify_ledger": ["verify_ledger"],
    }
    said = dict(zip(asked, manage_each(root / "data", [*asked.values()], root=root), strict=True))
    assert [(name, done.err) for name, done in said.items() if done.status] == []
    return Grown(said, json.loads(said["asked"].out), words(record), words(label))


def test_a_kind_is_a_word_and_a_migration(grown: Grown) -> None:
    assert "type_kind" in grown.said["makemigrations"].out
    assert "2 items new, 1 changed" in grown.said["import_register"].out
    assert "lamp" in grown.seen["page"]
    assert "lamp" in grown.record


def test_a_fact_is_a_row_a_field_and_a_migration(grown: Grown) -> None:
    assert "colour" in grown.said["makemigrations"].out
    assert "orange" in grown.seen["page"]
    assert "orange" in grown.record


def test_a_fact_is_not_known_of_a_version_that_an_earlier_release_wrote(grown: Grown) -> None:
    """Such a version has no key of it; what was asked as known then must not break by that."""
    before, now = grown.seen["before"], grown.seen["now"]
    # Passed on 30 April 2024: in two years for a mask of any colour, in one for an orange one.
    assert "2026-04-30" in before
    assert "mask-orange" not in before
    assert "2025-04-30" in now
    assert "mask-orange" in now


def test_a_form_of_rows_is_a_clock_its_arithmetic_and_its_words(grown: Grown) -> None:
    rows = list(csv.DictReader(io.StringIO(grown.said["due"].out)))
    assert [(row["tag"], row["due_on"], row["rule"]) for row in rows] == [
        ("L-1", "2022-12-31", "lamp-orange"),
        ("OLD-1", "2025-04-30", "mask-orange"),
    ]
    arithmetic = "made 5 May 2020 + 2 years = end of the year, 31 Dec 2022 (3.1, second sentence)"
    assert arithmetic in grown.seen["lamp"]


def test_a_paper_is_a_value_its_drawing_and_a_row(grown: Grown) -> None:
    assert "L-1 is orange" in grown.label
    assert grown.seen["paper"] == "application/pdf"
    assert grown.seen["papers"] == ["label", "label", "service-record"]


def test_a_procedure_is_a_file_and_is_done_on_the_new_kind(grown: Grown) -> None:
    assert grown.seen["procedures"] == ["lamp-inspection"]


def test_the_records_of_the_first_release_hold_in_the_grown_program(grown: Grown) -> None:
    assert grown.said["verify_ledger"].out == "every chain holds and every guard is in place\n"

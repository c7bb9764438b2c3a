"""The recipes of DEVELOPERS.md ("To add"), followed in a copy of the program on an old register.

The register is the demo as this release makes it; the copy then gets a new kind, a new fact, a
rule for them and a procedure, by the lines that each recipe names and no others.
"""

import csv
import io
import shutil
import sqlite3
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import pypdf
import pytest

from tests.console import ROOT, Said, manage_each

PARTS = ("config", "registry", "servicing", "reports", "templates", "fixtures")
FIELD = "    size = models.CharField(max_length=20, blank=True)\n"
RECIPES = [
    ("registry/items/pure.py", '    COMPRESSOR = "compressor"\n', '    HOOD = "hood"\n'),
    (
        "registry/items/facts.py",
        '        _text("size", "Size", 20),\n',
        '        _text("colour", "Colour", 20),\n',
    ),
    ("registry/items/models.py", FIELD, FIELD.replace("size", "colour")),
]
"""The file of each line, the line after which it comes, and the line."""
TABLE = """\
table = "hoods"
title = "Rescue hoods"
jurisdiction = "none"
caution = "An example."

[[rule]]
id         = "hood-orange"
task       = "periodic-inspection"
level      = "maker"
when       = { kind = ["hood"], colour = ["orange"] }
every      = "P2Y"
from       = "made"
source     = "An invented manual, 3.1"
edition    = "first"
seen       = "practice"
checked_on = 2026-11-25
"""
PROCEDURE = """\
table   = "hoods"
title   = "Rescue hoods"
caution = "An example."

[[procedure]]
id          = "hood-inspection"
title       = "Inspection of a rescue hood"
task        = "periodic-inspection"
kinds       = ["hood"]
source      = "An invented manual, 3.1"
edition     = "first"
seen        = "practice"
checked_on  = 2026-11-25
instruments = []

[[procedure.step]]
id     = "look"
form   = "check"
text   = "Hood and window: no crack."
source = "An invented manual, 3.1"
seen   = "practice"
"""
SITES = "code,name,parent,timezone,rule_tables\nHOODS,Hoods,,Europe/Vienna,hoods\n"
REGISTER = (
    "tag,kind,maker,model,serial,made_on,in_service_on,site,colour\n"
    "H-1,hood,Pellwright,Cowl,1,2020-05-05,2020-06-01,HOODS,orange\n"
    "H-2,hood,Pellwright,Cowl,2,2020-05-05,2020-06-01,HOODS,blue\n"
)
PAGES = """
from django.contrib.auth.models import User
from django.test import Client
from registry.items.models import Item
from servicing.bench.queries.procedures import procedures_for
client = Client(SERVER_NAME="localhost")
client.force_login(User.objects.get(username="demo-technician"))
item = Item.objects.get(tag="H-1")
print(client.get(item.get_absolute_url()).content.decode())
print([version.procedure_id for version in procedures_for(item, "periodic-inspection")])
"""


@dataclass(frozen=True)
class Grown:
    """What each command said in the copy, by its first word; and the paper it made."""

    said: dict[str, Said]
    paper: str
    before: str
    old_tag: str


def followed(root: Path) -> None:
    """Follow the recipes in a copy of the program."""
    for part in PARTS:
        shutil.copytree(ROOT / part, root / part, ignore=shutil.ignore_patterns("__pycache__"))
    for name in ("manage.py", "pyproject.toml"):
        shutil.copy(ROOT / name, root / name)
    for name, after, line in RECIPES:
        text = (root / name).read_text("utf-8")
        assert text.count(after) == 1, name
        (root / name).write_text(text.replace(after, after + line), "utf-8")
    (root / "fixtures/rules/hoods.toml").write_text(TABLE)
    (root / "fixtures/rules/procedures/hoods.toml").write_text(PROCEDURE)


@pytest.fixture(scope="module")
def grown(demo: Path, tmp_path_factory: pytest.TempPathFactory) -> Grown:
    root = tmp_path_factory.mktemp("grown")
    followed(root)
    data = Path(shutil.copytree(demo, root / "data"))
    with closing(sqlite3.connect(data / "neckring.sqlite3")) as database:
        [[before]] = database.execute("SELECT max(at) FROM registry_trailentry")
        [[tag]] = database.execute("SELECT min(tag) FROM registry_item")
    for name, text in (("sites.csv", SITES), ("register.csv", REGISTER)):
        (root / name).write_text(text)
    paper = root / "record.pdf"
    asked = {
        "makemigrations": ["registry", "--name", "know_hoods_and_colours"],
        "migrate": ["--verbosity", "0"],
        "load_rules": [],
        "load_procedures": [],
        "import_sites": ["sites.csv"],
        "import_register": ["register.csv"],
        "due": ["--site", "HOODS", "--format", "csv"],
        "explain": [tag, "--known-by", f"{before}Z".replace(" ", "T").replace("ZZ", "Z")],
        "report": ["record", "H-1", "--out", str(paper)],
        "shell": ["--no-imports", "-c", PAGES],
        "verify_ledger": [],
    }
    words = [[command, *rest] for command, rest in asked.items()]
    said = dict(zip(asked, manage_each(data, words, root=root), strict=True))
    failed = {command: done for command, done in said.items() if done.status}
    assert failed == {}
    text = "\n".join(page.extract_text() for page in pypdf.PdfReader(paper).pages)
    return Grown(said, text, before, tag)


def test_a_kind_is_a_word_and_a_migration(grown: Grown) -> None:
    assert "type_kind" in grown.said["makemigrations"].out
    assert "2 items new" in grown.said["import_register"].out
    assert "hood" in grown.said["shell"].out
    assert "hood" in grown.paper


def test_a_fact_is_a_row_a_field_and_a_migration_and_is_unknown_of_before(grown: Grown) -> None:
    assert "colour" in grown.said["makemigrations"].out
    assert "orange" in grown.said["shell"].out
    assert "orange" in grown.paper
    assert grown.old_tag in grown.said["explain"].out


def test_a_rule_goes_by_the_new_kind_and_the_new_fact(grown: Grown) -> None:
    rows = list(csv.DictReader(io.StringIO(grown.said["due"].out)))
    assert [(row["tag"], row["due_on"], row["rule"]) for row in rows] == [
        ("H-1", "2022-05-05", "hood-orange")
    ]


def test_a_procedure_is_a_file_and_is_done_on_the_new_kind(grown: Grown) -> None:
    assert "\n['hood-inspection']\n" in grown.said["shell"].out


def test_the_old_records_hold_in_the_grown_program(grown: Grown) -> None:
    assert grown.said["verify_ledger"].out == "every chain holds and every guard is in place\n"

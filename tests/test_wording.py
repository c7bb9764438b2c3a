"""How the program speaks, everywhere alike: what no single page or command can show."""

import ast
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

from django.conf import settings

from tests.console import ROOT

PACKAGES = ("config", "registry", "servicing", "reports")


@cache
def sources() -> dict[Path, ast.Module]:
    """Return every file of the program, read."""
    files = (path for package in PACKAGES for path in sorted((ROOT / package).rglob("*.py")))
    return {
        path.relative_to(ROOT): ast.parse(path.read_text("utf-8"))
        for path in files
        if "migrations" not in path.parts
    }


def texts(tree: ast.Module) -> Iterator[tuple[int, str]]:
    """Yield the texts of a file that can reach somebody, all but docstrings, with their lines."""
    beside = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and id(node) not in beside:
            yield node.lineno, node.value if isinstance(node.value, str) else ""


def test_no_message_names_a_command_otherwise_than_the_program_was_started() -> None:
    named = [
        f"{path}:{line}: {text!r}"
        for path, tree in sources().items()
        for line, text in texts(tree)
        if "manage.py" in text and path != Path("config/settings.py")
    ]
    assert not named, "say settings.PROGRAM, or %(prog)s in a command's own help"
    pages = (ROOT / "templates").rglob("*.html")
    assert not [path for path in pages if "manage.py" in path.read_text("utf-8")], "{% program %}"
    assert settings.PROGRAM == "manage.py"  # of a checkout; test_wheel.py has the other


DAY_OR_MOMENT = re.compile(
    r"_(on|at)$|^(on|today|moment|known_by|known_from|valid_from|valid_until)$"
)
"""How the house names days and moments (DEVELOPERS.md); `since` and `until` are mostly words."""
DATE_CODES = re.compile("%[YmdbBHMS]")
WRITTEN_FOR_MACHINES = {
    "registry/lists/pure/cells.py": "days of a spreadsheet as lists are written",
    "registry/cells/pure/days.py": "the month as a list is to write it",
    "registry/items/facts.py": "the month as a list or the field has it",
    "reports/documents/pure/sheet.py": "the moment inside a PDF file",
    "reports/documents/queries/numbering.py": "the day inside a paper's number",
    "servicing/demo/pure/stock.py": "a made month in a list",
    "servicing/desk/item/forms/items.py": "a made month as the field takes it",
    "servicing/desk/people/views/trail.py": "the day in a file's name",
    "servicing/due/queries/items.py": "the moment in an address",
    "servicing/desk/item/queries.py": "the moment in an address",
    "servicing/ledger/pure/shoulder.py": "a month as it is stamped on metal, and as it is stored",
    "servicing/hydrostatic/queries.py": "a made month as the field takes it",
    "servicing/desk/work/views/home.py": "names of months in a chart",
}
"""Files that write a day or a moment with a format of their own, and what for."""
NO_DAY = {
    "servicing/due/models.py": "how rows show themselves to who maintains the program",
    "servicing/due/pure/answer.py": "`today` is the rest of a sentence",
    "reports/documents/pure/assembly.py": "`known_by` came as words",
    "reports/documents/pure/record.py": "`known_by` came as words",
    "reports/documents/pure/overdue.py": "`on` is a day in words that no line breaks",
    "reports/documents/pure/sheet.py": "`cautions_on` is a page",
}
"""Files in which such a name shows something else, and what."""


def shown(tree: ast.Module) -> Iterator[tuple[int, str, str]]:
    """Yield what a file's sentences put in: the line, the name of the value, and its format."""
    for node in ast.walk(tree):
        if not isinstance(node, ast.FormattedValue):
            continue
        found = node.value.values[0] if isinstance(node.value, ast.BoolOp) else node.value
        name = getattr(found, "attr", getattr(found, "id", ""))
        yield node.lineno, name, ast.unparse(node.format_spec) if node.format_spec else ""


def test_no_sentence_shows_a_day_or_a_moment_as_it_comes() -> None:
    raw = {
        path.as_posix(): f"{line}: {name}"
        for path, tree in sources().items()
        for line, name, form in shown(tree)
        if DAY_OR_MOMENT.search(name) and not form
    }
    assert raw.keys() == NO_DAY.keys(), (
        "say day_words or moment_words for people, isoformat for machines"
    )


def test_who_writes_a_day_in_a_format_of_its_own_says_what_for() -> None:
    own = {
        path.as_posix()
        for path, tree in sources().items()
        for _, _, form in shown(tree)
        if DATE_CODES.search(form)
    }
    assert own == set(WRITTEN_FOR_MACHINES)


def test_templates_write_days_and_moments_as_sentences_do() -> None:
    said = {"j M Y", "j M Y, H:i", "M Y", "j M, H:i"}
    stamps = {"Y", "m", "d", "j F Y", "j F Y, H:i"}  # the date stamp, and what is read aloud
    machines = {"Y-m-d", "Y-m-d H:i:sO", "c"}  # addresses and attributes
    formats = {
        (path.relative_to(ROOT).as_posix(), form)
        for path in sorted((ROOT / "templates").rglob("*.html"))
        for form in re.findall(r"\|date:[\"']([^\"']*)[\"']", path.read_text("utf-8"))
    }
    assert not {(path, form) for path, form in formats if form not in said | stamps | machines}
    bare = {
        (path.relative_to(ROOT).as_posix(), name)
        for path in sorted((ROOT / "templates").rglob("*.html"))
        for name in re.findall(r"\{\{ *([\w.]+)(?:\|\w+)* *\}\}", path.read_text("utf-8"))
        if DAY_OR_MOMENT.search(name.rpartition(".")[2])
        and not name.startswith(("form.", "as_of."))
    }
    assert bare == {("templates/parts/lifeline.html", "life.today")}  # a place on the line

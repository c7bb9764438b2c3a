"""How the program speaks, everywhere alike: what no single page or command can show."""

import ast
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
    assert settings.PROGRAM == "manage.py"  # of a checkout; test_wheel.py has the other

"""Who follows the page of an item, from its view to the templates, opens few files."""

import ast
import re
from importlib.util import find_spec
from pathlib import Path

ROOT = Path(__file__).resolve().parents[4]
VIEW, VALUE = "servicing.desk.item.views.sheet", "servicing.desk.item.queries"
OURS = ("registry", "servicing", "reports", "config")
INCLUDED = re.compile(r"""{% include ["']([^"']+)["']""")


def imported(module: str) -> set[str]:
    """Return our modules that a module takes something from."""
    tree = ast.parse((ROOT / f"{module.replace('.', '/')}.py").read_text())
    found = {node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    return {name for name in found if name and name.split(".")[0] in OURS and find_spec(name)}


def included(template: str) -> set[str]:
    """Return a template and every one that it includes, the frame of all pages apart."""
    text = (ROOT / "templates" / template).read_text()
    return {template}.union(*map(included, INCLUDED.findall(text)))


def test_the_page_of_an_item_is_followed_in_few_files() -> None:
    modules = {VIEW, VALUE} | imported(VIEW) | imported(VALUE)
    templates = included("desk/item/item.html")
    assert len(modules) <= 25, sorted(modules)
    assert len(templates) <= 10, sorted(templates)

"""What lies among the queries asks and changes nothing: no row, no log."""

import ast

from tests.test_wording import sources

WRITES = {"save", "create", "delete", "bulk_create", "bulk_update", "update_or_create"}
WRITES |= {"get_or_create", "aupdate", "executemany"}


def test_queries_write_nothing() -> None:
    written = [
        f"{path}:{node.lineno}: {node.func.attr}"
        for path, tree in sources().items()
        if "queries" in (*path.parts, path.stem)
        for node in ast.walk(tree)
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute)
        if node.func.attr in WRITES
    ]
    assert not written, "an action writes, in its transaction and with its note in the trail"


def test_queries_log_nothing() -> None:
    logged = [
        path
        for path, tree in sources().items()
        if "queries" in (*path.parts, path.stem)
        for node in ast.walk(tree)
        if isinstance(node, ast.Import) and any(each.name == "logging" for each in node.names)
    ]
    assert not logged

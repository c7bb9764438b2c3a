"""Whatever code and tests cite of this project stands in it."""

import ast
import io
import re
import tokenize
from collections.abc import Iterator
from pathlib import Path

from tests.console import ROOT

PACKAGES = ("config", "registry", "servicing", "reports", "tests")
ID = re.compile(r"\b([A-FX])([1-9]\d?)\b")
SPAN = re.compile(r"\b([A-FX])([1-9]\d?) to \1([1-9]\d?)\b")
SENTENCE = re.compile(r"due/README ([1-9]\d?)(?: and ([1-9]\d?))?")
ELSEWHERE = re.compile(r"\b(?:design|expectations|screens|house|style)\.md\b|\b[Ii]ssue \d")
CITES_NONE = {"registry/sets/pure/compatibility.py"}  # A1 to A3 are outlet classes of EN 144-2
MIGRATIONS = "migrations"  # are never edited; due/README says what an old one means


def told(path: Path) -> Iterator[str]:
    """Yield the docstrings and comments of a file."""
    text = path.read_text("utf-8")
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef):
            yield ast.get_docstring(node) or ""
    for token in tokenize.generate_tokens(io.StringIO(text).readline):
        if token.type == tokenize.COMMENT:
            yield token.string


def ours() -> list[Path]:
    found = [path for part in PACKAGES for path in sorted((ROOT / part).rglob("*.py"))]
    return [path for path in found if MIGRATIONS not in path.parts and path != Path(__file__)]


def cited(text: str) -> set[str]:
    """Return the ids that a text cites, those inside a span too."""
    ids = {f"{letter}{number}" for letter, number in ID.findall(text)}
    for letter, first, last in SPAN.findall(text):
        ids |= {f"{letter}{number}" for number in range(int(first), int(last) + 1)}
    return ids


def listed() -> list[str]:
    text = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    return re.findall(r"^\| ([A-FX]\d{1,2}) \|", text, re.MULTILINE)


def sentences() -> list[str]:
    text = (ROOT / "servicing/due/README.md").read_text("utf-8")
    return re.findall(r"^(\d+)\. ", text, re.MULTILINE)


def test_every_id_that_is_cited_is_explained_and_every_explained_one_is_cited() -> None:
    found: set[str] = set()
    for path in ours():
        if path.relative_to(ROOT).as_posix() in CITES_NONE:
            continue
        ids = set().union(*map(cited, told(path)))
        unknown = ids - set(listed())
        assert not unknown, f"{path.relative_to(ROOT)} cites what DEVELOPERS.md doesn't have"
        found |= ids
    assert set(listed()) - found == set()
    assert len(listed()) == len(set(listed()))


def test_every_sentence_about_due_dates_that_is_cited_is_there() -> None:
    assert sentences() == [str(number) for number in range(1, len(sentences()) + 1)]
    numbers = set()
    for path in ours():
        for pair in SENTENCE.findall(path.read_text("utf-8")):
            numbers |= set(filter(None, pair))
            assert numbers <= set(sentences()), path
    assert len(numbers) > len(sentences()) / 2


def test_nothing_cites_a_page_that_is_not_here() -> None:
    pages = [*ours(), ROOT / "DEVELOPERS.md", ROOT / "README.md"]
    pages += [*(ROOT / "templates").rglob("*.html"), *(ROOT / "fixtures").rglob("*.toml")]
    elsewhere = {
        f"{path.relative_to(ROOT)}: {found[0]}"
        for path in pages
        for found in ELSEWHERE.finditer(path.read_text("utf-8"))
    }
    assert elsewhere == set()


def test_a_span_of_ids_cites_all_between() -> None:
    assert cited("D2, D4 to D6: and X13") == {"D2", "D4", "D5", "D6", "X13"}

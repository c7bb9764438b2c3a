"""The measures of this program's source: python -m tests.measures prints them.

A file's lines are those that aren't blank; files without any, migrations and tests are left
out. A function's length runs from `def` to its last line, docstring included.
"""

import ast
import re
from collections import Counter, deque
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from itertools import chain
from pathlib import Path
from statistics import median

ROOT = Path(__file__).resolve().parent.parent
PACKAGES = ("config", "registry", "servicing", "reports")
DEFINES = (ast.FunctionDef, ast.ClassDef)
CLOCK = re.compile(r"\btimezone\.now\(|\bdatetime\.now\(|\bdate\.today\(|\blocaldate\(")
LOADS = re.compile(r"{% (?:include|extends) [\"']([^\"']+)[\"']|{% load ([^%]+) %}")
TEMPLATE = re.compile(r"[\w/-]+\.html")
ITEM_PAGE = ("servicing.desk.item.views.sheet", "item_page")


@dataclass(frozen=True)
class Source:
    """A file of the program, read."""

    name: str
    text: str
    tree: ast.Module

    @property
    def lines(self) -> int:
        return sum(1 for line in self.text.splitlines() if line.strip())

    def functions(self) -> list[ast.FunctionDef]:
        return [node for node in ast.walk(self.tree) if isinstance(node, ast.FunctionDef)]


@cache
def sources() -> tuple[Source, ...]:
    """Read every file of the program that says something."""
    paths = chain.from_iterable(sorted((ROOT / part).rglob("*.py")) for part in PACKAGES)
    read = [
        Source(path.relative_to(ROOT).as_posix(), text, ast.parse(text))
        for path in paths
        if "migrations" not in path.parts
        for text in [path.read_text("utf-8")]
    ]
    return tuple(source for source in read if source.lines)


def imports(source: Source, *, ours: bool = False) -> list[ast.alias]:
    """Return each name that a file imports: all, or only those of our own packages.

    Python's own (`date`, `dataclass`, `Iterable`, `Any`) and Django's alone are five in the
    median file and ten at the 90 %. Nobody must look those up, and no file gets simpler without
    them; so how much of the program one must know to read a file is the count of ours.
    """
    nodes = [n for n in ast.walk(source.tree) if isinstance(n, ast.Import | ast.ImportFrom)]
    if ours:
        nodes = [n for n in nodes if getattr(n, "module", "").partition(".")[0] in PACKAGES]
    return [alias for node in nodes for alias in node.names]


def hidden_imports() -> list[str]:
    """Return where a function imports: each steps over a cycle.

    An app's `ready` must: its models can't be imported before.
    """
    return [
        f"{source.name}:{node.lineno}"
        for source in sources()
        if not source.name.endswith("/apps.py")
        for function in source.functions()
        for node in ast.walk(function)
        if isinstance(node, ast.Import | ast.ImportFrom)
    ]


def clocks() -> dict[str, int]:
    """Return by file how often it asks what day or moment it is."""
    asked = {source.name: len(CLOCK.findall(source.text)) for source in sources()}
    return {name: count for name, count in asked.items() if count}


def lengths() -> list[tuple[int, str]]:
    """Return the length of each function, with its place."""
    return [
        ((f.end_lineno or f.lineno) - f.lineno + 1, f"{source.name}:{f.name}")
        for source in sources()
        for f in source.functions()
    ]


def untyped() -> list[str]:
    return [f"{s.name}:{f.name}" for s in sources() for f in s.functions() if f.returns is None]


def without_docstring() -> list[str]:
    """Return the public functions of `pure`, `actions` and `queries` that say nothing of
    themselves; a method is one of its class."""
    layers = re.compile(r"/(?:pure|actions|queries)(?:\.py$|/)")
    return [
        f"{source.name}:{node.name}"
        for source in sources()
        if layers.search(source.name)
        for node in source.tree.body
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_")
        if not ast.get_docstring(node)
    ]


def said(tree: ast.AST) -> Iterator[str]:
    """Yield the names that code uses, those at the end of dotted texts too, and no imports."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Name):
            yield node.id
        elif isinstance(node, ast.Attribute):
            yield node.attr
        elif isinstance(node, ast.Constant) and re.fullmatch(r"[\w.]+", str(node.value)):
            yield str(node.value).rpartition(".")[2]


def unused() -> list[str]:
    """Return the public functions that nothing of the program uses, whatever tests do.

    What a decorator hands to a framework is used by that; `main` by the wheel's command. A
    name counts as used wherever it is said, so this finds too few rather than too many.
    """
    uses = Counter(name for source in sources() for name in said(source.tree))
    return [
        f"{source.name}:{node.name}"
        for source in sources()
        for node in source.tree.body
        if isinstance(node, ast.FunctionDef) and not node.decorator_list
        if not node.name.startswith("_") and node.name != "main"
        if uses[node.name] == Counter(said(node))[node.name]
    ]


def p90(values: list[int]) -> int:
    return sorted(values)[int(len(values) * 0.9)]


# ── What somebody opens who follows the item page ───────────────────────────────────────────────


@cache
def modules() -> dict[str, Source]:
    """Return the files by the names that imports give them."""
    return {
        source.name.removesuffix(".py").removesuffix("/__init__").replace("/", "."): source
        for source in sources()
    }


def bound(source: Source) -> Iterator[tuple[str, str, str]]:
    """Yield each name that a file imports from ours: name here, module, name there ("": all)."""
    for node in source.tree.body:
        if isinstance(node, ast.ImportFrom) and node.module and not node.level:
            for alias in node.names:
                whole = f"{node.module}.{alias.name}"
                there = (whole, "") if whole in modules() else (node.module, alias.name)
                if there[0] in modules():
                    yield alias.asname or alias.name, *there


def defined(source: Source, name: str) -> list[ast.AST]:
    """Return what a file says of a name at its top."""
    found: list[ast.AST] = []
    for node in source.tree.body:
        targets = node.targets if isinstance(node, ast.Assign) else [getattr(node, "target", None)]
        names = {target.id for target in targets if isinstance(target, ast.Name)}
        if (isinstance(node, DEFINES) and node.name == name) or name in names:
            found.append(node)
    return found


def followed(module: str, name: str, steps: int | None = None) -> set[str]:
    """Return the files that hold what a function of ours uses, and what that uses, and so on.

    steps: how many imports deep; to the end where none is given.

    Names are followed as imports bind them, no further than to what bears the name; a template
    is followed to those it includes, extends and loads. So a file is opened when something in
    it takes part in the page, and not because its neighbour does.
    """
    seen: set[tuple[str, str]] = set()
    files: set[str] = set()
    waiting = deque([(module, name, 0)])
    while waiting:
        module, name, step = waiting.popleft()
        if (module, name) in seen or module not in modules():
            continue
        seen.add((module, name))
        source = modules()[module]
        files.add(source.name)
        for other, called in used(source, module, name):
            deeper = step + (other != module)
            if steps is None or deeper <= steps:
                waiting.append((other, called, deeper))
        for node in chain.from_iterable(map(ast.walk, defined(source, name))):
            if isinstance(node, ast.Constant) and TEMPLATE.fullmatch(str(node.value)):
                files |= drawn(str(node.value))
    return files


def used(source: Source, module: str, name: str) -> Iterator[tuple[str, str]]:
    """Yield what a name of a file rests on: the module and the name there."""
    imported = {here: (there, called) for here, there, called in bound(source)}
    if name in imported:
        yield imported[name]
    for node in chain.from_iterable(map(ast.walk, defined(source, name))):
        if isinstance(node, ast.Name):
            yield imported.get(node.id, (module, node.id))
        elif isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
            there, called = imported.get(node.value.id, ("", "no module"))
            if not called:
                yield there, node.attr


def drawn(template: str) -> set[str]:
    """Return a template with all those it is made of, and the files of the tags it loads."""
    files: set[str] = set()
    waiting = [template]
    while waiting:
        path = ROOT / "templates" / waiting.pop()
        if not path.exists() or path.relative_to(ROOT).as_posix() in files:
            continue
        files.add(path.relative_to(ROOT).as_posix())
        for other, tags in LOADS.findall(path.read_text("utf-8")):
            waiting += [other] if other else []
            for tag in tags.split():
                files |= {s.name for s in sources() if s.name.endswith(f"templatetags/{tag}.py")}
    return files


def report() -> Iterator[str]:
    """Yield the measures, a line each; where an aim is stated it stands behind."""
    sizes = sorted((source.lines, source.name) for source in sources())
    lines, spans = [size for size, _ in sizes], lengths()
    long = [span for span, _ in spans]
    names = [len(imports(source)) for source in sources()]
    own = [len(imports(source, ours=True)) for source in sources()]
    yield f"code: {sum(lines)} lines in {len(lines)} files"
    yield f"file: median {median(lines)} (60), 90 % {p90(lines)} (200), longest {sizes[-1]} (400)"
    yield f"function: median {median(long)} (8), 90 % {p90(long)} (25), longest {max(spans)} (60)"
    yield f"public functions without docstring: {len(without_docstring())} (0)"
    yield f"functions without return type: {len(untyped())} (0)"
    yield f"public functions that only tests use: {len(unused())} (0)"
    yield f"hidden imports: {len(hidden_imports())} (0); clocks: {clocks()}"
    yield f"imported names of a file: median {median(names)} (6), 90 % {p90(names)} (20)"
    yield f"of them ours: median {median(own)} (6), 90 % {p90(own)} (20)"
    near, all_of_it = len(followed(*ITEM_PAGE, steps=1)), len(followed(*ITEM_PAGE))
    yield f"files to follow the item page: {near} (25), with all they rest on {all_of_it}"


if __name__ == "__main__":
    print("\n".join(report()))  # noqa: T201

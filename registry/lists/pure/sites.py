"""A list of sites: the places that hold items, as a tree, with their rule tables."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial

from registry.cells.pure.codes import code, name
from registry.cells.pure.values import ValueProblem, Vocabulary
from registry.lists.pure.problems import Problem
from registry.lists.pure.reading import RowReader
from registry.lists.pure.tables import Row, read_rows

COLUMNS = frozenset({"code", "name", "parent", "timezone", "rule_tables"})

site_code = partial(code, longest=40)
site_name = partial(name, longest=120)


@dataclass(frozen=True, slots=True)
class SiteRow:
    """One site as a list names it.

    parent: the code of the site it belongs to, empty at the top. rule_tables: by name, in
    the list's order.
    """

    line: int
    code: str
    name: str
    parent: str
    timezone: str
    rule_tables: tuple[str, ...]


def read_sites(
    file: str,
    content: bytes,
    *,
    zones: frozenset[str],
    tables: frozenset[str],
    known: frozenset[str],
) -> tuple[list[SiteRow], list[Problem]]:
    """Return the sites of a list, and every problem in it by line.

    zones: names of time zones. tables: names of rule tables. known: codes in the register,
    which a parent may be as well as any code of the file, above or below.
    """
    rows, problems = read_rows(file, content, columns=COLUMNS, required=COLUMNS)
    reader = _SiteReader(file, rows, zones, tables, known)
    sites = [site for row in rows if (site := reader.site(row)) is not None]
    return sites, sorted(problems + reader.problems)


class _SiteReader:
    """Reads row by row; `problems` grows."""

    def __init__(
        self,
        file: str,
        rows: Sequence[Row],
        zones: frozenset[str],
        tables: frozenset[str],
        known: frozenset[str],
    ) -> None:
        self.problems: list[Problem] = []
        self._file = file
        self._lines: dict[str, int] = {}
        parents: dict[str, str] = {}
        for row in rows:
            parents.setdefault(row.cells["code"], row.cells["parent"])
        self._loops = _loops(parents)
        self._zones = Vocabulary(zones, "a time zone")
        self._tables = Vocabulary(tables, "a loaded rule table")
        self._parents = Vocabulary(
            known | parents.keys(), "a site of this list or the register", exact=True
        )

    def site(self, row: Row) -> SiteRow | None:
        """Return the site of a row, or nothing if something in it is refused."""
        reader = RowReader(self._file, row)
        reader.keep("code", "name", "parent")
        site = SiteRow(
            line=row.line,
            code=reader.need("code", site_code, ""),
            name=reader.need("name", site_name, ""),
            parent=reader.read("parent", self._parents.pick, ""),
            timezone=reader.need("timezone", self._zones.pick, ""),
            rule_tables=reader.read("rule_tables", self._table_names, ()),
        )
        self._check_place(reader, site)
        self.problems += reader.problems
        return site if reader.faultless else None

    def _check_place(self, reader: RowReader, site: SiteRow) -> None:
        if site.code:
            first = self._lines.setdefault(site.code, site.line)
            if first != site.line:
                reader.refuse("code", f"stands in line {first} already; keep one of the two rows")
            elif loop := self._loops.get(site.code):
                reader.refuse(
                    "parent", f"makes a loop: {' > '.join(loop)}; give one of them another parent"
                )

    def _table_names(self, text: str) -> tuple[str, ...]:
        names = [part.strip() for part in text.split(";") if part.strip()]
        picked = []
        for table in names:
            try:
                picked.append(self._tables.pick(table))
            except ValueProblem as problem:
                raise ValueProblem(f"names {table}, which {problem.remedy}") from None
        return tuple(dict.fromkeys(picked))


def _loops(parents: Mapping[str, str]) -> dict[str, tuple[str, ...]]:
    """Return the way round for the first site of every loop, as the list has them."""
    loops: dict[str, tuple[str, ...]] = {}
    settled: set[str] = {""}
    for start in parents:
        way: dict[str, None] = {}
        at = start
        while at not in settled and at not in way:
            way[at] = None
            at = parents.get(at, "")
        if at in way:
            loop = tuple(way)[tuple(way).index(at) :]
            loops[at] = (*loop, at)
        settled |= way.keys()
    return loops

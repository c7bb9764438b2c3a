"""A list of items: what each is, where it is, and what is known of it."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from registry.cells.pure.values import Vocabulary, remembered
from registry.items import facts
from registry.lists.pure.problems import Problem
from registry.lists.pure.reading import RowReader
from registry.lists.pure.tables import Row, each_row

_NAMES = tuple(facts.FACTS)
_SITE = _NAMES.index("in_service_on") + 1
HEADER = (*_NAMES[:_SITE], "site", *_NAMES[_SITE:])
"""The columns of a list of items, in the order in which README names them."""
COLUMNS = frozenset(HEADER)
REQUIRED = frozenset(HEADER[: _SITE + 1])
"""The columns that every list has, be their cells empty."""
AS_TEXT = tuple(
    fact.name for fact in facts.FACTS.values() if fact.kept is facts.Kept.TEXT and not fact.closed
)
"""What a workbook must not keep as a date: a code or a word is none."""
PLATE = ("tag", "serial")
"""What is read once only, and so not remembered."""


@dataclass(frozen=True, slots=True)
class ItemRow:
    """One item as a list describes it.

    site: its code. attributes: values for `registry.items.facts.ATTRIBUTES`, what is not said
    as it stands where nothing is known.
    """

    line: int
    tag: str
    kind: str
    maker: str
    model: str
    site: str
    attributes: Mapping[str, Any]

    @property
    def serial(self) -> str:
        """The maker's number."""
        return str(self.attributes["serial"])

    @property
    def made_on(self) -> date | None:
        """The day it was made, a month's first where only that is known."""
        made: date | None = self.attributes["made_on"]
        return made

    @property
    def known(self) -> dict[str, Any]:
        """What was read, by fact; the site apart."""
        names = {"tag": self.tag, "kind": self.kind, "maker": self.maker, "model": self.model}
        return {**names, **self.attributes}


def read_register(
    file: str,
    content: bytes,
    *,
    sites: Mapping[str, date],
    registered: Mapping[str, tuple[str, str]],
) -> tuple[list[ItemRow], list[Problem]]:
    """Return the items of a list, and every problem in it by line.

    sites: what day it is at each site, by code. registered: maker and serial of every item
    in the register, by tag. Rows with a problem are not among the items.
    """
    problems: list[Problem] = []
    rows = each_row(file, content, problems, columns=COLUMNS, required=REQUIRED)
    reader = _ItemReader(file, sites, registered)
    items = [item for row in rows if (item := reader.item(row)) is not None]
    return items, sorted(problems + reader.problems)


class _ItemReader:
    """Reads row by row and remembers what stood before; `problems` grows."""

    def __init__(
        self, file: str, sites: Mapping[str, date], registered: Mapping[str, tuple[str, str]]
    ) -> None:
        self.problems: list[Problem] = []
        self._file = file
        self._sites = sites
        self._registered = registered
        self._owners = {facts.plate_of(*plate): tag for tag, plate in registered.items()}
        self._tag_lines: dict[str, int] = {}
        self._plate_lines: dict[tuple[str, str], int] = {}
        self._site = Vocabulary(sites.keys(), "a site of the register", exact=True).pick
        self._reads = {
            name: fact.reads if name in PLATE else remembered(fact.reads)
            for name, fact in facts.FACTS.items()
        }

    def item(self, row: Row) -> ItemRow | None:
        """Return the item of a row, or nothing if something in it is refused."""
        reader = RowReader(self._file, row)
        item = self._described(reader)
        self._check_tag(reader, item)
        self._checkplate_of(reader, item)
        today = self._sites.get(item.site)
        said = {column for column, text in row.cells.items() if text}
        for column, remedy in facts.misfits(item.known, said, today=today, site=item.site):
            reader.refuse(column, remedy)
        self.problems += reader.problems
        return item if reader.faultless else None

    def _described(self, reader: RowReader) -> ItemRow:
        reader.keep(*AS_TEXT)
        values = {
            name: (reader.need if fact.needed else reader.read)(
                name, self._reads[name], fact.unknown
            )
            for name, fact in facts.FACTS.items()
        }
        not_made = (facts.UNKNOWN[facts.Kept.DAY], False)
        values["made_on"], values[facts.TO_MONTH] = values["made_on"] or not_made
        return ItemRow(
            line=reader.row.line,
            tag=values["tag"],
            kind=values["kind"],
            maker=values["maker"],
            model=values["model"],
            site=reader.need("site", self._site, ""),
            attributes={name: values[name] for name in facts.ATTRIBUTES},
        )

    def _check_tag(self, reader: RowReader, item: ItemRow) -> None:
        if not item.tag:
            return
        first = self._tag_lines.setdefault(item.tag, item.line)
        if first != item.line:
            reader.refuse("tag", f"stands in line {first} already; keep one of the two rows")
        plate = self._registered.get(item.tag, (item.maker, item.serial))
        if item.maker and item.serial and plate != (item.maker, item.serial):
            reader.refuse(
                "tag",
                f"is registered with maker {plate[0]} and serial {plate[1]}, not {item.maker} "
                f"and {item.serial}; correct the tag, or what stands on the plate",
            )

    def _checkplate_of(self, reader: RowReader, item: ItemRow) -> None:
        if not (item.maker and item.serial):
            return
        plate = facts.plate_of(item.maker, item.serial)
        first = self._plate_lines.setdefault(plate, item.line)
        if first != item.line:
            reader.refuse(
                "serial",
                f"of maker {item.maker} stands in line {first} already; "
                "correct the serial or delete one of the two rows",
            )
        owner = self._owners.get(plate, item.tag)
        if item.tag and owner != item.tag:
            reader.refuse(
                "serial",
                f"of maker {item.maker} is registered with the tag {owner}; "
                "write that tag, or correct the serial",
            )

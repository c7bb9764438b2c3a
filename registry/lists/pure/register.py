"""A list of items: what each is, where it is, and what is known of it."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import partial

from registry.items.pure import Construction, Fibre, Kind
from registry.lists.pure.codes import code, name
from registry.lists.pure.days import day, month_or_day
from registry.lists.pure.problems import Problem
from registry.lists.pure.reading import RowReader
from registry.lists.pure.tables import Row, each_row
from registry.lists.pure.values import Measure, ValueProblem, Vocabulary, remembered, whole

REQUIRED = frozenset(
    {"tag", "kind", "maker", "model", "serial", "made_on", "in_service_on", "site"}
)
OF_CYLINDERS = (
    "specification",
    "construction",
    "fibre",
    "water_capacity_l",
    "test_pressure_bar",
    "tare_kg",
    "ree_ml",
)
# Marks and a design life are put on masks and reducers too (see general-apparatus.toml).
OF_ANY_KIND = ("marks", "design_life_years", "working_pressure_bar", "connection", "size")
COLUMNS = REQUIRED | {*OF_CYLINDERS, *OF_ANY_KIND}
YEARS_AHEAD = 2
"""So far ahead an item may be planned to go into service."""

MARK = re.compile(r"[a-z0-9][a-z0-9-]{0,29}")

# Ends beyond which a unit or a point must have been mistaken, and the places the register keeps.
PRESSURE = Measure(Decimal(1), Decimal(1000), "bar", places=2)
CAPACITY = Measure(Decimal("0.1"), Decimal(150), "l", places=3)
TARE = Measure(Decimal("0.1"), Decimal(200), "kg", places=3)
EXPANSION = Measure(Decimal("0.1"), Decimal(5000), "ml", places=3)

life_years = partial(whole, low=1, high=60, unit="years")
maker_name = partial(name, longest=80)
connection_name = partial(name, longest=40)
size_name = partial(name, longest=20)


@dataclass(frozen=True, slots=True)
class ItemRow:
    """One item as a list describes it; a text is empty where nothing is said.

    made_on: the month's first day if made_to_month. site: its code. Units are in the names.
    """

    line: int
    tag: str
    kind: str
    maker: str
    model: str
    serial: str
    made_on: date | None
    made_to_month: bool
    in_service_on: date | None
    site: str
    specification: str
    construction: str
    fibre: str
    marks: tuple[str, ...]
    water_capacity_l: Decimal | None
    working_pressure_bar: Decimal | None
    test_pressure_bar: Decimal | None
    tare_kg: Decimal | None
    ree_ml: Decimal | None
    design_life_years: int | None
    connection: str
    size: str


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
        self._owners = {_plate(*plate): tag for tag, plate in registered.items()}
        self._tag_lines: dict[str, int] = {}
        self._plate_lines: dict[tuple[str, str], int] = {}
        self._site = Vocabulary(sites.keys(), "a site of the register", exact=True).pick
        self._kind = Vocabulary(list(Kind), "a kind of item").pick
        self._construction = Vocabulary(list(Construction), "a construction").pick
        self._fibre = Vocabulary(list(Fibre), "a fibre").pick
        self._day = remembered(day)
        self._made = remembered(month_or_day)
        self._specification = remembered(specification)
        self._marks = remembered(marks)
        self._pressure = remembered(PRESSURE.read)
        self._capacity = remembered(CAPACITY.read)
        self._tare = remembered(TARE.read)
        self._expansion = remembered(EXPANSION.read)

    def item(self, row: Row) -> ItemRow | None:
        """Return the item of a row, or nothing if something in it is refused."""
        reader = RowReader(self._file, row)
        item = self._described(reader)
        self._check_tag(reader, item)
        self._check_plate(reader, item)
        self._check_days(reader, item)
        _check_cylinder(reader, item)
        self.problems += reader.problems
        return item if reader.faultless else None

    def _described(self, reader: RowReader) -> ItemRow:
        reader.keep("tag", "serial", "model", "maker", "size", "connection", "specification")
        made_on, to_month = reader.read("made_on", self._made, (None, False))
        return ItemRow(
            line=reader.row.line,
            tag=reader.need("tag", code, ""),
            kind=reader.need("kind", self._kind, ""),
            maker=reader.need("maker", maker_name, ""),
            model=reader.read("model", maker_name, ""),
            serial=reader.need("serial", code, ""),
            made_on=made_on,
            made_to_month=to_month,
            in_service_on=reader.read("in_service_on", self._day, None),
            site=reader.need("site", self._site, ""),
            specification=reader.read("specification", self._specification, ""),
            construction=reader.read("construction", self._construction, ""),
            fibre=reader.read("fibre", self._fibre, ""),
            marks=reader.read("marks", self._marks, ()),
            water_capacity_l=reader.read("water_capacity_l", self._capacity, None),
            working_pressure_bar=reader.read("working_pressure_bar", self._pressure, None),
            test_pressure_bar=reader.read("test_pressure_bar", self._pressure, None),
            tare_kg=reader.read("tare_kg", self._tare, None),
            ree_ml=reader.read("ree_ml", self._expansion, None),
            design_life_years=reader.read("design_life_years", life_years, None),
            connection=reader.read("connection", connection_name, ""),
            size=reader.read("size", size_name, ""),
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

    def _check_plate(self, reader: RowReader, item: ItemRow) -> None:
        if not (item.maker and item.serial):
            return
        plate = _plate(item.maker, item.serial)
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

    def _check_days(self, reader: RowReader, item: ItemRow) -> None:
        today = self._sites.get(item.site)
        if today and item.made_on and item.made_on > today:
            reader.refuse("made_on", f"is in the future; at {item.site} today is {today}")
        put = item.in_service_on
        if today and put and put > _years_on(today, YEARS_AHEAD):
            reader.refuse(
                "in_service_on",
                f"is more than {YEARS_AHEAD} years ahead; at {item.site} today is {today}",
            )
        # A month of make counts as its first day, so any day of that month is late enough.
        if put and item.made_on and put < item.made_on:
            made = reader.row.cells["made_on"]
            reader.refuse("in_service_on", f"is before it was made, {made}; correct one of the two")


def specification(text: str) -> str:
    """Return a cylinder's specification as lists write it: as stamped, hyphens for spaces."""
    stamped = code(text, longest=40)
    wanted = re.sub(r"[\s_]+", "-", stamped).upper()
    if stamped != wanted:
        raise ValueProblem(f"has spaces or small letters; write it with hyphens, {wanted}")
    return stamped


def marks(text: str) -> tuple[str, ...]:
    """Return the words of a `;` list, each once, in their order."""
    words = [part.strip() for part in text.split(";") if part.strip()]
    for word in words:
        if MARK.fullmatch(word) is None:
            raise ValueProblem(
                f"holds the mark {word!r}; write marks as small words with ; between them, "
                "such as plus;star"
            )
    return tuple(dict.fromkeys(words))


def _check_cylinder(reader: RowReader, item: ItemRow) -> None:
    """Check what only cylinders have, and that it fits together."""
    if item.kind and item.kind != Kind.CYLINDER:
        for column in OF_CYLINDERS:
            if reader.row.cells.get(column):
                reader.refuse(
                    column, f"belongs to cylinders only; empty the cell, as this is a {item.kind}"
                )
        return
    if item.construction == Construction.TYPE_1 and item.fibre:
        reader.refuse(
            "fibre", "can't be on a type-1 cylinder, which is all metal; correct one of the two"
        )
    working, tested = item.working_pressure_bar, item.test_pressure_bar
    if working and tested and tested < working:
        reader.refuse(
            "test_pressure_bar",
            f"is below the working pressure of {working} bar; correct one of the two",
        )


def _plate(maker: str, serial: str) -> tuple[str, str]:
    """Return what tells items apart: a maker written in other capitals is the same maker."""
    return maker.casefold(), serial


def _years_on(today: date, years: int) -> date:
    try:
        return today.replace(year=today.year + years)
    except ValueError:  # 29 February
        return today.replace(year=today.year + years, day=28)

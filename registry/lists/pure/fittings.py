"""A list of what was fitted to which set, from when to when."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from registry.cells.pure.codes import code
from registry.cells.pure.days import day
from registry.cells.pure.values import Vocabulary
from registry.items.pure import Kind, a_kind
from registry.lists.pure.problems import Problem
from registry.lists.pure.reading import RowReader
from registry.lists.pure.tables import Row, each_row
from registry.sets.pure.places import NoPlace, Place, places_for

REQUIRED = frozenset({"set", "part", "place", "fitted_on"})
COLUMNS = REQUIRED | {"removed_on"}


@dataclass(frozen=True, slots=True)
class KnownThing:
    """What a fitting must agree with. today: what day it is at the item's site."""

    kind: str
    made_on: date | None
    today: date
    condemned_on: date | None


@dataclass(frozen=True, slots=True)
class KnownFitting:
    """A fitting that the register has already."""

    set: str
    part: str
    place: str
    fitted_on: date
    removed_on: date | None


@dataclass(frozen=True, slots=True)
class FittingRow:
    """One fitting as a list describes it; removed_on is None while it lasts."""

    line: int
    set: str
    part: str
    place: str
    fitted_on: date
    removed_on: date | None

    @property
    def key(self) -> tuple[str, str, str, date]:
        """What makes two rows the same fitting."""
        return self.set, self.part, self.place, self.fitted_on


def read_fittings(
    file: str,
    content: bytes,
    *,
    items: Mapping[str, KnownThing],
    known: Iterable[KnownFitting],
) -> tuple[list[FittingRow], list[Problem]]:
    """Return the fittings of a list, and every problem in it by line.

    items: what is registered, by tag. known: what the register has fitted already; a row
    may repeat one of those, or say when it ended.
    """
    problems: list[Problem] = []
    reader = _FittingReader(file, items, known)
    rows = each_row(file, content, problems, columns=COLUMNS, required=REQUIRED)
    found = [fitting for row in rows if (fitting := reader.fitting(row)) is not None]
    return found, sorted(problems + reader.problems)


class _FittingReader:
    """Reads row by row; `problems` grows."""

    def __init__(
        self, file: str, items: Mapping[str, KnownThing], known: Iterable[KnownFitting]
    ) -> None:
        self.problems: list[Problem] = []
        self._file = file
        self._items = items
        self._lines: dict[tuple[str, str, str, date], int] = {}
        self._tags = Vocabulary(items.keys(), "in the register", exact=True)
        self._places = Vocabulary([place.value for place in Place], "a place of a set")
        self._known = {(k.set, k.part, k.place, k.fitted_on): k for k in known}
        self._by_part: dict[str, list[FittingRow]] = {}
        self._by_place: dict[tuple[str, str], list[FittingRow]] = {}
        for k in self._known.values():
            self._keep(FittingRow(0, k.set, k.part, k.place, k.fitted_on, k.removed_on))

    def fitting(self, row: Row) -> FittingRow | None:
        """Return the fitting of a row, or nothing if something in it is refused."""
        reader = RowReader(self._file, row)
        reader.keep("set", "part", "place")
        fitted_on = reader.need("fitted_on", day, None)
        found = FittingRow(
            line=row.line,
            set=reader.need("set", self._registered, ""),
            part=reader.need("part", self._registered, ""),
            place=reader.need("place", self._places.pick, ""),
            fitted_on=fitted_on or date.min,
            removed_on=reader.read("removed_on", day, None),
        )
        if reader.faultless:
            self._check_kinds(reader, found)
            self._check_days(reader, found)
        if reader.faultless:
            self._check_others(reader, found)
        self.problems += reader.problems
        return found if reader.faultless else None

    def _registered(self, text: str) -> str:
        return self._tags.pick(text if text in self._items else code(text))

    def _check_kinds(self, reader: RowReader, row: FittingRow) -> None:
        if self._items[row.set].kind != Kind.SET:
            reader.refuse(
                "set", f"is no set but {a_kind(self._items[row.set].kind)}; correct the tag"
            )
        kind = self._items[row.part].kind
        try:
            places = places_for(kind)
        except NoPlace:
            reader.refuse("part", f"is {a_kind(kind)}, which is no part of a set; correct the tag")
            return
        if row.place not in places:
            fitting = " or ".join(places)
            reader.refuse(
                "place", f"is no place for {a_kind(kind)}; write {fitting}, or correct the tag"
            )

    def _check_days(self, reader: RowReader, row: FittingRow) -> None:
        whole, part = self._items[row.set], self._items[row.part]
        if row.fitted_on > whole.today:
            reader.refuse(
                "fitted_on",
                f"is in the future; at the set's site today is {whole.today.isoformat()}",
            )
        if part.made_on and row.fitted_on < part.made_on:
            reader.refuse(
                "fitted_on", f"is before the part was made, {part.made_on.isoformat()}; correct it"
            )
        if row.removed_on and row.removed_on < row.fitted_on:
            reader.refuse(
                "removed_on", f"is before it was fitted, {row.fitted_on.isoformat()}; correct it"
            )
        if row.removed_on and row.removed_on > whole.today:
            reader.refuse("removed_on", f"is in the future; today is {whole.today.isoformat()}")
        if part.condemned_on and (row.removed_on is None or row.removed_on > part.condemned_on):
            reader.refuse(
                "part",
                f"was condemned on {part.condemned_on.isoformat()}; write in removed_on when it "
                "came out, that day at the latest",
            )

    def _check_others(self, reader: RowReader, row: FittingRow) -> None:
        """Refuse a row twice, one that contradicts the register, and one that overlaps another."""
        first = self._lines.setdefault(row.key, row.line)
        if first != row.line:
            reader.refuse("part", f"stands in line {first} already; keep one of the two rows")
            return
        known = self._known.get(row.key)
        if known is not None:
            self._forget(known)
            if known.removed_on is not None and known.removed_on != row.removed_on:
                reader.refuse(
                    "removed_on",
                    f"differs from the register, which has {known.removed_on.isoformat()}; what "
                    "is closed is never changed",
                )
                return
        same_part = self._by_part.get(row.part, ())
        same_place = self._by_place.get((row.set, row.place), ())
        for column, others in (("part", same_part), ("place", same_place)):
            other = next((other for other in others if _overlap(row, other)), None)
            if other is not None:
                where = f"line {other.line}" if other.line else "the register"
                until = f"until {other.removed_on.isoformat()}" if other.removed_on else "and still"
                reader.refuse(
                    column,
                    f"is taken: {where} has {other.part} in {other.set} as {other.place} from "
                    f"{other.fitted_on.isoformat()} {until}; correct one of the days",
                )
        if reader.faultless:
            self._keep(row)

    def _keep(self, row: FittingRow) -> None:
        self._by_part.setdefault(row.part, []).append(row)
        self._by_place.setdefault((row.set, row.place), []).append(row)

    def _forget(self, known: KnownFitting) -> None:
        """Take a known fitting out of the way of the row that repeats it."""
        for rows in (self._by_part[known.part], self._by_place[known.set, known.place]):
            rows[:] = [
                row
                for row in rows
                if row.line or row.key != (known.set, known.part, known.place, known.fitted_on)
            ]


def _overlap(one: FittingRow, other: FittingRow) -> bool:
    """Say whether two spans share a day; what came out on a day leaves that day free."""
    one_end, other_end = one.removed_on or date.max, other.removed_on or date.max
    if one_end == one.fitted_on or other_end == other.fitted_on:
        return False
    return one.fitted_on < other_end and other.fitted_on < one_end

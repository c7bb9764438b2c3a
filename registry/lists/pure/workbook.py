"""Workbooks (.xlsx): which sheet is read, and what each of its cells holds.

Only the first sheet is read; that others hold data is told. A cell with a formula is refused,
for the result stored beside it may be old. What a sheet claims about its own size is not read.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from posixpath import basename, dirname, join, normpath

from registry.lists.pure.archive import SAVE_AS_XLSX, Archive
from registry.lists.pure.cells import EPOCH_1900, EPOCH_1904, Shape, shape_of
from registry.lists.pure.raw import NotReadable, RawRow
from registry.lists.pure.sheet import FirstCell, Sheet, Strings

PACKAGE = ""
"""The whole file has relations too, and stands in no folder."""
YES = ("1", "true")


@dataclass(frozen=True, slots=True)
class Workbook:
    """An opened workbook.

    rows: the first sheet's rows that hold anything, from the top, while they are asked for;
    NotReadable is raised where the sheet is damaged. others: other sheets that hold data.
    """

    rows: Iterator[RawRow]
    others: tuple[str, ...]


def open_workbook(content: bytes) -> Workbook:
    """Open a workbook; raises NotReadable where it is none or isn't safe to read."""
    archive = Archive(content)
    book = _target(archive, PACKAGE, "officedocument")
    tags = archive.tags(book, "workbookPr", "sheet")
    sheets = _sheets(archive, book, [found for name, found in tags if name == "sheet"])
    if not sheets:
        raise NotReadable(f"has no sheet; {SAVE_AS_XLSX}")
    mac = any(found.get("date1904") in YES for name, found in tags if name == "workbookPr")
    epoch = EPOCH_1904 if mac else EPOCH_1900
    return Workbook(
        rows=_rows(archive, book, sheets[0][1], epoch),
        others=tuple(title for title, part in sheets[1:] if _holds_data(archive, part)),
    )


def _rows(archive: Archive, book: str, part: str, epoch: datetime) -> Iterator[RawRow]:
    strings = Strings()
    if (table := _target(archive, book, "sharedstrings", otherwise="")) in archive:
        archive.run(table, strings)
    sheet = Sheet(strings.found, _shapes(archive, book), epoch)
    for _ in archive.parse(part, sheet):
        yield from sheet.take()


def _holds_data(archive: Archive, part: str) -> bool:
    cells = FirstCell()
    archive.run(part, cells)
    return cells.done


def _sheets(archive: Archive, book: str, sheets: list[dict[str, str]]) -> list[tuple[str, str]]:
    """Return the title and part of every sheet of cells, in the order of the tabs."""
    parts = {
        found.get("Id", ""): _resolved(book, found.get("Target", ""))
        for _, found in archive.tags(_rels_of(book), "Relationship")
        if found.get("Type", "").lower().endswith("/worksheet")
    }
    # The attribute is r:id, whatever its namespace is called in this edition of the format.
    named = [
        (found.get("name", ""), value)
        for found in sheets
        for key, value in found.items()
        if key.endswith(" id")
    ]
    return [(title, parts[number]) for title, number in named if number in parts]


def _shapes(archive: Archive, book: str) -> list[Shape]:
    """Return what each cell style makes of a number, by the style's place in the list."""
    styles = _target(archive, book, "styles", otherwise="")
    codes: dict[str, str] = {}
    shapes: list[Shape] = []
    inside = False
    for name, found in archive.tags(styles, "numFmt", "cellStyleXfs", "cellXfs", "xf"):
        if name == "numFmt":
            codes[found.get("numFmtId", "")] = found.get("formatCode", "")
        elif name == "xf":
            if inside:
                number = found.get("numFmtId", "")
                shapes.append(shape_of(int(number or 0), codes.get(number, "")))
        else:
            inside = name == "cellXfs"
    return shapes


def _target(archive: Archive, owner: str, kind: str, otherwise: str | None = None) -> str:
    """Return the part that the relations of another part give for a kind of thing."""
    for _, found in archive.tags(_rels_of(owner), "Relationship"):
        if found.get("Type", "").lower().endswith(f"/{kind}"):
            return _resolved(owner, found.get("Target", ""))
    if otherwise is None:
        raise NotReadable(f"is a zip without a workbook in it; {SAVE_AS_XLSX}")
    return otherwise


def _rels_of(part: str) -> str:
    return join(dirname(part), "_rels", f"{basename(part)}.rels")


def _resolved(owner: str, target: str) -> str:
    return normpath(join("/", dirname(owner), target)).lstrip("/")

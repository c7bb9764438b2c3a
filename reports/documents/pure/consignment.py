"""The list that goes to the test house with the cylinders: what it must know of each."""

from dataclasses import dataclass
from datetime import date, datetime

from registry.lettering.pure import Face
from registry.wording.pure.dates import day_words, month_words
from registry.wording.pure.spans import how_many
from reports.documents.pure import ink
from reports.documents.pure.sheet import WIDTH, Sheet, hair, section, sheet_pdf
from reports.documents.pure.text import ANSWER, BODY, LEAD, QUIET, SMALL, STRONG, Style, bound
from servicing.hydrostatic.pure.listed import ListedCylinder

_TAG = Style(Face.SEMIBOLD, 10)
_NUMBER, _ITEM, _MADE, _PRESSURE, _RESULT = 0.0, 22.0, 152.0, 316.0, 414.0


@dataclass(frozen=True, slots=True)
class ConsignmentList:
    """A consignment as printed. sent_on: None while it is being packed.

    replaces: sentences on the superseded papers it stands for.
    """

    number: str
    consignment: str
    house: str
    from_site: str
    sent_on: date | None
    printed_at: datetime
    printed_by: str
    cautions: tuple[str, ...]
    rows: tuple[ListedCylinder, ...]
    replaces: tuple[str, ...] = ()


def consignment_pdf(paper: ConsignmentList) -> bytes:
    """Return the list as PDF, a cylinder a row, with room for what the house finds.

    Raises ValueError if `printed_at` has no time zone.
    """
    title = f"Consignment {paper.consignment}"
    sheet = Sheet(paper.number, title, paper.printed_at, paper.printed_by, paper.cautions)
    heads = _heads()
    blocks = [
        ink.Block(_answer(paper)),
        section("Cylinders"),
        ink.Block(heads, with_next=True),
        *(ink.Block(_row(place, each), heads) for place, each in enumerate(paper.rows, start=1)),
        *_hands(),
    ]
    return sheet_pdf(sheet, blocks)


def _answer(paper: ConsignmentList) -> tuple[ink.Strip, ...]:
    many = how_many(len(paper.rows), "cylinder")
    left = f"Left {bound(day_words(paper.sent_on))}" if paper.sent_on else "Not sent yet"
    owners = sorted({each.owner for each in paper.rows if each.owner})
    asked = (
        "Asked for: hydrostatic retest of each by its specification. Please send back the list as "
        "CSV or workbook with tag, tested_on, method (jacket, direct, proof or visual), outcome "
        "(pass, reject or condemn), by, test_pressure_bar, held_s, total_ml, permanent_ml, and "
        "the reason where one did not pass."
    )
    return (
        *ink.paragraph(f"{many} to {paper.house} for retest.", ANSWER, WIDTH, above=4, below=4),
        *ink.paragraph(f"{left}, from {paper.from_site}. Owner: {', '.join(owners)}.", LEAD, WIDTH),
        *(
            strip
            for text in paper.replaces
            for strip in ink.paragraph(text, STRONG, WIDTH, above=3)
        ),
        *ink.paragraph(asked, BODY, WIDTH, above=4, below=2),
    )


def _heads() -> tuple[ink.Strip, ...]:
    return ink.row(
        [
            ink.column(_ITEM, 124, ("tag, serial, maker", QUIET)),
            ink.column(_MADE, 158, ("specification, made and last tested, marks", QUIET)),
            ink.column(_PRESSURE, 92, ("pressure, size, REE", QUIET)),
            ink.column(_RESULT, WIDTH - _RESULT, ("the house: result, mark", QUIET)),
        ],
        11,
        above=2,
        below=2,
    )


def _row(place: int, each: ListedCylinder) -> tuple[ink.Strip, ...]:
    return ink.row(
        [
            ink.column(_NUMBER, 20, (str(place), QUIET)),
            ink.column(_ITEM, 124, (each.tag, _TAG), *_lines(f"serial {each.serial}", each.maker)),
            ink.column(_MADE, 158, *_lines(*_about(each))),
            ink.column(_PRESSURE, 92, *_lines(*_figures(each))),
            ink.column(_RESULT, WIDTH - _RESULT, ("\n_____________________", QUIET)),
        ],
        10.5,
        above=5,
        below=4,
        ruled=hair(),
    )


def _lines(*texts: str) -> list[tuple[str, Style]]:
    return [(text, SMALL) for text in texts if text]


def _about(each: ListedCylinder) -> tuple[str, ...]:
    stamped = ", ".join(filter(None, (each.specification, each.construction)))
    return (
        stamped or "specification not known",
        f"made {_said(each.made_on)}, tested {_said(each.last_test_on)}",
        f"marks: {each.marks.replace(';', ', ')}" if each.marks else "",
    )


def _said(day_or_month: str) -> str:
    """Return an ISO day or month as a person writes it: 3 Jun 2021, or Apr 2019."""
    if not day_or_month:
        return "not known"
    month = date.fromisoformat(f"{day_or_month[:7]}-01")
    return day_words(date.fromisoformat(day_or_month)) if day_or_month[7:] else month_words(month)


def _figures(each: ListedCylinder) -> tuple[str, ...]:
    asked, working = each.asked_pressure_bar, each.working_pressure_bar
    sizes = (
        f"{each.water_capacity_l} L" if each.water_capacity_l else "",
        f"REE {each.ree_ml} mL" if each.ree_ml else "",
    )
    return (
        f"test at {asked} bar" if asked else "test pressure as marked",
        f"working {working} bar" if working else "",
        ", ".join(filter(None, sizes)),
    )


def _hands() -> list[ink.Block]:
    """Return the lines on which the cylinders change hands, kept together."""
    words = "Handed over by, date: ______________________    Taken over by, date: ______________"
    return [ink.Block(ink.paragraph(words, BODY, WIDTH, above=24, below=4))]

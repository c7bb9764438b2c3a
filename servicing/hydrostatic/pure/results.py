"""A list of results as a test house sends it back: CSV or workbook, one cylinder a row."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import partial

from registry.cells.pure.codes import code, name
from registry.cells.pure.days import day
from registry.cells.pure.values import Measure, Vocabulary, whole
from registry.lists.pure.problems import Problem
from registry.lists.pure.reading import RowReader
from registry.lists.pure.tables import Row, read_rows
from servicing.hydrostatic.pure.amounts import HydroProblem, Pressure
from servicing.hydrostatic.pure.house import HOUSE_WORDS, HouseResult
from servicing.hydrostatic.pure.limits import METHODS
from servicing.hydrostatic.pure.verdict import Word
from servicing.ledger.pure.shoulder import COLUMNS as SHOULDER
from servicing.ledger.pure.shoulder import NOT_PASSED, Shoulder, shoulder_faults

VISUAL = "visual"
"""The method of a cylinder that was turned away before any pressure."""
REQUIRED = frozenset({"tag", "tested_on", "method", "outcome", "by"})
FIGURES = (
    "tested_on",
    "method",
    "outcome",
    "by",
    "test_pressure_bar",
    "test_pressure_psi",
    "held_s",
    "total_ml",
    "permanent_ml",
    "limit_percent",
    "reason",
    "mark",
    *SHOULDER.values(),
)
"""What the house fills in, in the order of the list that goes out with the cylinders."""
GIVEN = (
    "tag",
    "serial",
    "maker",
    "specification",
    "construction",
    "made_on",
    "water_capacity_l",
    "working_pressure_bar",
    "asked_pressure_bar",
    "ree_ml",
    "marks",
    "last_test_on",
    "owner",
)
"""What the house is given; of these only tag and serial are looked at on the way back."""
COLUMNS = frozenset((*GIVEN, *FIGURES))

ML = Measure(Decimal(0), Decimal(20_000), "mL", 4)
BAR = Measure(Decimal(1), Decimal(1500), "bar", 2)
PSI = Measure(Decimal(15), Decimal(22_000), "psi", 1)
PERCENT = Measure(Decimal("0.1"), Decimal(100), "%", 2)
line_of_text = partial(name, longest=200)
person = partial(name, longest=120)


@dataclass(frozen=True, slots=True)
class Sent:
    """A cylinder of the consignment as a result must fit it.

    entered: the result entered before, as `HouseResult.said`, if there is one.
    """

    serial: str
    made_on: date | None
    sent_on: date
    today: date
    entered: Mapping[str, str] | None = None


def read_results(
    file: str, content: bytes, *, cylinders: Mapping[str, Sent]
) -> tuple[list[HouseResult], list[Problem]]:
    """Return the results of a list, and every problem in it by line.

    cylinders: those of the consignment by tag. Rows of the outgoing list in which the house
    filled in nothing are passed over. A result that was entered before and reads the same is
    among the results; one that reads otherwise is a problem.
    """
    rows, problems = read_rows(file, content, columns=COLUMNS, required=REQUIRED)
    reader = _ResultReader(file, cylinders)
    filled = [row for row in rows if any(row.cells.get(column) for column in FIGURES)]
    results = [result for row in filled if (result := reader.result(row)) is not None]
    return results, sorted(problems + reader.problems)


class _ResultReader:
    """Reads row by row; `problems` grows."""

    def __init__(self, file: str, cylinders: Mapping[str, Sent]) -> None:
        self.problems: list[Problem] = []
        self._file = file
        self._cylinders = cylinders
        self._lines: dict[str, int] = {}
        self._tags = Vocabulary(cylinders.keys(), "a cylinder of this consignment", exact=True)
        self._methods = Vocabulary((*METHODS, VISUAL), "a method")
        self._words = Vocabulary(HOUSE_WORDS, "an outcome")

    def result(self, row: Row) -> HouseResult | None:
        """Return the result of a row, or nothing if something in it is refused."""
        reader = RowReader(self._file, row)
        reader.keep("tag", "serial")
        tag = reader.need("tag", self._tags.pick, "")
        tested_on = reader.need("tested_on", day, None)
        word = reader.need("outcome", self._words.pick, "")
        result = HouseResult(
            tag=tag,
            tested_on=tested_on or date.min,
            method=reader.need("method", self._methods.pick, ""),
            word=Word(word or Word.REJECT),
            by=reader.need("by", person, ""),
            reached=self._reached(reader),
            held_s=reader.read("held_s", partial(whole, low=0, high=86_400, unit="s"), None),
            total_ml=reader.read("total_ml", ML.read, None),
            permanent_ml=reader.read("permanent_ml", ML.read, None),
            limit_percent=reader.read("limit_percent", PERCENT.read, None),
            reason=reader.read("reason", line_of_text, ""),
            mark=reader.read("mark", line_of_text, ""),
            shoulder=self._shoulder(reader),
        )
        if reader.faultless:
            self._check(reader, result)
        self.problems += reader.problems
        return result if reader.faultless else None

    def _shoulder(self, reader: RowReader) -> Shoulder:
        reader.keep(*SHOULDER.values())
        return Shoulder(**{f: reader.read(c, line_of_text, "") for f, c in SHOULDER.items()})

    def _reached(self, reader: RowReader) -> Pressure | None:
        bar = reader.read("test_pressure_bar", BAR.read, None)
        psi = reader.read("test_pressure_psi", PSI.read, None)
        if bar is not None and psi is not None:
            reader.refuse("test_pressure_psi", "stands beside one in bar; keep the one measured")
        if bar is not None:
            return Pressure.of(bar, "bar")
        return None if psi is None else Pressure.of(psi, "psi")

    def _check(self, reader: RowReader, result: HouseResult) -> None:
        """Refuse what can't be, or can't be this cylinder's."""
        sent = self._cylinders[result.tag]
        for column, remedy in faults_of(result, sent):
            reader.refuse(column, remedy)
        serial = reader.read("serial", code, "")
        if serial and serial != sent.serial:
            reader.refuse(
                "serial", f"is not that of {result.tag}, {sent.serial}; find out which was tested"
            )
        first = self._lines.setdefault(result.tag, reader.row.line)
        if first != reader.row.line:
            reader.refuse("tag", f"stands in line {first} already; keep one of the two rows")
        if sent.entered is not None and sent.entered != result.said():
            reader.refuse(
                "tag", "has another result in the ledger already, which stands; take the row out"
            )


def faults_of(result: HouseResult, sent: Sent) -> list[tuple[str, str]]:
    """Return (column, remedy) of what in a result can't be; the form on screen asks too."""
    faults = _day_faults(result, sent)
    tested = result.method != VISUAL
    if result.word is Word.PASS and not tested:
        faults.append(("method", "is no pressure test, and only one of those can be passed"))
    if result.word is Word.PASS and tested and result.reached is None:
        faults.append(("test_pressure_bar", "is empty; a pass needs the pressure reached"))
    if result.word is Word.PASS and tested and result.held_s is None:
        faults.append(("held_s", "is empty; a pass needs how long the pressure was held"))
    if result.method in ("jacket", "direct") and result.reached is not None:
        for column in ("total_ml", "permanent_ml"):
            if getattr(result, column) is None:
                faults.append((column, f"is empty; a {result.method} test measures it"))
    if result.word is not Word.PASS and not result.reason:
        faults.append(("reason", f"is empty; write why it was {result.word}ed"))
    return faults + _figure_faults(result) + _mark_faults(result)


def _mark_faults(result: HouseResult) -> list[tuple[str, str]]:
    """Return what nobody can have marked; after a pass alone something is."""
    if result.word is not Word.PASS:
        return [(SHOULDER[name], NOT_PASSED) for name in result.shoulder.said]
    faults = shoulder_faults(result.shoulder, result.tested_on)
    return [(SHOULDER[name], remedy) for name, remedy in faults]


def _day_faults(result: HouseResult, sent: Sent) -> list[tuple[str, str]]:
    tested_on = result.tested_on
    if tested_on > sent.today:
        return [
            ("tested_on", f"is in the future; at the item's site today is {sent.today.isoformat()}")
        ]
    if tested_on < sent.sent_on:
        return [
            ("tested_on", f"is before the consignment left, {sent.sent_on.isoformat()}; correct it")
        ]
    if sent.made_on and tested_on < sent.made_on:
        return [
            (
                "tested_on",
                f"is before the cylinder was made, {sent.made_on.isoformat()}; correct it",
            )
        ]
    return []


def _figure_faults(result: HouseResult) -> list[tuple[str, str]]:
    try:
        _ = result.expansion
    except HydroProblem as problem:
        return [("permanent_ml", f"can't be: {problem}")]
    return []

"""The lines that each recipe adds to the program, and the files it makes; by recipe."""

from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True)
class Line:
    """Text to put into a file of the program: right before or right after words of it."""

    file: str
    at: str
    text: str
    before: bool = False

    def into(self, root: Path) -> None:
        path = root / self.file
        held = path.read_text("utf-8")
        assert held.count(self.at) == 1, f"{self.file}: {held.count(self.at)} times {self.at!r}"
        both = self.text + self.at if self.before else self.at + self.text
        path.write_text(held.replace(self.at, both), "utf-8")


SIZE = "    size = models.CharField(max_length=20, blank=True)\n"
A_KIND = (Line("registry/items/pure.py", '    COMPRESSOR = "compressor"\n', '    LAMP = "lamp"\n'),)
A_FACT = (
    Line(
        "registry/items/facts.py",
        '        _text("size", "Size", 20),\n',
        '        _text("colour", "Colour", 20),\n',
    ),
    Line("registry/items/models.py", SIZE, SIZE.replace("size", "colour")),
)

CLOCKS, COUNTING = "servicing/rules/pure/clocks.py", "servicing/due/pure/counting.py"
RULE_WORDS, EXPLAIN = "servicing/due/pure/rule_words.py", "servicing/due/pure/explain.py"
YEAR_END = '''\
@dataclass(frozen=True, slots=True)
class YearEnd:
    """Good through the last day of the year in which the period ends."""

    clause: str = ""


'''
A_FORM_OF_ROWS = (
    Line(CLOCKS, "@dataclass(frozen=True, slots=True)\nclass Clock:\n", YEAR_END, before=True),
    Line(CLOCKS, "    other: Other | None = None\n", "    year: YearEnd | None = None\n"),
    Line(CLOCKS, '"governs": ("sooner", "later")},\n', '    "year": {"ends": ("year",)},\n'),
    Line(
        CLOCKS,
        "    return Clock(\n",
        '        year=YearEnd(said["year"]["clause"]) if "year" in said else None,\n',
    ),
    Line(
        COUNTING,
        "    return month_end(due) if rule.month_end else due\n\n\ndef _of_two",
        "    if rule.clock.year:\n        return due.replace(month=12, day=31)\n",
        before=True,
    ),
    Line(
        RULE_WORDS,
        "    if early := clock.early:\n",
        "    if year := clock.year:\n"
        '        yield f"good through the end of the year{_by(year.clause)}"\n',
        before=True,
    ),
    Line(
        EXPLAIN,
        "    if clock.early:\n",
        '    if clock.year:\n        said.append("to the end of the year")\n',
        before=True,
    ),
    Line(
        EXPLAIN,
        '    return f"{start} + {plus} = {end if rule.month_end',
        "    if year := rule.clock.year:\n"
        "        last = day_words(due)\n"
        '        return f"{start} + {plus} = end of the year, {last}{_by(year.clause)}"\n',
        before=True,
    ),
)

LABEL = '''\
"""A label to hang on an item: its tag in large letters."""

from dataclasses import dataclass
from datetime import datetime

from reports.documents.pure import ink
from reports.documents.pure.sheet import WIDTH, Sheet, sheet_pdf
from reports.documents.pure.text import ANSWER


@dataclass(frozen=True, slots=True)
class HangingLabel:
    number: str
    tag: str
    colour: str
    printed_at: datetime
    printed_by: str


def label_pdf(paper: HangingLabel) -> bytes:
    """Return the label as PDF."""
    sheet = Sheet(paper.number, "Label", paper.printed_at, paper.printed_by, ())
    said = ink.paragraph(f"{paper.tag} is {paper.colour}", ANSWER, WIDTH)
    return sheet_pdf(sheet, [ink.Block(said)])
'''
LABEL_OF = '''\
"""What is said on the label of an item."""

from registry.items.models import Item
from reports.documents.pure.label import HangingLabel
from reports.documents.pure.printing import Printing
from reports.documents.queries.numbering import paper_number


def label_of(item: Item, printing: Printing) -> HangingLabel:
    """Return the label of an item as it is described now."""
    number = paper_number("LB", printing.on, printing.at, [item.tag])
    return HangingLabel(number, item.tag, item.colour, printing.at, printing.by)
'''
PAPERS = "reports/documents/actions.py"
RECORD_PDF = "from reports.documents.pure.record import record_pdf\n"
A_PAPER = (
    Line(
        PAPERS,
        RECORD_PDF,
        "from reports.documents.pure.label import label_pdf\n"
        "from reports.documents.queries.label import label_of\n",
    ),
    Line(
        PAPERS,
        "    SERVICE_RECORD,\n    SET_PAPER,\n",
        '    PaperKind("label", "label", ITEM, "one item: its tag", label_of, label_pdf),\n',
    ),
)

TABLE = """\
table = "lamps"
title = "Hand lamps, and what hangs beside them"
jurisdiction = "none"
caution = "An example."
checked_on = 2026-11-25

[[rule]]
id      = "lamp-orange"
task    = "periodic-inspection"
level   = "maker"
when    = { kind = ["lamp"], colour = ["orange"] }
every   = "P2Y"
from    = "made"
clock.year = { ends = "year", clause = "3.1, second sentence" }
source  = "An invented manual, 3.1"
edition = "first"
seen    = "practice"

[[rule]]
id      = "mask-of-any-colour"
task    = "periodic-inspection"
level   = "maker"
when    = { kind = ["mask"] }
every   = "P2Y"
from    = "made"
source  = "An invented manual, 3.2"
edition = "first"
seen    = "practice"

[[rule]]
id      = "mask-orange"
task    = "periodic-inspection"
level   = "maker"
when    = { kind = ["mask"], colour = ["orange"] }
every   = "P1Y"
from    = "made"
source  = "An invented manual, 3.3"
edition = "first"
seen    = "practice"
"""
PROCEDURE = """\
table   = "lamps"
title   = "Hand lamps"
caution = "An example."

[[procedure]]
id          = "lamp-inspection"
title       = "Inspection of a hand lamp"
task        = "periodic-inspection"
kinds       = ["lamp"]
source      = "An invented manual, 3.1"
edition     = "first"
seen        = "practice"
checked_on  = 2026-11-25
instruments = []

[[procedure.step]]
id     = "look"
form   = "check"
text   = "Glass and handle: no crack."
source = "An invented manual, 3.1"
seen   = "practice"
"""

LINES = (*A_KIND, *A_FACT, *A_FORM_OF_ROWS, *A_PAPER)
FILES = {
    "reports/documents/pure/label.py": LABEL,
    "reports/documents/queries/label.py": LABEL_OF,
    "fixtures/rules/lamps.toml": TABLE,
    "fixtures/rules/procedures/lamps.toml": PROCEDURE,
}

"""Invented papers to print, and ways to read a printed one."""

import hashlib
import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from io import BytesIO
from typing import Any
from zoneinfo import ZoneInfo

from pypdf import PdfReader
from pypdf.generic import DictionaryObject, IndirectObject

from registry.items.models import Item
from registry.sites.clock import today_at
from reports.documents.pure.overdue import OverdueReport
from reports.documents.pure.printing import Printing
from reports.documents.pure.record import RecordEntry, ServiceRecord
from servicing.due.pure.answer import Answer
from servicing.due.pure.obligations import State
from servicing.due.pure.owed import over_by
from servicing.due.pure.sheet import Because, DueRow, Stamp, TaskLine
from servicing.rules.pure.bars import Bars

ON = date(2026, 3, 17)
PRINTED_AT = datetime(2026, 3, 17, 14, 5, tzinfo=ZoneInfo("Europe/Berlin"))
CAUTION = "A caution of the table itself: ask the retest house about marked cylinders."

READY = Answer(
    "current",
    "TV-00012 has nothing overdue.",
    "Next: hydrostatic retest, due 31 Oct 2026 (in 7 months).",
)

# Twelve things a note must survive: markup, PDF's own language, templates, letters without a
# shape, and lines nobody ends.
HOSTILE = (
    '<a href="file:///etc/passwd">press</a>',
    '<img src="/etc/hostname" width="90"/>',
    "</para></font>",
    "x<b and y>c",
    "&amp; &lt;b&gt; &#65;",
    "W" * 500,
    "bell \x07 null \x00 escape \x1b end",
    "\N{RIGHT-TO-LEFT OVERRIDE}drow \N{HEBREW LETTER SHIN}\N{HEBREW LETTER LAMED}",
    "fire \N{FIRE} \N{ZERO WIDTH SPACE} half \ud800 end",
    r") Tj ET Q (\ << /S /URI /URI (http://example.org) >>",
    "{{ 7*7 }} {% now %} %s %(a)s ${x} {0}",
    "tab\there\r\nline two\n\nline four",
)


def printing(item: Item, on: date | None = None, known_by: datetime | None = None) -> Printing:
    """One making of a paper of an item, at noon on a day of November."""
    at = datetime(2026, 11, 25, 12, tzinfo=UTC)
    return Printing(on or today_at(item.site), at, "Audra", known_by)


def overdue_row(number: int = 1, **changes: Any) -> DueRow:
    """An overdue retest."""
    row = DueRow(
        item_id=number,
        tag=f"TV-{number:05d}",
        kind="cylinder",
        maker="Halden & Voss",
        serial=f"HV{number:07d}",
        site="AB",
        site_name="Alder Bridge",
        task="hydrostatic-retest",
        due_on=date(2025, 10, 31),
        state=State.OVERDUE,
        rule="us-cyl-3al",
        level="law",
        source="49 CFR 180.209(a), Table 1",
        table="us-cylinders",
        counted_from="record",
        basis_on=date(2020, 10, 14),
    )
    row = replace(row, **changes)
    late = over_by(row.due_on, row.counted_from, ON) if row.state is State.OVERDUE else ""
    return replace(row, late=late)


def undetermined_row(number: int = 1, **changes: Any) -> DueRow:
    """A task with nothing to count from."""
    unknown = {"due_on": None, "state": State.UNDETERMINED, "counted_from": "", "basis_on": None}
    return overdue_row(number, **{**unknown, **changes})


def overdue_report(*rows: DueRow, **changes: Any) -> OverdueReport:
    """A list of rows as asked for on 17 March 2026."""
    report = OverdueReport(
        number="OD-2026-000017",
        title="Overdue list",
        sentence="everything overdue or undetermined at all sites",
        on=ON,
        printed_at=PRINTED_AT,
        printed_by="Maren Kvist",
        cautions=(CAUTION,),
        rows=rows,
    )
    return replace(report, **changes)


def task_line(**changes: Any) -> TaskLine:
    """A retest due on 31 October 2026, with the one rule that asks for it."""
    line = TaskLine(
        task="hydrostatic-retest",
        due_on=date(2026, 10, 31),
        state=State.CURRENT,
        late="",
        dropped=False,
        reasons=(because(),),
    )
    return replace(line, **changes)


def because(**changes: Any) -> Because:
    """A retest every five years, counted from the last one."""
    reason = Because(
        rule="us-cyl-3al",
        table="us-cylinders",
        level="law",
        source="49 CFR 180.209(a), Table 1",
        seen="text",
        note="",
        asks="every 5 years",
        bars=Bars.BOTH,
        bars_by="",
        due_on=date(2026, 10, 31),
        counted_from="record",
        basis_on=date(2021, 10, 14),
        arithmetic="14 Oct 2021 + 5 years = 14 Oct 2026, to the month's end: 31 Oct 2026",
    )
    return replace(reason, **changes)


def entry(position: int = 1, **changes: Any) -> RecordEntry:
    """A passed inspection, entered on the day."""
    done_on = date(2021, 1, 1) + timedelta(days=position)
    passed = RecordEntry(
        position=position,
        done_on=done_on,
        entered_at=datetime.combine(done_on, time(13, 5), UTC),
        days_late=0,
        task="periodic-inspection",
        outcome="pass",
        performed_by="Maren Kvist",
        entered_by="Ole Brandt",
        readings=(("leak", "0.4 mbar (limit 1.0 mbar)"),),
        note="",
        part_made_on=None,
        carried_over_from="",
        record_hash=hash_of(position),
    )
    return replace(passed, **changes)


def service_record(*entries: RecordEntry, **changes: Any) -> ServiceRecord:
    """A cylinder in service that owes one retest."""
    record = ServiceRecord(
        number="SR-2026-000231",
        tag="TV-00012",
        kind="cylinder",
        maker="Northgate Pressure",
        model="NP 6.8-300",
        serial="NP7712345",
        site_name="Alder Bridge",
        standing="in-service",
        made_on="Mar 2019",
        in_service_on=date(2019, 5, 2),
        attributes=(("specification", "DOT-3AL"), ("working pressure", "300 bar")),
        on=ON,
        printed_at=PRINTED_AT,
        printed_by="Maren Kvist",
        cautions=(CAUTION,),
        answer=READY,
        stamps=(Stamp("hydrostatic-retest", date(2026, 10, 31), State.CURRENT),),
        tasks=(task_line(),),
        entries=entries,
        chain_head=hash_of(len(entries)) if entries else "",
    )
    return replace(record, **changes)


def hash_of(number: int) -> str:
    """A hash as the ledger writes it."""
    return hashlib.sha256(str(number).encode()).hexdigest()


def pages_of(pdf: bytes) -> list[str]:
    """The text of each page."""
    return [page.extract_text() for page in PdfReader(BytesIO(pdf)).pages]


def text_of(pdf: bytes) -> str:
    """The whole text with single spaces, so that a line's end hides nothing."""
    return re.sub(r"\s+", " ", " ".join(pages_of(pdf)))


def without_spaces(text: str) -> str:
    """A text that compares equal however it was broken into lines."""
    return re.sub(r"\s", "", text)


def objects_of(pdf: bytes) -> Iterator[DictionaryObject]:
    """Each dictionary in the file, at any depth."""
    reader = PdfReader(BytesIO(pdf))
    size = int(str(reader.trailer["/Size"]))
    waiting: list[Any] = [
        reader.get_object(IndirectObject(number, 0, reader)) for number in range(1, size)
    ]
    while waiting:
        each = waiting.pop()
        if isinstance(each, dict):
            yield each  # type: ignore[misc]
            waiting.extend(each.values())
        elif isinstance(each, list):
            waiting.extend(each)

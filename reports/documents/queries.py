"""Gathering what a paper says, as plain frozen values that `pure` can draw."""

import hashlib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from datetime import date, datetime
from zoneinfo import ZoneInfo

from registry.items.models import Item
from registry.items.pure import made_words
from registry.sites.clock import today_in
from registry.sites.models import Site
from registry.trail.pure import name_of
from registry.trail.queries import trail_head
from registry.wording.pure.dates import day_words, moment_and_zone
from reports.documents.pure.assembly import PartEntry, SetPaper
from reports.documents.pure.consignment import ConsignmentList
from reports.documents.pure.duelist import DueList
from reports.documents.pure.history import RecordEntry
from reports.documents.pure.overdue import OverdueReport
from reports.documents.pure.printing import Printing
from reports.documents.pure.verdict import ServiceRecord
from servicing.away.models import Consignment
from servicing.desk.item.queries import ItemSheet, item_sheet
from servicing.due.pure.ahead import ASSUMPTION
from servicing.due.pure.answer import of_set
from servicing.due.pure.obligations import State
from servicing.due.pure.owed import Clock
from servicing.due.pure.readiness import WORST
from servicing.due.pure.sheet import DueRow, Stamp
from servicing.due.queries.engine import as_then
from servicing.due.queries.rows import DueQuestion, known_rows
from servicing.due.queries.sets import PartLine, SetSheet, set_sheet
from servicing.hydrostatic.pure.marks import CAUTION
from servicing.hydrostatic.queries import limits, listed
from servicing.ledger.pure import wording
from servicing.ledger.pure.chain import START
from servicing.ledger.pure.entry import Check, InstrumentAsStood, Reading
from servicing.ledger.queries.records import RecordLine
from servicing.ledger.queries.whole import chain_head
from servicing.rules.queries import cautions_of


def overdue_report(
    question: DueQuestion, sentence: str, *, printed_at: datetime, printed_by: str
) -> OverdueReport:
    """Return everything overdue or undetermined on a day, as the question limits it.

    Without a day in the question it is today at the site asked for, or at the first
    site of the tree. Raises NotKnownThen where the register was empty at the moment asked
    about.
    """
    zone = _zone_of(question)
    on = question.on or today_in(zone)
    rows = [
        row
        for row in known_rows(replace(question, on=on, state=""))
        if row.state in (State.OVERDUE, State.UNDETERMINED)
    ]
    return OverdueReport(
        number=paper_number("OD", on, printed_at, map(_numbered, rows)),
        title="Overdue report",
        sentence=f"{sentence}, {as_known(question.known_by)}" if question.known_by else sentence,
        on=on,
        printed_at=printed_at.astimezone(ZoneInfo(zone)),
        printed_by=printed_by,
        cautions=cautions_of(row.table for row in rows),
        rows=tuple(rows),
    )


def due_list_paper(
    question: DueQuestion,
    sentence: str,
    rows: Sequence[DueRow],
    *,
    printed_at: datetime,
    printed_by: str,
) -> DueList:
    """Return the paper of a due list: the rows as the list on the screen has them."""
    zone = _zone_of(question)
    on = question.on or today_in(zone)
    return DueList(
        number=paper_number("DL", on, printed_at, map(_numbered, rows)),
        sentence=f"{sentence}, {as_known(question.known_by)}" if question.known_by else sentence,
        assumption=ASSUMPTION if question.ahead else "",
        on=on,
        printed_at=printed_at.astimezone(ZoneInfo(zone)),
        printed_by=printed_by,
        cautions=cautions_of(row.table for row in rows),
        rows=tuple(rows),
    )


def _zone_of(question: DueQuestion) -> str:
    """Return the time zone of the site asked for, or of the first site of the tree."""
    place = question.site or Site.objects.filter(parent=None).order_by("code").first()
    return place.timezone if place else "UTC"


def service_record(item: Item, printing: Printing) -> ServiceRecord:
    """Return the sheet of an item as it is printed: what its page says, and its whole ledger.

    Raises NotKnownThen where the item was entered later than the moment it is asked of.
    """
    sheet = item_sheet(item, printing.on, printing.known_by, kept=True)
    item, head = sheet.item, sheet.chain_head
    return ServiceRecord(
        number=paper_number("SR", sheet.on, printing.at, [item.tag, item.serial, head]),
        tag=item.tag,
        kind=wording.words(item.kind),
        maker=item.maker,
        model=item.type.model,
        serial=item.serial,
        site_name=item.site.name,
        standing=sheet.found.standing.word,
        made_on=made_words(item.made_on, to_month=item.made_to_month, on=printing.on),
        in_service_on=item.in_service_on,
        attributes=(*sheet.attributes, *_where_fitted(sheet)),
        on=sheet.on,
        known_by=as_known(sheet.known_by) if sheet.known_by else "",
        printed_at=printing.at,
        printed_by=printing.by,
        replaces=printing.replaces,
        cautions=sheet.cautions,
        answer=sheet.answer,
        beside=tuple(_beside(sheet)),
        stamps=sheet.stamps,
        tasks=sheet.tasks,
        entries=tuple(_entry(each) for each in sheet.records),
        chain_head=head,
        trail_head="entry {}, {}".format(*trail_head()),
        life=sheet.found.life,
    )


def _where_fitted(sheet: ItemSheet) -> Iterator[tuple[str, str]]:
    if (at := sheet.fitted) is not None:
        place, since = wording.words(at.place), day_words(at.fitted_on)
        yield "fitted to", f"{at.set.tag} as {place} since {since}"


def _beside(sheet: ItemSheet) -> Iterator[str]:
    """Yield what its page says under the first line: the air inside, and what a set needs."""
    if (charge := sheet.charge) is not None:
        yield f"The air inside: {charge.word}. {charge.sentence} {charge.source}"
    if sheet.whole is not None:
        yield from sheet.whole.said


def set_paper(set_item: Item, printing: Printing) -> SetPaper:
    """Return a set on a day: its parts and their clocks, its mass, and whether it is ready.

    Raises NotKnownThen where the set was entered later than the moment it is asked of.
    """
    day, known_by = printing.on, printing.known_by
    shown = set_sheet(set_item, day, known_by, kept=True)
    whole = shown.assembled
    then = as_then(set_item, known_by)
    entries = (_entry_of_set(set_item, shown), *map(_entry_of_part, shown.parts))
    heads = [entry.chain_head for entry in entries]
    return SetPaper(
        number=paper_number("ST", day, printing.at, [then.tag, then.serial, *heads]),
        tag=then.tag,
        name=str(then.type),
        serial=then.serial,
        site_name=then.site.name,
        answer=of_set(shown.readiness),
        said=shown.said,
        entries=tuple(sorted(entries, key=lambda e: (WORST.index(e.state), e.due_on or date.min))),
        missing=tuple(wording.words(place) for place in whole.missing),
        mass_lines=tuple(
            (line.what, "" if line.mass_kg is None else f"{line.mass_kg:.3f}", line.how)
            for line in whole.mass.lines
        ),
        mass_sum=f"{whole.mass.sum_kg:.3f}",
        mass_verdict=whole.mass.verdict,
        findings=tuple((wording.words(finding.word), finding.told) for finding in whole.findings),
        on=day,
        known_by=as_known(known_by) if known_by else "",
        printed_at=printing.at,
        printed_by=printing.by,
        replaces=printing.replaces,
        cautions=cautions_of(shown.tables),
    )


def _entry_of_set(item: Item, shown: SetSheet) -> PartEntry:
    word, reason = shown.own.worst(shown.on)
    return _part_entry(item, word, reason, shown.own.first(shown.on))


def _entry_of_part(part: PartLine) -> PartEntry:
    entry = _part_entry(part.item, part.state, part.reason, part.first)
    return replace(entry, place=wording.words(part.place), fitted_on=part.fitting.fitted_on)


def _part_entry(item: Item, state: str, reason: str, first: Clock | Stamp | None) -> PartEntry:
    return PartEntry(
        place="",
        tag=item.tag,
        name=str(item.type),
        serial=item.serial,
        fitted_on=None,
        due_on=first.due_on if first else None,
        state=state,
        reason=reason,
        chain_head="" if (head := chain_head(item)) == START else head,
    )


def consignment_list(consignment: Consignment, printing: Printing) -> ConsignmentList:
    """Return what a test house is told of the cylinders of a consignment."""
    rows = listed(consignment)
    content = [consignment.number, *(row.tag for row in rows)]
    return ConsignmentList(
        number=paper_number("CL", printing.on, printing.at, content),
        consignment=consignment.number,
        house=consignment.house,
        from_site=consignment.from_site.name,
        sent_on=consignment.sent_on,
        printed_at=printing.at,
        printed_by=printing.by,
        replaces=printing.replaces,
        cautions=(limits().caution, CAUTION),
        rows=tuple(rows),
    )


def _entry(told: RecordLine) -> RecordEntry:
    record, entry = told.record, told.record.entry
    signed = [
        f"{each.meaning}: {each.printed_name}, {each.when}" for each in record.signatures.all()
    ]
    return RecordEntry(
        position=record.position,
        done_on=record.done_on,
        entered_at=record.entered_at,
        days_late=0 if record.carried_over_from else record.days_late,
        task=wording.words(record.task),
        outcome=wording.outcome_in_words(record.task, record.outcome),
        performed_by=record.performed_by,
        entered_by=name_of(record.entered_by),
        readings=(*(_checked(check) for check in entry.checks), *map(_read, entry.readings)),
        note=record.note,
        part_made_on=record.part_made_on,
        carried_over_from=record.carried_over_from,
        record_hash=record.hash,
        procedure=record.procedure,
        instruments=tuple(_instrument(each) for each in entry.instruments),
        corrects=told.corrects.position if told.corrects else None,
        reason=record.reason,
        corrected_by=told.corrected_by.position if told.corrected_by else None,
        attempt=f"attempt {record.attempt} of {told.attempts}" if told.attempts > 1 else "",
        signatures=tuple(signed),
        unsigned=record.unsigned,
    )


def _checked(check: Check) -> tuple[str, str]:
    return check.text, ": ".join(text for text in (wording.words(check.answer), check.note) if text)


def _instrument(instrument: InstrumentAsStood) -> str:
    """Return an instrument with its calibration as it stood on the day."""
    calibrated, due = instrument.calibrated_on, instrument.calibration_due_on
    since = f", calibrated {day_words(calibrated)}" if calibrated else ""
    until = f", due {day_words(due)}" if due else ""
    return f"{instrument.marked_as}{since}{until}"


def _read(reading: Reading) -> tuple[str, str]:
    """Return a reading's name and its value as typed, with how it was judged."""
    name, value = wording.name_and_value(reading)
    judged = ", ".join(text for text in (wording.in_signs(reading.limit), reading.verdict) if text)
    return name, f"{value} ({judged})" if judged else value


def as_known(known_by: datetime) -> str:
    """Return the words that say which entries an answer rests on."""
    return f"as known by {moment_and_zone(known_by)}"


def _numbered(row: DueRow) -> str:
    """Return what the number of a list takes of a row."""
    return " ".join((row.tag, row.task, str(row.due_on)))


def paper_number(kind: str, on: date, printed_at: datetime, content: Iterable[str]) -> str:
    """Return a number that no other print shares: the day, and a digest of print and moment."""
    text = "\n".join([printed_at.isoformat(), *content])
    return f"{kind}-{on:%Y%m%d}-{hashlib.sha256(text.encode()).hexdigest()[:8].upper()}"

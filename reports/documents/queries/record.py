"""The service record of an item: what its page says, and its whole ledger."""

from collections.abc import Iterator

from registry.items.models import Item
from registry.items.pure import made_words
from registry.trail.pure import name_of
from registry.trail.queries import trail_head
from registry.wording.pure.dates import day_words
from reports.documents.pure.history import RecordEntry
from reports.documents.pure.printing import Printing
from reports.documents.pure.verdict import ServiceRecord
from reports.documents.queries.numbering import as_known, paper_number
from servicing.desk.item.queries import ItemSheet, item_sheet
from servicing.ledger.pure import wording
from servicing.ledger.pure.entry import Check, InstrumentAsStood, Reading
from servicing.ledger.queries.records import RecordLine


def service_record(item: Item, printing: Printing) -> ServiceRecord:
    """Return the sheet of an item as it is printed: what its page says, and its whole ledger.

    Raises NotKnownThen where the item was entered later than the moment it is asked of.
    """
    sheet = item_sheet(item, printing.on, printing.known_by, on_paper=True)
    item, head = sheet.item, sheet.chain_head
    return ServiceRecord(
        number=paper_number("SR", sheet.on, printing.at, [item.tag, item.serial, head]),
        tag=item.tag,
        kind=wording.words(item.kind),
        maker=item.maker,
        model=item.type.model,
        serial=item.serial,
        site_name=item.site.name,
        standing=sheet.by_rules.standing.word,
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
        life=sheet.by_rules.life,
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
        yield from sheet.whole.remarks


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

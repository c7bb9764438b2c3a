"""A set with its parts, as its paper says it."""

from dataclasses import replace
from datetime import date

from registry.items.models import Item
from reports.documents.pure.assembly import PartEntry, SetPaper
from reports.documents.pure.printing import Printing
from reports.documents.queries.numbering import as_known, paper_number
from servicing.due.pure.answer import of_set
from servicing.due.pure.owed import Clock
from servicing.due.pure.readiness import WORST
from servicing.due.pure.sheet import Stamp
from servicing.due.queries.engine import as_then
from servicing.due.queries.sets import PartLine, SetSheet, set_sheet
from servicing.ledger.pure import wording
from servicing.ledger.pure.chain import START
from servicing.ledger.queries.whole import chain_head
from servicing.rules.queries import cautions_of


def set_paper(set_item: Item, printing: Printing) -> SetPaper:
    """Return a set on a day: its parts and their clocks, its mass, and whether it is ready.

    Raises NotKnownThen where the set was entered later than the moment it is asked of.
    """
    day, known_by = printing.on, printing.known_by
    shown = set_sheet(set_item, day, known_by, on_paper=True)
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
        remarks=shown.remarks,
        entries=tuple(sorted(entries, key=lambda e: (WORST.index(e.state), e.due_on or date.min))),
        missing=tuple(wording.words(place) for place in whole.missing),
        mass_lines=tuple(
            (line.what, "" if line.mass_kg is None else f"{line.mass_kg:.3f}", line.how)
            for line in whole.mass.lines
        ),
        mass_sum=f"{whole.mass.sum_kg:.3f}",
        mass_verdict=whole.mass.verdict,
        findings=tuple(
            (wording.words(finding.word), finding.sentence) for finding in whole.findings
        ),
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

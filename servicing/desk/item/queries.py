"""The sheet of an item: everything its page says of it, which its papers and its JSON say too."""

from dataclasses import asdict, dataclass
from datetime import UTC, date, datetime
from urllib.parse import urlencode

from registry.items.models import Item
from registry.items.pure import Kind, Serving, made_words
from registry.items.queries import entered_on, serving_known
from registry.people.queries import Viewer
from registry.sets.models import Fitting
from registry.sets.queries import has_place, set_of
from registry.sites.clock import today_at
from servicing.away.models import Consigned
from servicing.away.queries import holding
from servicing.bench.queries.procedures import guided_tasks
from servicing.desk.item.pure import Stands
from servicing.desk.parts.queries import Doubts, item_on_day
from servicing.due.pure.answer import Answer
from servicing.due.pure.charge import ChargeState, charge_state, debts_of, filled_on
from servicing.due.pure.sheet import (
    GENERAL_CAUTION,
    Stamp,
    TaskLine,
    iso,
    stamp_of,
    task_json,
    task_line,
    worst_stamps,
)
from servicing.due.queries.doubts import Doubt, Doubtful, doubts_of
from servicing.due.queries.engine import OnDay, attribute_rows, on_day
from servicing.due.queries.sets import SetSheet
from servicing.hydrostatic.queries import suffixes_of
from servicing.ledger.queries.records import (
    RecordLine,
    condemnation_of,
    history_of,
    marked_rows,
    record_lines,
)
from servicing.ledger.queries.whole import chain_head
from servicing.papers.queries import PaperLine, paper_lines, papers_with
from servicing.rules.queries import cautions_of, jurisdictions_of


@dataclass(frozen=True, slots=True)
class ItemSheet:
    """What an item needs on a day, by which rule, and its history, as known at a moment.

    by_rules: what the engine says of it, and itself as it was known then. answer: the first line.
    stamps: the dates, the worst first; of a set with those of its parts. tasks: with
    every rule's answer, the dropped ones too. records: the newest first, as many as were asked
    for; more: how many there are besides. chain_head: as it stands now. whole: what a set
    holds and whether that is ready. fitted: where a part is in a set. charge: what may become
    of a cylinder's air. doubts: what of it was measured with an instrument that failed. serving,
    puts_in_doubt: of an instrument. taken_out: whether it waits for its return today. cautions:
    of the tables behind the dates. attributes: with what stands of star and plus on a cylinder.
    """

    by_rules: OnDay
    on: date
    today: date
    known_by: datetime | None
    answer: Answer
    stamps: tuple[Stamp, ...]
    tasks: tuple[TaskLine, ...]
    records: tuple[RecordLine, ...]
    more: int
    chain_head: str
    attributes: tuple[tuple[str, str], ...]
    whole: SetSheet | None
    fitted: Fitting | None
    charge: ChargeState | None
    doubts: Doubts
    serving: Serving | None
    puts_in_doubt: tuple[Doubt, ...]
    taken_out: bool
    cautions: tuple[str, ...]

    @property
    def item(self) -> Item:
        """The item as it was known at the moment asked about."""
        return self.by_rules.item

    @property
    def same_question(self) -> str:
        """The day and the moment, as an address asks for them."""
        moment = self.known_by and f"{self.known_by.astimezone(UTC):%Y-%m-%d %H:%M:%SZ}"
        return urlencode({"on": self.on, **({"known_by": moment} if moment else {})})

    @property
    def fittable(self) -> bool:
        """Whether it is a set, or something that a set has a place for."""
        return self.whole is not None or has_place(self.item)

    @property
    def made(self) -> str:
        """When it was made, and how old it is on the day shown."""
        return made_words(self.item.made_on, to_month=self.item.made_to_month, on=self.on)

    @property
    def asked(self) -> frozenset[str]:
        """The tasks that it owes."""
        return frozenset(task.task for task in self.tasks if not task.dropped)


def item_sheet(
    item: Item,
    on: date | None,
    known_by: datetime | None = None,
    *,
    on_paper: bool = False,
    newest: int | None = None,
) -> ItemSheet:
    """Return the sheet of an item on a day, by what was known at a moment.

    on: None for today at its site. on_paper: the words are read later too, so
    that they name days and no "today".
    Raises NotKnownThen where the item was not in the register at that moment.
    """
    today = today_at(item.site)
    on = on or today
    stands = item_on_day(item, on, known_by, read_on=None if on_paper else today)
    found, whole = stands.by_rules, stands.whole
    instrument = item.kind == Kind.INSTRUMENT
    records = history_of(item).until(on).known_by(known_by)
    shown = list(records[: newest + 1] if newest else records)
    return ItemSheet(
        by_rules=found,
        on=on,
        today=today,
        known_by=known_by,
        answer=stands.answer,
        stamps=whole.stamps if whole else worst_stamps(stamp_of(o, on) for o in found.owed),
        tasks=tuple(task_line(task, on) for task in found.tasks),
        records=tuple(record_lines(item, shown[:newest], known_by)),
        more=records.count() - newest if newest and len(shown) > newest else 0,
        chain_head=chain_head(item),
        attributes=(
            *attribute_rows(found.item, end_stamped=found.end_stamped(on)),
            *((each.named, each.says) for each in suffixes_of(found.item)),
            *marked_rows(records, known_by),
        ),
        whole=whole,
        fitted=None if whole else set_of(item, on, known_by),
        charge=_charge(found, on),
        doubts=stands.doubts,
        serving=serving_known(item, known_by) if instrument else None,
        puts_in_doubt=tuple(d for d in doubts_of(item) if d.open_rows) if instrument else (),
        taken_out=(on_day(item, today) if known_by else found).taken_out(today) is not None,
        cautions=cautions_of(whole.tables if whole else _tables(found)),
    )


def _charge(found: OnDay, on: date) -> ChargeState | None:
    """Return what may become of a cylinder's air on a day; None where nothing is to be said."""
    if found.item.kind != Kind.CYLINDER:
        return None
    past = (record for record in found.past if record.done_on <= on)
    filled = filled_on((record.task, record.done_on, record.outcome) for record in past)
    if filled is None:
        return None
    places = jurisdictions_of({obligation.rule.table for obligation in found.owed})
    entered = entered_on([found.item]).get(found.item.pk)
    return charge_state(filled, debts_of(found.owed, places, entered), on)


def _tables(found: OnDay) -> set[str]:
    return {c.rule.table for task in found.tasks for c in task.obligation.candidates}


def papers_now(item: Item, most: int) -> list[PaperLine]:
    """Return the papers that were made of an item, the newest first, with what became of them."""
    return paper_lines(papers_with([item])[:most])


def sheet_json(sheet: ItemSheet) -> dict[str, object]:
    """Return a sheet for a program; `tasks` as in the contract of `explain --format json`."""
    item, said = sheet.item, sheet.answer
    return {
        "tag": item.tag,
        "kind": item.kind,
        "maker": item.maker,
        "model": item.type.model,
        "serial": item.serial,
        "site": item.site.code,
        "attributes": dict(sheet.attributes),
        "on": sheet.on.isoformat(),
        "known_by": iso(sheet.known_by),
        "standing": sheet.by_rules.standing.word,
        "ready": said.ready,
        "state": said.state,
        "answer": said.sentence,
        "reason": said.reason,
        "also": said.also,
        "warns": said.warns,
        "away": said.away,
        "charge": sheet.charge and asdict(sheet.charge),
        "stamps": [{**asdict(stamp), "due_on": iso(stamp.due_on)} for stamp in sheet.stamps],
        "tasks": [task_json(task) for task in sheet.tasks],
        "in_doubt": [_doubt_json(doubt, row) for doubt, row in sheet.doubts],
        "set": sheet.whole and _whole_json(sheet.whole),
        "fitted_to": sheet.fitted
        and {
            "set": sheet.fitted.set.tag,
            "place": sheet.fitted.place,
            "fitted_on": iso(sheet.fitted.fitted_on),
        },
        "records": [_record_json(line) for line in sheet.records],
        "chain_head": sheet.chain_head,
        "cautions": sheet.cautions,
        "caution": " ".join(GENERAL_CAUTION),
    }


def _doubt_json(doubt: Doubt, row: Doubtful) -> dict[str, object]:
    return {
        "position": row.record.position,
        "task": row.record.task,
        "instrument": doubt.instrument.tag,
        "failed_on": iso(doubt.failure.done_on),
    }


def _whole_json(whole: SetSheet) -> dict[str, object]:
    mass = whole.assembled.mass
    return {
        "parts": [
            {
                "place": part.place,
                "tag": part.item.tag,
                "state": part.state,
                "reason": part.reason,
                "due_on": iso(part.first.due_on) if part.first else None,
                "fitted_on": iso(part.fitting.fitted_on),
            }
            for part in whole.parts
        ],
        "missing": whole.assembled.missing,
        "beside": whole.remarks,
        "mass_kg": str(mass.sum_kg),
        "mass": mass.verdict,
    }


def _record_json(line: RecordLine) -> dict[str, object]:
    record = line.record
    return {
        "position": record.position,
        "task": record.task,
        "done_on": iso(record.done_on),
        "outcome": record.outcome,
        "performed_by": record.performed_by,
        "entered_at": iso(record.entered_at),
        "note": record.note,
        "hash": record.hash,
        "corrects": line.corrects and line.corrects.position,
        "corrected_by": line.corrected_by and line.corrected_by.position,
    }


def stands_now(sheet: ItemSheet, viewer: Viewer) -> tuple[Stands, Consigned | None]:
    """Return an item as it stands now, whatever day is shown, and where a cylinder is packed."""
    item = sheet.item
    consigned = holding(item) if item.kind == Kind.CYLINDER else None
    left = consigned is not None and consigned.consignment.sent_on is not None
    condemned = sheet.by_rules.condemned
    if not condemned and viewer.may_record and (sheet.on != sheet.today or sheet.known_by):
        condemned = condemnation_of(item) is not None
    workable = viewer.may_record and not condemned and not left
    stands = Stands(
        item.pk,
        item.tag,
        item.kind,
        sheet.same_question,
        may_record=viewer.may_record,
        may_manage=viewer.may_manage,
        condemned=condemned,
        taken_out=sheet.taken_out,
        fittable=sheet.fittable,
        away=consigned.pk if consigned and left else None,
        tasks=tuple((task.task, task.dropped) for task in sheet.tasks),
        in_doubt=sheet.doubts[0][1].record.task if sheet.doubts else "",
        guided=tuple(guided_tasks(item, sheet.today)) if workable else (),
    )
    return stands, consigned

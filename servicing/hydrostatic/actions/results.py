"""Taking in what a test house says, judged again by us, and settling what is in dispute."""

from collections.abc import Mapping, Sequence

from django.contrib.auth.models import User
from django.db import transaction

from registry.items.models import Item
from registry.people.actions.rights import only
from registry.people.pure import Right
from registry.sites.clock import now, today_at
from registry.wording.pure.dates import day_words
from servicing.away.models import Consigned, Consignment
from servicing.due.actions import services
from servicing.due.actions.standing import may_condemn
from servicing.due.actions.store import refresh
from servicing.due.queries.engine import governing_rules
from servicing.hydrostatic.actions.consignments import ConsignmentRefused, locked, still_waits
from servicing.hydrostatic.models import Result
from servicing.hydrostatic.pure.house import HouseResult, Opinion, opinion_on, readings_of
from servicing.hydrostatic.pure.outcome import LEDGER_WORDS, ledger_outcome
from servicing.hydrostatic.pure.results import faults_of
from servicing.hydrostatic.pure.verdict import Word
from servicing.hydrostatic.queries import (
    answered_by,
    cylinders_of,
    known_of,
    limits,
    result_of,
    results_of,
    sent_of,
    waiting_for_manager,
)
from servicing.ledger import actions as ledger
from servicing.ledger.pure.entry import CONDEMNATION_WAITS, Reading
from servicing.ledger.pure.shoulder import COLUMNS, Shoulder
from servicing.ledger.queries.records import record_entered_by
from servicing.rules.pure.tasks import RETEST


@only(Right.RECORD)
@transaction.atomic
def enter_results(
    *,
    consignment: Consignment,
    results: Sequence[HouseResult],
    user: User,
    signed: bool = False,
) -> list[Result]:
    """Enter what the house said of cylinders, judged again by us; return what is new.

    All or nothing. Each makes one record of the retest, with both verdicts in it, and moves the
    cylinder's due dates. The stricter verdict counts; where the two disagree on condemning, the
    record is a fail until a manager settles it (`pure.outcome`); so is a condemnation entered
    by somebody who may not condemn. A result entered before with the same content is passed
    over, unless its record was said never to have happened: then it is entered anew.
    signed: whether the user signs the new records as entered; the caller has made sure that
    they are there. Raises ConsignmentRefused; then nothing is written.
    """
    locked(consignment)
    rows = {row.item.tag: row for row in cylinders_of(consignment)}
    ledger.lock_items([row.item_id for row in rows.values()])
    sent = sent_of(consignment)
    known = known_of(row.item for row in rows.values())
    standing = results_of(rows.values())
    fresh = []
    for result in results:
        if (row := rows.get(result.tag)) is None:
            raise ConsignmentRefused(f"{result.tag} is not in consignment {consignment.number}.")
        before = standing.get(row.pk)
        if before is not None and before.said == result.said():
            continue
        if before is not None:
            raise ConsignmentRefused(f"{result.tag} has another result already, which stands.")
        if faults := faults_of(result, sent[result.tag]):
            words = "; ".join(f"{column} {remedy}" for column, remedy in faults)
            raise ConsignmentRefused(f"{result.tag}: {words}.")
        fresh.append((row, result, opinion_on(result, known[row.item_id], limits())))
    waits = waiting_for_manager(row.item_id for row, _, _ in fresh)
    if refused := [why for row, _, _ in fresh if (why := still_waits(row.item, waits))]:
        raise ConsignmentRefused(" ".join(refused))
    return _enter(fresh, user, signed=signed)


def _enter(
    fresh: Sequence[tuple[Consigned, HouseResult, Opinion]], user: User, *, signed: bool
) -> list[Result]:
    """Add the records of all results with their due dates, and keep both verdicts of each."""
    at = now()
    rules = governing_rules(RETEST, {row.item: result.tested_on for row, result, _ in fresh})
    may = may_condemn(user)
    new = [_record(row, result, ours, rules, may_condemn=may) for row, result, ours in fresh]
    added = {record.entry_key: record for record in ledger.append_records(new, user=user, at=at)}
    if signed:
        for row, _, _ in fresh:
            record = record_entered_by(_key(row))
            services.sign_what_is_entered(record, item=row.item, user=user, at=at)
    refresh([row.item_id for row, _, _ in fresh])
    # What is left here of a record that never happened; the ledger keeps that record itself.
    keys = {row.pk: _key(row) for row, _, _ in fresh}
    Result.objects.filter(consigned__in=keys).delete()
    return [
        Result.objects.create(
            consigned=row,
            tested_on=result.tested_on,
            said=result.said(),
            house_word=result.word,
            our_word=ours.word or "",
            our_says=ours.says,
            entered_at=at,
            record_position=added[keys[row.pk]].position,
            waits_for_manager=_to_confirm(result.word, ours.word, may_condemn=may),
        )
        for row, result, ours in fresh
    ]


def _key(row: Consigned) -> str:
    """Return the entry key of a cylinder's result: one for each time it goes out.

    One more for each time that its record was said never to have happened.
    """
    before = getattr(row, "result", None)
    return f"consigned-{row.pk}" + (f"-after-{before.record_position}" if before else "")


def _to_confirm(house: Word, ours: Word | None, *, may_condemn: bool) -> bool:
    """Say whether a condemnation nobody disputes still needs a manager's word."""
    return house is Word.CONDEMN and ours in (None, house) and not may_condemn


def _record(
    row: Consigned,
    result: HouseResult,
    ours: Opinion,
    rules: Mapping[int, str],
    *,
    may_condemn: bool,
) -> ledger.NewRecord:
    """Return the record of a result. Raises ConsignmentRefused where it can't have happened."""
    outcome = ledger_outcome(result.word, ours.word, may_condemn=may_condemn)
    waits = outcome == "fail" and Word.CONDEMN in (result.word, ours.word)
    house = row.consignment.house
    note = f"Consignment {row.consignment.number}, {house}."
    if ours.word not in (None, result.word):
        note += f" The house says {result.word}, our arithmetic {ours.word}: not settled yet."
    elif waits:
        note += " The house says condemn: a fleet manager has still to confirm it."
    readings = (
        *_figures(result, ours),
        Reading("house says", " ".join(filter(None, (result.word, result.reason)))),
        Reading("we find", ours.says),
        *([Reading("mark", result.mark)] if result.mark else []),
        *([CONDEMNATION_WAITS] if waits else []),
        *result.shoulder.readings,
    )
    service = services.Service(
        task=RETEST,
        done_on=result.tested_on,
        outcome=outcome,
        performed_by=f"{result.by}, {house}"[:120],
        note=note,
        readings=readings,
        rule=rules.get(row.item_id, ""),
    )
    try:
        services.check_service(row.item, service, today_at(row.item.site))
    except services.ServiceRefused as problem:
        raise ConsignmentRefused(f"{row.item.tag}: {problem}") from problem
    return services.new_record(row.item, service, _key(row))


def _figures(result: HouseResult, ours: Opinion) -> tuple[Reading, ...]:
    limit = ours.verdict.limit_percent if ours.verdict else None
    return readings_of(
        method=result.method,
        reached=result.reached,
        held_s=result.held_s,
        found=result.expansion,
        subject=ours.subject,
        limit_percent=limit,
    )


def log_retest(
    item: Item,
    service: services.Service,
    user: User,
    entry_key: str,
    *,
    elsewhere: bool = False,
    signed: bool = False,
) -> int:
    """Enter a retest in the ledger and return the record's place in the item's chain.

    elsewhere: it was done at a test house. signed: see `log_service`.
    """
    try:
        record = services.log_service(
            item=item,
            service=service,
            user=user,
            entry_key=entry_key,
            elsewhere=elsewhere,
            signed=signed,
        )
    except (services.ServiceRefused, ledger.EntryKeyUsedTwice, ledger.SignatureRefused) as problem:
        raise ConsignmentRefused(f"{item.tag}: {problem}") from problem
    return record.position


@only(Right.MANAGE, "Only a fleet manager settles this.")
@transaction.atomic
def settle(*, result: Result, word: Word, why: str, user: User, signed: bool = False) -> Result:
    """Settle a disagreement between the house and us, or confirm a condemnation, with a reason.

    Both verdicts stay. A new record of the same test day says what counts from now on; the due
    dates follow it. signed: whether the user signs that record; the caller has made sure that
    they are there. Raises ConsignmentRefused where there is nothing to settle, another record
    has decided it since, or no reason is given.
    """
    row = Result.objects.select_for_update().get(pk=result.pk)
    ledger.lock_items([row.consigned.item_id])
    if row.settled_word == word and row.settled_why == why.strip():
        return row
    if not row.open_question or result_of(row.consigned) is None:
        raise ConsignmentRefused("There is nothing to settle here; the outcome stands.")
    if (decided := answered_by([row]).get(row.pk)) is not None:
        raise ConsignmentRefused(
            f"Record {decided.position} of {row.consigned.item.tag} has settled this already: "
            f"{decided.task.replace('-', ' ')} on {day_words(decided.done_on)}, {decided.outcome}."
        )
    if not why.strip():
        raise ConsignmentRefused("Write why: whoever reads the record must be able to follow.")
    item, at = row.consigned.item, now()
    service = services.Service(
        task=RETEST,
        done_on=row.tested_on,
        outcome=LEDGER_WORDS[word],
        performed_by=user.get_full_name() or user.get_username(),
        performed_by_user=user,
        note=f"Settled: {word}. {why.strip()}",
        readings=(
            Reading("house says", row.house_word),
            Reading("we find", row.our_says),
            *(_shoulder(row).readings if word is Word.PASS else ()),
        ),
    )
    log_retest(item, service, user, f"settled-{row.pk}", elsewhere=True, signed=signed)
    row.settled_word, row.settled_why = word, why.strip()
    row.settled_by, row.settled_at = user, at
    row.save(update_fields=["settled_word", "settled_why", "settled_by", "settled_at"])
    return row


def _shoulder(result: Result) -> Shoulder:
    """Return what the house marked: it stays on the metal, whoever was right."""
    return Shoulder(**{name: result.said.get(column, "") for name, column in COLUMNS.items()})


def opinion_of(consigned: Consigned, result: HouseResult) -> Opinion:
    """Return what we find of a result, without writing anything."""
    return opinion_on(result, known_of([consigned.item])[consigned.item_id], limits())

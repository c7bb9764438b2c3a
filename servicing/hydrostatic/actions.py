"""Sending cylinders to a test house and taking their results in."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.contrib.auth.models import User
from django.db import IntegrityError, transaction

from registry.items.models import Item
from registry.items.pure import Kind
from registry.sites.clock import now, today_at
from registry.sites.models import Site
from servicing.due.actions.services import (
    Service,
    ServiceRefused,
    check_service,
    log_service,
    new_record,
)
from servicing.due.actions.store import refresh
from servicing.due.queries.engine import governing_rules
from servicing.hydrostatic.models import Consigned, Consignment, Result
from servicing.hydrostatic.pure.house import (
    HouseResult,
    Opinion,
    opinion_on,
    readings_of,
)
from servicing.hydrostatic.pure.outcome import LEDGER_WORDS, ledger_outcome
from servicing.hydrostatic.pure.results import faults_of
from servicing.hydrostatic.pure.verdict import Word
from servicing.hydrostatic.queries import (
    RETEST,
    cylinders_of,
    known_of,
    limits,
    result_of,
    sent_of,
)
from servicing.ledger.actions import (
    EntryKeyUsedTwice,
    NewRecord,
    append_records,
    lock_items,
)
from servicing.ledger.pure.entry import Reading
from servicing.ledger.queries import condemnation_of


class ConsignmentRefused(ValueError):
    """Something about a consignment can't be done; the text says why and what to do."""


@transaction.atomic
def open_consignment(
    *, from_site: Site, house: str, items: Sequence[Item], user: User | None, entry_key: str
) -> Consignment:
    """Begin a consignment with its first cylinders, and return it.

    entry_key: the form's key; a form that comes in twice makes one consignment, which is
    returned again. Raises ConsignmentRefused where a cylinder can't go; nothing is written then.
    """
    lock_items([item.pk for item in items])
    if (known := Consignment.objects.filter(entry_key=entry_key).first()) is not None:
        return known
    at = now()
    for number in _free_numbers(at):
        try:
            with transaction.atomic():
                consignment = Consignment.objects.create(
                    number=number,
                    from_site=from_site,
                    house=house,
                    made_at=at,
                    made_by=user,
                    entry_key=entry_key,
                )
            break
        except IntegrityError:
            continue  # taken at the same moment by another desk
    else:
        raise ConsignmentRefused("No number could be had; try again.")
    add_cylinders(consignment=consignment, items=items)
    return consignment


def _free_numbers(at: datetime) -> Iterable[str]:
    """Yield the next numbers of a year, such as 2026-007."""
    used = Consignment.objects.filter(number__startswith=f"{at.year}-").count()
    return (f"{at.year}-{used + step:03d}" for step in range(1, 6))


@transaction.atomic
def add_cylinders(*, consignment: Consignment, items: Sequence[Item]) -> None:
    """Add cylinders to a consignment that is still being packed.

    Raises ConsignmentRefused for what is no cylinder, is condemned, or is in a consignment
    already, naming all of them; then nothing is written.
    """
    _locked(consignment)
    if consignment.sent_on is not None:
        raise ConsignmentRefused(f"{consignment.number} has left; begin another consignment.")
    lock_items([item.pk for item in items])
    if refused := [why for item in items if (why := _why_not(item))]:
        raise ConsignmentRefused(" ".join(refused))
    Consigned.objects.bulk_create(
        Consigned(consignment=consignment, item=item) for item in dict.fromkeys(items)
    )


def _why_not(item: Item) -> str:
    if item.type.kind != Kind.CYLINDER:
        return f"{item.tag} is no cylinder."
    if condemnation_of(item) is not None:
        return f"{item.tag} is condemned and isn't tested again."
    row = Consigned.objects.filter(item=item, open=True).select_related("consignment").first()
    return f"{item.tag} is in consignment {row.consignment.number} already." if row else ""


@transaction.atomic
def remove_cylinder(*, consigned: Consigned) -> None:
    """Take a cylinder out of a consignment that is still being packed."""
    consignment = _locked(consigned.consignment)
    if consignment.sent_on is not None:
        raise ConsignmentRefused(f"{consignment.number} has left; its list stays as it was.")
    consigned.delete()


@transaction.atomic
def send(*, consignment: Consignment, sent_on: date) -> None:
    """Let a consignment leave on a day. Entering the same day twice changes nothing.

    Raises ConsignmentRefused where it is empty, has left already, or the day is to come.
    """
    row = _locked(consignment)
    if row.sent_on == sent_on:
        return
    if row.sent_on is not None:
        raise ConsignmentRefused(f"{row.number} left on {row.sent_on} already.")
    if sent_on > (today := today_at(row.from_site)):
        raise ConsignmentRefused(f"{sent_on} is in the future; today is {today}.")
    if not row.cylinders.exists():
        raise ConsignmentRefused(f"{row.number} has no cylinders; add some first.")
    row.sent_on = consignment.sent_on = sent_on
    row.save(update_fields=["sent_on"])


@transaction.atomic
def take_back(*, consignment: Consignment, back_on: date) -> None:
    """Close a consignment: all its cylinders are back, tested or not.

    Results may still be entered afterwards. Raises ConsignmentRefused where it never left, is
    back already on another day, or the day can't be.
    """
    row = _locked(consignment)
    if row.back_on == back_on:
        return
    if row.sent_on is None or row.back_on is not None:
        raise ConsignmentRefused(f"{row.number} is {row.state}; nothing comes back.")
    today = today_at(row.from_site)
    if not row.sent_on <= back_on <= today:
        raise ConsignmentRefused(
            f"{back_on} can't be: it left on {row.sent_on}, and today is {today}."
        )
    row.back_on = consignment.back_on = back_on
    row.save(update_fields=["back_on"])
    row.cylinders.update(open=False)


@transaction.atomic
def enter_results(
    *, consignment: Consignment, results: Sequence[HouseResult], user: User
) -> list[Result]:
    """Enter what the house said of cylinders, judged again by us; return what is new.

    All or nothing. Each makes one record of the retest, with both verdicts in it, and moves the
    cylinder's due dates. The stricter verdict counts; where the two disagree on condemning, the
    record is a fail until a manager settles it (`pure.outcome`). A result entered before with
    the same content is passed over. Raises ConsignmentRefused; then nothing is written.
    """
    _locked(consignment)
    rows = {row.item.tag: row for row in cylinders_of(consignment)}
    lock_items([row.item_id for row in rows.values()])
    sent = sent_of(consignment)
    known = known_of(row.item for row in rows.values())
    fresh = []
    for result in results:
        if (row := rows.get(result.tag)) is None:
            raise ConsignmentRefused(f"{result.tag} is not in consignment {consignment.number}.")
        before = result_of(row)
        if before is not None and before.said == result.said():
            continue
        if before is not None:
            raise ConsignmentRefused(f"{result.tag} has another result already, which stands.")
        if faults := faults_of(result, sent[result.tag]):
            words = "; ".join(f"{column} {remedy}" for column, remedy in faults)
            raise ConsignmentRefused(f"{result.tag}: {words}.")
        fresh.append((row, result, opinion_on(result, known[row.item_id], limits())))
    return _enter(fresh, user)


def _enter(fresh: Sequence[tuple[Consigned, HouseResult, Opinion]], user: User) -> list[Result]:
    """Add the records of all results with their due dates, and keep both verdicts of each."""
    at = now()
    rules = governing_rules(RETEST, {row.item: result.tested_on for row, result, _ in fresh})
    new = [_record(row, result, ours, rules) for row, result, ours in fresh]
    added = {record.entry_key: record for record in append_records(new, user=user, at=at)}
    refresh([row.item_id for row, _, _ in fresh])
    return [
        Result.objects.create(
            consigned=row,
            tested_on=result.tested_on,
            said=result.said(),
            house_word=result.word,
            our_word=ours.word or "",
            our_says=ours.says,
            entered_at=at,
            record_position=added[_key(row)].position,
        )
        for row, result, ours in fresh
    ]


def _key(row: Consigned) -> str:
    """Return the entry key of a cylinder's result: there is one for each time it goes out."""
    return f"consigned-{row.pk}"


def _record(
    row: Consigned, result: HouseResult, ours: Opinion, rules: Mapping[int, str]
) -> NewRecord:
    """Return the record of a result. Raises ConsignmentRefused where it can't have happened."""
    house = row.consignment.house
    note = f"Consignment {row.consignment.number}, {house}."
    if ours.word not in (None, result.word):
        note += f" The house says {result.word}, our arithmetic {ours.word}: not settled yet."
    readings = (
        *_figures(result, ours),
        Reading("house says", " ".join(filter(None, (result.word, result.reason)))),
        Reading("we find", ours.says),
        *([Reading("mark", result.mark)] if result.mark else []),
    )
    service = Service(
        task=RETEST,
        done_on=result.tested_on,
        outcome=ledger_outcome(result.word, ours.word),
        performed_by=f"{result.by}, {house}"[:120],
        note=note,
        readings=readings,
        rule=rules.get(row.item_id, ""),
    )
    try:
        check_service(row.item, service, today_at(row.item.site))
    except ServiceRefused as problem:
        raise ConsignmentRefused(f"{row.item.tag}: {problem}") from problem
    return new_record(row.item, service, _key(row))


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


def _log(item: Item, service: Service, user: User, entry_key: str) -> int:
    """Enter a retest in the ledger and return the record's place in the item's chain."""
    try:
        record = log_service(item=item, service=service, user=user, entry_key=entry_key)
    except (ServiceRefused, EntryKeyUsedTwice) as problem:
        raise ConsignmentRefused(f"{item.tag}: {problem}") from problem
    return record.position


@transaction.atomic
def settle(*, result: Result, word: Word, why: str, user: User) -> Result:
    """Settle a disagreement between the house and us, with a reason.

    Both verdicts stay. A new record of the same test day says what counts from now on; the due
    dates follow it. Raises ConsignmentRefused where there is nothing to settle or no reason.
    """
    row = Result.objects.select_for_update().get(pk=result.pk)
    if row.settled_word == word and row.settled_why == why.strip():
        return row
    if not row.open_question:
        raise ConsignmentRefused("There is nothing to settle here; the outcome stands.")
    if not why.strip():
        raise ConsignmentRefused("Write why: whoever reads the record must be able to follow.")
    item, at = row.consigned.item, now()
    service = Service(
        task=RETEST,
        done_on=row.tested_on,
        outcome=LEDGER_WORDS[word],
        performed_by=user.get_full_name() or user.get_username(),
        performed_by_user=user,
        note=f"Settled: {word}. {why.strip()}",
        readings=(Reading("house says", row.house_word), Reading("we find", row.our_says)),
    )
    _log(item, service, user, f"settled-{row.pk}")
    row.settled_word, row.settled_why = word, why.strip()
    row.settled_by, row.settled_at = user, at
    row.save(update_fields=["settled_word", "settled_why", "settled_by", "settled_at"])
    return row


@dataclass(frozen=True, slots=True)
class OwnTest:
    """A test done in our own shop, judged and ready to be entered.

    word: our verdict; says: its reasons; readings: all figures, by name.
    """

    tested_on: date
    by: str
    word: Word
    says: str
    readings: tuple[Reading, ...]
    note: str = ""


@transaction.atomic
def enter_own_test(*, item: Item, test: OwnTest, user: User, entry_key: str) -> int:
    """Enter a test of our own as a record of the retest, and return the record's place.

    A repeat is a record too (49 CFR 180.215(b)(2)): a fail, so that the cylinder stays out of
    service until a test counts. Raises ConsignmentRefused; then nothing is written.
    """
    if item.type.kind != Kind.CYLINDER:
        raise ConsignmentRefused(f"{item.tag} is no cylinder.")
    service = Service(
        task=RETEST,
        done_on=test.tested_on,
        outcome=LEDGER_WORDS[test.word],
        performed_by=test.by,
        note=test.note,
        readings=(*test.readings, Reading("verdict", test.says)),
    )
    return _log(item, service, user, entry_key)


def opinion_of(consigned: Consigned, result: HouseResult) -> Opinion:
    """Return what we find of a result, without writing anything."""
    return opinion_on(result, known_of([consigned.item])[consigned.item_id], limits())


def _locked(consignment: Consignment) -> Consignment:
    """Lock a consignment's row, so that of two people who act at once the second sees the first."""
    row = Consignment.objects.select_for_update(of=("self",)).get(pk=consignment.pk)
    consignment.sent_on, consignment.back_on = row.sent_on, row.back_on
    return row

"""Every write that can move a due date, each with the dates kept true in one transaction."""

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING, Any

from django.contrib.auth.models import User
from django.db import transaction

from registry.items.actions import write_item
from registry.items.models import Item
from registry.lists.actions import Progress, Written, write_register, write_sites
from registry.lists.pure.register import ItemRow
from registry.lists.pure.sites import SiteRow
from registry.sites.clock import now, today_at
from registry.sites.models import Site
from registry.sites.queries import with_sites_below
from servicing.due.models import DueSpan, StoredObligation
from servicing.due.pure.obligations import Obligation, Record, StandingWord
from servicing.due.pure.spans import Span, spans
from servicing.due.queries import engine_input, items_for_engine, owed
from servicing.ledger.actions import NewRecord, append_records
from servicing.ledger.pure.chain import tidy
from servicing.ledger.pure.history import HistoryRow
from servicing.ledger.queries import condemnation_of, record_with_key
from servicing.rules.actions import Loaded, adopt_for_all_days, load_tables
from servicing.rules.pure.rule import Table
from servicing.rules.queries import current_versions

if TYPE_CHECKING:
    from servicing.ledger.models import Record as LedgerRecord

BATCH = 1000
SpanKey = tuple[date | None, date | None, str, date | None, str]
OwedKey = tuple[str, date | None, date | None, int, str, date | None]
Days = tuple[date | None, date | None]
Stored = tuple[frozenset[SpanKey], frozenset[tuple[Days, OwedKey]]]


class ServiceRefused(ValueError):
    """A service that can't be recorded as typed; the text says why and what to do."""


@dataclass(frozen=True, slots=True)
class Service:
    """A service as a person enters it. `readings` are (name, text as typed)."""

    task: str
    done_on: date
    outcome: str
    performed_by: str
    note: str = ""
    readings: tuple[tuple[str, str], ...] = ()
    part_made_on: date | None = None


@dataclass(frozen=True, slots=True)
class Effect:
    """What an item owes without and with a service, on the day of entry."""

    before: tuple[Obligation, ...]
    after: tuple[Obligation, ...]


def quiet(_what: str, _done: int, _of: int) -> None:
    """Show no progress."""


# What is stored -----------------------------------------------------------------------


def refresh(item_ids: Iterable[int], progress: Progress = quiet) -> int:
    """Compute the stored due dates of some items afresh; return how many items changed."""
    ids = sorted(item_ids)
    changed = 0
    for start in range(0, len(ids), BATCH):
        batch = ids[start : start + BATCH]
        changed += _refresh(items_for_engine(batch), whole=False)
        progress("due dates computed", min(start + BATCH, len(ids)), len(ids))
    return changed


@transaction.atomic
def recompute(progress: Progress = quiet) -> int:
    """Compute every stored due date afresh; return how many items changed.

    On a healthy register nothing does: every write keeps the dates true.
    """
    return refresh(Item.objects.values_list("pk", flat=True), progress)


def _refresh(items: Iterable[Item], *, whole: bool) -> int:
    rows = list(items)
    rule_pks = {rule_id: version.pk for rule_id, version in current_versions().items()}
    stored = _stored([item.pk for item in rows])
    wrong: dict[int, Stored] = {}
    for item, plain, past, rules in engine_input(rows, everything=whole):
        fresh = _as_stored(spans(plain, past, rules), rule_pks)
        if fresh != stored.get(item.pk, (frozenset(), frozenset())):
            wrong[item.pk] = fresh
    _replace(wrong)
    return len(wrong)


def _as_stored(found: Sequence[Span], rule_pks: Mapping[str, int]) -> Stored:
    """Return spans as rows; an obligation that goes on unchanged is one row."""
    standings = frozenset(
        (s.start, s.end, s.standing.word, s.standing.since_on, s.standing.task) for s in found
    )
    running: dict[OwedKey, Days] = {}
    rows: set[tuple[Days, OwedKey]] = set()
    for span in found:
        keys = {_key(obligation, rule_pks) for obligation in span.obligations}
        rows |= {(running.pop(key), key) for key in running.keys() - keys}
        for key in keys:
            running[key] = (running[key][0] if key in running else span.start, span.end)
    rows |= {(days, key) for key, days in running.items()}
    return standings, frozenset(rows)


def _key(obligation: Obligation, rule_pks: Mapping[str, int]) -> OwedKey:
    return (
        obligation.task,
        obligation.due_on,
        obligation.soon_from,
        rule_pks[obligation.rule.id],
        obligation.counted_from.value if obligation.counted_from else "",
        obligation.basis_on,
    )


def _stored(item_ids: Sequence[int]) -> dict[int, Stored]:
    found: dict[int, tuple[set[SpanKey], set[tuple[Days, OwedKey]]]] = {
        pk: (set(), set()) for pk in item_ids
    }
    standings = DueSpan.objects.filter(item_id__in=item_ids).values_list(
        "item_id", "holds_from", "holds_until", "standing", "since_on", "task"
    )
    for pk, *standing in standings:
        found[pk][0].add(tuple(standing))  # type: ignore[arg-type]
    columns = ("holds_from", "holds_until", "task", "due_on", "soon_on", "rule_id")
    rows = StoredObligation.objects.filter(item_id__in=item_ids).values_list(
        "item_id", *columns, "counted_from", "basis_on"
    )
    for pk, start, end, *key in rows:
        found[pk][1].add(((start, end), tuple(key)))  # type: ignore[arg-type]
    return {pk: (frozenset(a), frozenset(b)) for pk, (a, b) in found.items()}


def _replace(wrong: Mapping[int, Stored]) -> None:
    DueSpan.objects.filter(item_id__in=wrong).delete()
    StoredObligation.objects.filter(item_id__in=wrong).delete()
    DueSpan.objects.bulk_create(
        DueSpan(
            item_id=pk,
            holds_from=start,
            holds_until=end,
            standing=word,
            since_on=since_on,
            task=task,
        )
        for pk, (standings, _) in wrong.items()
        for start, end, word, since_on, task in standings
    )
    StoredObligation.objects.bulk_create(
        (
            StoredObligation(
                item_id=pk,
                holds_from=days[0],
                holds_until=days[1],
                **dict(
                    zip(
                        ("task", "due_on", "soon_on", "rule_id", "counted_from", "basis_on"),
                        key,
                        strict=True,
                    )
                ),
            )
            for pk, (_, rows) in wrong.items()
            for days, key in rows
        ),
        batch_size=5000,
    )


# Use cases ----------------------------------------------------------------------------


@transaction.atomic
def load_rules(tables: Sequence[Table]) -> tuple[Loaded, int]:
    """Load rule tables and bring every due date up to date; return how many items moved."""
    loaded = load_tables(tables, at=now())
    touched = loaded.new or loaded.changed or loaded.ended
    return loaded, recompute() if touched else 0


@transaction.atomic
def import_sites(rows: Sequence[SiteRow]) -> int:
    """Make or change sites and what they adopt on all days; return how many items moved."""
    sites = write_sites(rows)
    for row in rows:
        adopt_for_all_days(sites[row.code], row.rule_tables)
    return recompute()


@transaction.atomic
def save_site(site: Site, *, tables: Sequence[str]) -> int:
    """Save a site with the tables it adopts on all days; return how many items moved."""
    site.full_clean()
    site.save()
    adopt_for_all_days(site, tables)
    return refresh(
        Item.objects.filter(site__in=with_sites_below(site)).values_list("pk", flat=True)
    )


@transaction.atomic
def import_register(rows: Sequence[ItemRow], progress: Progress = quiet) -> Written:
    """Make or change items as a list says, with their due dates."""
    written = write_register(rows, progress)
    refresh(written.ids, progress)
    return written


@transaction.atomic
def save_item(
    item: Item,
    *,
    tag: str,
    kind: str,
    maker: str,
    model: str,
    site: Site,
    attributes: Mapping[str, Any],
) -> Item:
    """Register or change an item, with its due dates. See `write_item` for the values."""
    written = write_item(
        item, tag=tag, kind=kind, maker=maker, model=model, site=site, attributes=attributes
    )
    refresh([written.pk])
    return written


@transaction.atomic
def import_history(
    rows: Sequence[HistoryRow], *, file: str, file_hash: str, progress: Progress = quiet
) -> tuple[int, int]:
    """Add a list's records to the ledger, with the due dates; return (added, known before).

    A row is known by its content and by how many rows like it came before it in the
    file, so two fills on one day are two records and the same file again is none.
    file, file_hash: what each record says it was carried over from.
    """
    items = {
        tag: (pk, f"{tag} · {maker} · {serial}")
        for tag, pk, maker, serial in Item.objects.values_list("tag", "pk", "maker", "serial")
    }
    seen: dict[tuple[object, ...], int] = {}
    new = []
    source = f"{file} (SHA-256 {file_hash})"
    for row in rows:
        item_id, marked_as = items[row.tag]
        content = (row.tag, row.task, row.done_on, row.outcome, row.by, row.note)
        content = (*content, row.part_made_on, row.readings)
        seen[content] = seen.get(content, 0) + 1
        key = hashlib.sha256(repr((content, seen[content])).encode()).hexdigest()
        new.append(
            NewRecord(
                item_id=item_id,
                marked_as=marked_as,
                task=row.task,
                done_on=row.done_on,
                outcome=row.outcome,
                performed_by=tidy(row.by),
                entry_key=key,
                note=tidy(row.note),
                readings=row.readings,
                part_made_on=row.part_made_on,
                carried_over_from=source,
            )
        )
    progress("rows read", len(new), len(new))
    added = append_records(new, user=None, at=now())
    progress("records written", len(added), len(new))
    refresh({record.item_id for record in added}, progress)
    return len(added), len(new) - len(added)


def effect_of(item: Item, service: Service) -> Effect:
    """Return what a service would move, without writing anything.

    Raises ServiceRefused where it can't be recorded.
    """
    today = today_at(item.site)
    _check(item, service, today)
    extra = Record(service.task, service.done_on, service.outcome, service.part_made_on)
    return Effect(owed(item, today), owed(item, today, [extra]))


@transaction.atomic
def log_service(
    *, item: Item, service: Service, user: User, entry_key: str, at: datetime | None = None
) -> "LedgerRecord":
    """Enter a service in the ledger, with the new due dates, and return the record.

    entry_key: the form's key; a form that comes in twice makes one record, which is
    returned again. Raises ServiceRefused or EntryKeyUsedTwice; then nothing is written.
    """
    known = record_with_key(entry_key)
    if known is None:
        _check(item, service, today_at(item.site))
    new = NewRecord(
        item_id=item.pk,
        marked_as=f"{item.tag} · {item.maker} · {item.serial}",
        task=service.task,
        done_on=service.done_on,
        outcome=service.outcome,
        performed_by=tidy(service.performed_by),
        entry_key=entry_key,
        note=tidy(service.note),
        readings=service.readings,
        part_made_on=service.part_made_on,
    )
    added = append_records([new], user=user, at=at or now())
    refresh([item.pk])
    return added[0] if known is None else known


def _check(item: Item, service: Service, today: date) -> None:
    """Refuse what can't have happened."""
    if service.done_on > today:
        raise ServiceRefused(f"{service.done_on} is in the future; today at the site is {today}.")
    if item.made_on and service.done_on < item.made_on:
        raise ServiceRefused(f"{service.done_on} is before the item was made, {item.made_on}.")
    if service.part_made_on and service.part_made_on > service.done_on:
        raise ServiceRefused("The part was made after it was fitted; correct one of the days.")
    if (condemned := condemnation_of(item)) is not None:
        raise ServiceRefused(
            f"{item.tag} was {StandingWord.CONDEMNED} on {condemned.done_on}; it can't come back."
        )

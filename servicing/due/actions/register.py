"""Changing what exists, or what is asked of it, with the due dates that hang on it."""

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from registry.items.actions import keep_versions, write_item
from registry.items.models import Item, ItemType
from registry.lists.actions import Progress, Written, write_register, write_sites
from registry.lists.pure.register import ItemRow
from registry.lists.pure.sites import SiteRow
from registry.sites.actions import keep_versions as keep_site_versions
from registry.sites.clock import now
from registry.sites.models import Site
from registry.sites.queries import with_sites_below
from servicing.due.actions.store import quiet, recompute, refresh
from servicing.due.models import StoredObligation
from servicing.due.queries.rows import today_q
from servicing.ledger.actions import NewRecord, append_records
from servicing.ledger.pure.chain import marked_as, tidy
from servicing.ledger.pure.history import HistoryRow
from servicing.rules.actions import Loaded, adopt_for_all_days, load_tables
from servicing.rules.pure.rule import Table


@transaction.atomic
def load_rules(tables: Sequence[Table]) -> tuple[Loaded, int]:
    """Load rule tables and bring every due date up to date; return how many items moved."""
    loaded = load_tables(tables, at=now())
    touched = loaded.new or loaded.changed or loaded.ended
    return loaded, recompute() if touched else 0


@dataclass(frozen=True, slots=True, order=True)
class Move:
    """An obligation that a change moves: its date and rule before and after.

    A date is empty where there is none, a rule where the task is not asked at all.
    """

    tag: str
    task: str
    due_before: str
    due_after: str
    rule_before: str
    rule_after: str


class _Undone(Exception):
    """Ends a transaction that was made only to see what it would do."""


def preview_rules(tables: Sequence[Table]) -> tuple[Loaded, list[Move]]:
    """Return what loading rule tables would change and move, and write nothing.

    The load is done for real and undone, so the preview can't differ from the deed.
    """
    try:
        with transaction.atomic():
            before = _owed_today()
            loaded, _ = load_rules(tables)
            after = _owed_today()
            raise _Undone
    except _Undone:
        pass
    nothing = ("", "")
    return loaded, sorted(
        Move(tag, task, was[0], becomes[0], was[1], becomes[1])
        for tag, task in before.keys() | after.keys()
        for was in [before.get((tag, task), nothing)]
        for becomes in [after.get((tag, task), nothing)]
        if was != becomes
    )


def _owed_today() -> dict[tuple[str, str], tuple[str, str]]:
    """Return (due day, rule) by (tag, task) of everything owed today."""
    rows = StoredObligation.objects.filter(today_q()).values_list(
        "item__tag", "task", "due_on", "rule__rule_id"
    )
    return {(tag, task): (str(due_on or "no date"), rule) for tag, task, due_on, rule in rows}


@transaction.atomic
def import_sites(rows: Sequence[SiteRow]) -> int:
    """Make or change sites and what they adopt on all days; return how many items moved."""
    at = now()
    sites = write_sites(rows, at=at)
    for row in rows:
        adopt_for_all_days(sites[row.code], row.rule_tables, at=at)
    return recompute()


@transaction.atomic
def save_site(site: Site, *, tables: Sequence[str]) -> int:
    """Save a site with the tables it adopts on all days; return how many items moved."""
    site.full_clean()
    site.save()
    at = now()
    keep_site_versions([site], at=at)
    adopt_for_all_days(site, tables, at=at)
    return refresh(
        Item.objects.filter(site__in=with_sites_below(site)).values_list("pk", flat=True)
    )


@transaction.atomic
def import_register(rows: Sequence[ItemRow], progress: Progress = quiet) -> Written:
    """Make or change items as a list says, with their due dates."""
    written = write_register(rows, progress, at=now())
    refresh(written.ids, progress)
    return written


@transaction.atomic
def rename_type(named: ItemType, *, maker: str, model: str) -> ItemType:
    """Correct the name of a type, on all its items, with their due dates.

    Raises ValidationError where the name is another type's, or where an item of the
    other maker has the same serial; then nothing is written.
    """
    named.maker, named.model = maker, model
    named.full_clean()
    twin = Item.objects.filter(maker=maker, serial__in=named.items.values("serial"))
    if (item := twin.exclude(type=named).first()) is not None:
        raise ValidationError(f"{maker} {item.serial} is registered already, as {item.tag}.")
    named.save()
    named.items.update(maker=maker)
    keep_versions(named.items.select_related("type"), at=now())
    refresh(named.items.values_list("pk", flat=True))
    return named


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
        item,
        tag=tag,
        kind=kind,
        maker=maker,
        model=model,
        site=site,
        attributes=attributes,
        at=now(),
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
        tag: (pk, marked_as(tag, maker, serial))
        for tag, pk, maker, serial in Item.objects.values_list("tag", "pk", "maker", "serial")
    }
    seen: dict[tuple[object, ...], int] = {}
    new = []
    source = f"{file} (SHA-256 {file_hash})"
    for row in rows:
        item_id, marked = items[row.tag]
        said = (row.tag, row.task, row.done_on, row.outcome, row.by, row.note)
        content = (*said, row.part_made_on, row.readings)
        seen[content] = seen.get(content, 0) + 1
        key = hashlib.sha256(repr((content, seen[content])).encode()).hexdigest()
        new.append(
            NewRecord(
                item_id=item_id,
                marked_as=marked,
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

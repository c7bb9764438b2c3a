"""Changing what exists, or what is asked of it, with the due dates that hang on it."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime
from typing import Any

from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.db import transaction

from registry.bulk.actions import Progress, quiet
from registry.cells.pure.values import Vocabulary
from registry.items.actions import keep_versions, move_items, state_type, write_item
from registry.items.facts import CHOSEN, OF_TYPES, Fact
from registry.items.models import Item, ItemType
from registry.items.pure import Kind
from registry.items.queries import as_stored, as_told
from registry.lists.actions import Written, write_register, write_sites
from registry.lists.pure.register import ItemRow
from registry.lists.pure.sites import SiteRow
from registry.people.actions.rights import only
from registry.people.pure import Right
from registry.sets.models import Fitting
from registry.sites.actions import keep_versions as keep_site_versions
from registry.sites.clock import now, today_anywhere
from registry.sites.models import Site
from registry.sites.queries import with_sites_below
from registry.trail.actions import Noted, note_all
from registry.trail.pure import differences
from servicing.due.actions.preview import Move, moved_and_fallen
from servicing.due.actions.store import recompute, refresh
from servicing.due.pure.turnout import Shortfall
from servicing.ledger.actions import lock_items
from servicing.rules import actions as rules
from servicing.rules.pure.rule import Table
from servicing.rules.queries import sites_as_told, words_of_rules

REASON_FOR = {"tag", "serial", "kind", "maker", "made_on", "made_to_month", "specification"}
"""What of an item is never changed without a reason, even where no date moves today."""


class ReasonMissing(ValueError):
    """A change that needs a reason came without one; the text says which."""


@only(Right.MANAGE)
@transaction.atomic
def load_rules(
    tables: Sequence[Table], *, user: User | None = None, why: str = ""
) -> tuple[rules.Loaded, int]:
    """Load rule tables and bring every due date up to date; return how many items changed."""
    at = now()
    loaded = rules.load_tables(tables, at=at)
    touched = loaded.new or loaded.changed or loaded.ended or loaded.included
    moved = recompute() if touched else 0
    note_all([replace(change, why=change.why or why) for change in loaded.changes], by=user, at=at)
    return loaded, moved


def preview_rules(
    tables: Sequence[Table],
) -> tuple[rules.Loaded, list[Move], list[tuple[date | None, Shortfall]]]:
    """Return what loading rule tables would change and move, and write nothing.

    With it, by day, what it would take from the stations.

    Today is compared, and every later day on which one of the rows begins or ends.
    """
    today = today_anywhere()
    edges = {
        day
        for table in tables
        for rule in table.rules
        for day in (rule.valid_from, rule.valid_until)
        if day and day > today
    }
    days = [None, *sorted(edges)]
    (loaded, _), moves, fallen = moved_and_fallen(lambda: load_rules(tables), days=days)
    return loaded, moves, fallen


@only(Right.MANAGE)
@transaction.atomic
def import_sites(
    rows: Sequence[SiteRow], *, file: str = "", file_hash: str = "", user: User | None = None
) -> int:
    """Make or change sites and what they adopt on all days; return how many items moved.

    file, file_hash: what the trail says they came from.
    """
    at = now()
    before = sites_as_told()
    sites = write_sites(rows, at=at)
    for row in rows:
        rules.adopt_for_all_days(sites[row.code], row.rule_tables, at=at)
    moved = recompute()
    told = sites_as_told()
    changes = [
        change
        for row in rows
        for change in _of_site(row.code, before.get(row.code), told[row.code])
    ]
    if changes:
        said = {"file": file, "SHA-256 of the file": file_hash, "rows": len(rows)}
        changes.append(Noted("list of sites", file or "a list", None, said))
    note_all(changes, by=user, at=at)
    return moved


@only(Right.MANAGE)
@transaction.atomic
def save_site(site: Site, *, tables: Sequence[str], user: User | None = None, why: str = "") -> int:
    """Save a site with the tables it adopts on all days; return how many items moved.

    Raises ReasonMissing where somebody changes a site's zone, or moves a date, and does
    not say why; then nothing is written.
    """
    held = Site.objects.filter(pk=site.pk).first()
    before = sites_as_told().get(held.code) if held else None
    site.full_clean()
    site.save()
    at = now()
    keep_site_versions([site], at=at)
    rules.adopt_for_all_days(site, tables, at=at)
    moved = refresh(
        Item.objects.filter(site__in=with_sites_below(site)).values_list("pk", flat=True)
    )
    if held and user and not why and (moved or held.timezone != site.timezone):
        raise ReasonMissing("Why: this moves dates at the site; write the reason.")
    after = sites_as_told()[site.code]
    note_all(_of_site(site.code, before, after, why), by=user, at=at)
    return moved


def _of_site(
    code: str, before: Mapping[str, Any] | None, after: Mapping[str, Any], why: str = ""
) -> list[Noted]:
    """Return the change of a site for the trail, where there is one."""
    if before is None:
        return [Noted("site", code, None, after, why)]
    was, becomes = differences(before, after)
    return [Noted("site", code, was, becomes, why)] if was or becomes else []


@only(Right.RECORD)
@transaction.atomic
def import_register(
    rows: Sequence[ItemRow],
    progress: Progress = quiet,
    *,
    file: str = "",
    file_hash: str = "",
    user: User | None = None,
) -> Written:
    """Make or change items as a list says, with their due dates.

    Where the list moves a set, what is fitted to it goes with it, named there or not.
    The trail gets an entry for each changed item, and one for the whole list with the
    digest of its new items. file, file_hash: what the trail says they came from.
    """
    at = now()
    written = write_register(rows, progress, at=at)
    elsewhere = [each.subject for each in written.changes if "site" in (each.before or {})]
    sets = Item.objects.filter(tag__in=elsewhere, type__kind=Kind.SET).select_related("site")
    followed = follow(sets, at=at)
    refresh({*written.ids, *(part.pk for part, _ in followed)}, progress)
    if written.ids:
        said = {
            "file": file,
            "SHA-256 of the file": file_hash,
            "new items": written.new,
            "changed items": written.changed,
            "digest of the new items": written.new_digest,
        }
        listed = Noted("list of items", file or "a list", None, said)
        carried = [noted for _, noted in followed]
        note_all([*written.changes, *carried, listed], by=user, at=at)
    return written


@only(Right.RECORD)
@transaction.atomic
def rename_type(
    named: ItemType, *, maker: str, model: str, user: User | None = None, why: str = ""
) -> ItemType:
    """Correct the name of a type, on all its items, with their due dates.

    Raises ValidationError where the name is another type's, or where an item of the
    other maker has the same serial, and ReasonMissing where somebody moves a date and
    does not say why; then nothing is written.
    """
    at = now()
    held = ItemType.objects.get(pk=named.pk)
    named.maker, named.model = maker, model
    named.full_clean()
    twin = Item.objects.filter(maker=maker, serial__in=named.items.values("serial"))
    if (item := twin.exclude(type=named).first()) is not None:
        raise ValidationError(f"{maker} {item.serial} is registered already, as {item.tag}.")
    named.save()
    named.items.update(maker=maker)
    keep_versions(named.items.select_related("type"), at=at)
    moved = refresh(named.items.values_list("pk", flat=True))
    if moved and user and not why:
        raise ReasonMissing("Why: this moves dates of its items; write the reason.")
    before, after = differences(_type_as_told(held), _type_as_told(named))
    if before or after:
        change = Noted("type", f"{named.kind} {named}"[:250], before, after, why)
        note_all([change], by=user, at=at)
    return named


def _type_as_told(named: ItemType) -> dict[str, object]:
    return {"kind": named.kind, "maker": named.maker, "model": named.model}


@only(Right.RECORD)
@transaction.atomic
def save_type(
    named: ItemType,
    *,
    maker: str,
    model: str,
    facts: Mapping[str, Any],
    approved: Iterable[ItemType],
    user: User | None,
    why: str = "",
) -> ItemType:
    """Correct the name of a type and set what is stated of it; see `rename_type` and `state_type`.

    Raises what those raise, and ReasonMissing where somebody states a connection that neither
    the table of facts nor a rule knows, and does not say why; then nothing is written.
    """
    if user and not why:
        _refuse_new_words(OF_TYPES, ItemType.objects.get(pk=named.pk).facts(), facts)
    if (named.maker, named.model) != (maker, model):
        rename_type(named, maker=maker, model=model, user=user, why=why)
    return state_type(named, facts=facts, approved=approved, by=user, at=now(), why=why)


@only(Right.RECORD)
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
    user: User | None = None,
    why: str = "",
) -> Item:
    """Register or change an item, with its due dates. See `write_item` for the values.

    Raises ReasonMissing where somebody moves a date of a registered item, changes what it is
    known by, or says a word of it that neither the table of facts nor a rule knows, and does
    not say why; then nothing is written.
    """
    at = now()
    if item.pk:
        fitted = Fitting.objects.open().filter(set=item).values_list("part", flat=True)
        lock_items([item.pk, *fitted])
    before = as_stored(item)
    if user and not why:
        _refuse_new_words({fact.name: fact for fact in CHOSEN}, before or {}, attributes)
    written = write_item(
        item,
        tag=tag,
        kind=kind,
        maker=maker,
        model=model,
        site=site,
        attributes=attributes,
        at=at,
    )
    elsewhere = before is not None and before["site"] != site.code
    followed = follow([written], at=at, why=why) if elsewhere else []
    moved = refresh([written.pk, *(part.pk for part, _ in followed)])
    was, becomes = differences(before or {}, as_told(written))
    if before is None:
        becomes = {name: value for name, value in becomes.items() if value not in ("", None, [])}
    elif user and not why and (moved or REASON_FOR & becomes.keys()):
        raise ReasonMissing("Why: this changes what dates are counted from; write the reason.")
    changes = [noted for _, noted in followed]
    if becomes:
        changes.insert(0, Noted("item", tag, None if before is None else was, becomes, why))
    note_all(changes, by=user, at=at)
    return written


def _refuse_new_words(
    chosen: Mapping[str, Fact], held: Mapping[str, Any], wanted: Mapping[str, Any]
) -> None:
    """Raise ReasonMissing for a word that is chosen from known ones and is none of them.

    chosen: what is chosen so, by the names under which it is held and wanted.
    """
    for name, fact in chosen.items():
        fine = {*fact.words, *fact.words_of(held.get(name) or fact.unknown)}
        new = [word for word in fact.words_of(wanted[name]) if word not in fine]
        known = words_of_rules()[fact.name] if new else frozenset()
        if other := [word for word in new if word not in known]:
            near = Vocabulary(fact.words, "").nearest(other[0])
            perhaps = f" (perhaps {near} is meant)" if near else ""
            raise ReasonMissing(
                f"Why: {fact.label.lower()} {other[0]} is none of those to choose from{perhaps}; "
                "say where it stands and what it means."
            )


def follow(sets: Iterable[Item], *, at: datetime, why: str = "") -> list[tuple[Item, Noted]]:
    """Move the parts of sets to where their sets are, in the caller's transaction.

    Returns each part that was elsewhere with the trail's note of it; other items than sets
    have no parts. Due dates are not touched.
    """
    whole = {item.pk: item for item in sets}
    fittings = Fitting.objects.open().filter(set__in=whole).order_by("part__tag")
    moved = []
    for fitting in fittings.select_related("part__type", "part__site"):
        home = whole[fitting.set_id]
        said = f"with its set {home.tag}{f': {why}' if why else ''}"
        notes = move_items([fitting.part], home.site, at=at, why=said)
        moved += [(fitting.part, noted) for noted in notes]
    return moved

"""Loading rule tables, and adopting them at sites."""

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.db import transaction

from registry.sites.models import Site
from registry.trail.actions import Noted
from registry.trail.pure import differences
from servicing.rules.models import Adoption, Inclusion, RuleTable, RuleVersion
from servicing.rules.pure import local
from servicing.rules.pure.rule import Rule, Table
from servicing.rules.pure.tables import rule_from_row


@dataclass(frozen=True, slots=True)
class Loaded:
    """How many rows came new, changed, stayed, or were taken out of their table.

    included: how many tables are newly taken along by another, or no longer.
    changes: each of them that did not stay, for the trail.
    """

    new: int = 0
    changed: int = 0
    same: int = 0
    ended: int = 0
    included: int = 0
    changes: tuple[Noted, ...] = field(default=(), compare=False)


class RuleClash(ValueError):
    """Rule tables that can't stand side by side; the text says what to change."""


class RuleIdTaken(RuleClash):
    """Two tables use one rule id; ids are unique over all tables."""


@transaction.atomic
def load_tables(tables: Sequence[Table], *, at: datetime) -> Loaded:
    """Store rule tables; a changed row becomes a new version and the old one stays.

    A row that is no longer in its table is ended. Loading the same again changes
    nothing. Due dates are not touched: `servicing.due.actions.load_rules` does both.
    Nor is the trail: the caller notes `changes`. Raises RuleClash, and then nothing is
    written.
    """
    counts = {"new": 0, "changed": 0, "same": 0, "ended": 0, "included": 0}
    changes: list[Noted] = []
    names = [table.name for table in tables]
    if twice := {name for name in names if names.count(name) > 1}:
        raise RuleClash(f"table {min(twice)} is given twice; put its rows into one file")
    if own := RuleTable.objects.filter(name__in=names).exclude(site=None).first():
        raise RuleClash(f"table {own.name} holds the rules of {own.site} made on screen; rename it")
    stored: list[tuple[RuleTable, Table]] = []
    for table in tables:
        row = _store_table(table, changes)
        gone = RuleVersion.objects.filter(table=row, replaced_at=None).exclude(
            rule_id__in=[rule.id for rule in table.rules]
        )
        changes += [_noted(table.name, last, None) for last in gone]
        counts["ended"] += gone.update(replaced_at=at)
        stored.append((row, table))
    counts["included"] = _include(stored, at, changes)
    # Only now, so that a row can move from one table to another in one load.
    latest = _latest_versions()
    for row, table in stored:
        for rule in table.rules:
            counts[_store(row, rule, at, changes, latest)] += 1
    return Loaded(**counts, changes=tuple(changes))


def _store_table(table: Table, changes: list[Noted]) -> RuleTable:
    """Store what a table says of itself."""
    said = {"title": table.title, "jurisdiction": table.jurisdiction, "caution": table.caution}
    held = RuleTable.objects.filter(name=table.name).first()
    if held is None:
        changes.append(Noted("rule table", table.name, after=said))
        return RuleTable.objects.create(name=table.name, **said)
    before, after = differences({name: getattr(held, name) for name in said}, said)
    if after:
        changes.append(Noted("rule table", table.name, before, after))
        RuleTable.objects.filter(pk=held.pk).update(**said)
    return held


def _include(stored: list[tuple[RuleTable, Table]], at: datetime, changes: list[Noted]) -> int:
    """Keep which tables each one takes along; return how many came or went. Raises RuleClash."""
    moved = 0
    ids = dict(RuleTable.objects.filter(site=None).values_list("name", "pk"))
    for row, table in stored:
        if missing := sorted(set(table.includes) - ids.keys()):
            raise RuleClash(
                f"table {table.name} includes {missing[0]}, which is not loaded; load its file too"
            )
        own = Inclusion.objects.filter(table=row, replaced_at=None)
        has = dict(own.values_list("included__name", "pk"))
        wanted = set(table.includes)
        if has.keys() == wanted:
            continue
        ended = [pk for name, pk in has.items() if name not in wanted]
        Inclusion.objects.filter(pk__in=ended).update(replaced_at=at)
        Inclusion.objects.bulk_create(
            Inclusion(table=row, included_id=ids[name], loaded_at=at)
            for name in sorted(wanted - has.keys())
        )
        moved += len(wanted ^ has.keys())
        before, after = {"includes": sorted(has)}, {"includes": sorted(wanted)}
        changes.append(Noted("rule table", table.name, before, after))
    standing = Inclusion.objects.filter(replaced_at=None)
    pairs = list(standing.values_list("table__name", "included__name"))
    for name, other in pairs:
        if inner := [third for second, third in pairs if second == other]:
            raise RuleClash(
                f"table {name} includes {other}, which includes {inner[0]}; name both in {name}"
            )
    return moved


def _noted(table: str, last: RuleVersion | None, rule: Rule | None) -> Noted:
    """Return the change of a rule for the trail: the row as it was and as it is."""
    before: dict[str, object] | None = None
    if last is not None:
        before = {"table": last.table.name, "version": last.version, **_row(last.content)}
    if last is not None and rule is None:
        return Noted("rule", last.rule_id, before, None, why=f"no longer in table {table}")
    assert rule is not None  # noqa: S101 (one of the two is there)
    version = last.version + 1 if last else 1
    after = {"table": table, "version": version, **_row(rule.text)}
    if before is None:
        return Noted("rule", rule.id, None, after)
    return Noted("rule", rule.id, *differences(before, after))


def _row(content: str) -> dict[str, object]:
    """Return a rule's row, its numbers as they are written."""
    row: dict[str, object] = json.loads(content, parse_float=str)
    return row


def _latest_versions(rule_id: str = "") -> dict[str, RuleVersion]:
    """Return the latest version of every rule, or of one, by the rule's id; ended ones too."""
    rows = RuleVersion.objects.select_related("table").order_by("version")
    return {row.rule_id: row for row in (rows.filter(rule_id=rule_id) if rule_id else rows)}


def _store(
    table: RuleTable,
    rule: Rule,
    at: datetime,
    changes: list[Noted],
    latest: dict[str, RuleVersion],
) -> str:
    """Store a rule and say whether it came new, changed or stayed the same.

    latest: the latest version of each rule, which this one joins.
    """
    last = latest.get(rule.id)
    digest = hashlib.sha256(rule.text.encode()).hexdigest()
    if last and last.table_id != table.pk and last.replaced_at is None:
        raise RuleIdTaken(
            f"rule {rule.id} of {table.name} stands already in {last.table.name}; rename one"
        )
    if last and last.content_hash == digest and last.replaced_at is None:
        return "same"
    if last and last.replaced_at is None:
        RuleVersion.objects.filter(pk=last.pk).update(replaced_at=at)
    latest[rule.id] = RuleVersion.objects.create(
        table=table,
        rule_id=rule.id,
        version=last.version + 1 if last else 1,
        content=rule.text,
        content_hash=digest,
        task=rule.task,
        level=rule.level,
        source=rule.source,
        loaded_at=at,
    )
    changes.append(_noted(table.name, last, rule))
    return "changed" if last else "new"


def adopt_for_all_days(site: Site, tables: Iterable[str], *, at: datetime) -> int:
    """Let a site follow exactly these tables on all days, and return how many rows changed.

    The table of rules made on screen is not among them: a site always follows its own.
    """
    published = RuleTable.objects.filter(name__in=tables, site=None)
    wanted = set(published.values_list("pk", flat=True))
    standing = site.adoptions.filter(ended_at=None, table__site=None)
    has = dict(standing.values_list("table_id", "pk"))
    ended = Adoption.objects.filter(pk__in=[pk for table, pk in has.items() if table not in wanted])
    fresh = [
        Adoption(site=site, table_id=table, entered_at=at) for table in sorted(wanted - has.keys())
    ]
    Adoption.objects.bulk_create(fresh)
    return ended.update(ended_at=at) + len(fresh)


class NotInForce(RuleClash):
    """A local rule that is to be changed or ended, and has been already."""


@transaction.atomic
def add_local_rule(
    site: Site, row: Mapping[str, Any], *, number: int, on: date, at: datetime
) -> str:
    """Add a rule to a site's own table, which the site then follows; return the rule's id.

    row: sound by `local_faults` with the id and the first day, `on`, that it gets here.
    number: makes the id unique. Due dates are not touched.
    """
    table, _ = RuleTable.objects.get_or_create(
        site=site,
        defaults={
            "name": _free_name(site),
            "title": f"Rules of {site.name}",
            "jurisdiction": "local",
            "caution": local.CAUTION,
        },
    )
    if not table.adoptions.filter(site=site, ended_at=None).exists():
        Adoption.objects.create(site=site, table=table, entered_at=at)
    whole = {**row, "id": local.rule_id(site.code, number), "valid_from": on}
    # What changes is in the trail with the proposal that asked for it.
    rule = rule_from_row(table.name, whole)
    _store(table, rule, at, [], _latest_versions(rule.id))
    return str(whole["id"])


@transaction.atomic
def end_local_rule(site: Site, rule_id: str, *, on: date, at: datetime) -> None:
    """Let a rule of a site's own table end on a day (exclusive); the days before keep it.

    Raises NotInForce where it is no such rule or has an end already.
    """
    last = RuleVersion.objects.filter(rule_id=rule_id, replaced_at=None, table__site=site).first()
    if last is None or last.rule.valid_until is not None:
        raise NotInForce(f"{rule_id} is not in force at {site} any more; look at the list again.")
    row = local.ended(json.loads(last.content, parse_float=Decimal), on)
    if row is None:
        RuleVersion.objects.filter(pk=last.pk).update(replaced_at=at)
    else:
        _store(last.table, rule_from_row(last.table.name, row), at, [], _latest_versions(rule_id))


def _free_name(site: Site) -> str:
    """Return the name of a site's own table, also where a renamed site left it taken."""
    name = local.table_name(site.code)
    taken = RuleTable.objects.filter(name=name).exists()
    return f"{name}-{site.pk}" if taken else name

"""Which rules an item falls under: the rows of the tables its site has adopted."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import date, datetime
from functools import lru_cache
from pathlib import Path
from typing import Any

from django.conf import settings
from django.contrib.auth.models import User
from django.db.models import Q

from registry.items.facts import CHOSEN
from registry.sites.models import Site
from registry.sites.queries import with_sites_above
from servicing.rules.models import (
    Adoption,
    Inclusion,
    RuleProposal,
    RuleTable,
    RuleVersion,
    rule_of,
)
from servicing.rules.pure.published import Published, read_published
from servicing.rules.pure.rule import Rule
from servicing.rules.pure.tasks import COMMON_TASKS

Days = tuple[date | None, date | None]


class NoSuchTable(LookupError):
    """A rule table that is not loaded; the text is its name."""


def current_versions(known_by: datetime | None = None) -> dict[str, RuleVersion]:
    """Return the version of every rule by the rule's id, as known at a moment or now."""
    rows = RuleVersion.objects.filter(_standing("loaded_at", "replaced_at", known_by))
    return {row.rule_id: row for row in rows.select_related("table")}


def rules_by_site(known_by: datetime | None = None) -> dict[int, tuple[Rule, ...]]:
    """Return the rules of every site, the tables of the sites above it included.

    Where a table is adopted for some days only, its rules are valid on those days only.
    known_by: the tree, the adoptions and the rules as known at that moment; None for now.
    """
    by_table: dict[int, list[Rule]] = defaultdict(list)
    versions = RuleVersion.objects.filter(_standing("loaded_at", "replaced_at", known_by))
    # Asked with every due date, so it reads two columns and makes no rows of all the rest.
    for table, name, content in versions.values_list("table_id", "table__name", "content"):
        by_table[table].append(rule_of(name, content))
    adopted: dict[int, dict[int, list[Days]]] = defaultdict(lambda: defaultdict(list))
    along = _taken_along(known_by)
    for row in Adoption.objects.filter(_standing("entered_at", "ended_at", known_by)):
        for table in (row.table_id, *along[row.table_id]):
            adopted[row.site_id][table].append((row.adopted_from, row.adopted_until))
    return {
        site: _rules_of(chain, adopted, by_table)
        for site, chain in with_sites_above(known_by).items()
    }


def rules_of_tables(names: Iterable[str], known_by: datetime | None = None) -> tuple[Rule, ...]:
    """Return the rules of some tables, whoever adopts them, in the order of their ids.

    With them those of the tables they include. Raises NoSuchTable.
    """
    wanted = set(names)
    known = dict(RuleTable.objects.values_list("name", "pk"))
    if missing := wanted - known.keys():
        raise NoSuchTable(min(missing))
    along = _taken_along(known_by)
    tables = {pk for name in wanted for pk in (known[name], *along[known[name]])}
    versions = sorted(current_versions(known_by).items())
    return tuple(row.rule for _, row in versions if row.table_id in tables)


def _taken_along(known_by: datetime | None) -> dict[int, list[int]]:
    """Return the ids of the tables that each table includes, by its own."""
    along: dict[int, list[int]] = defaultdict(list)
    rows = Inclusion.objects.filter(_standing("loaded_at", "replaced_at", known_by))
    for table, included in rows.values_list("table_id", "included_id"):
        along[table].append(included)
    return along


def inclusions_now() -> list[tuple[str, str]]:
    """Return (table, included table) by their names, of every inclusion that stands now."""
    rows = Inclusion.objects.filter(replaced_at=None)
    return list(rows.values_list("table__name", "included__name"))


def adopted_now() -> list[tuple[int, str]]:
    """Return (site id, table name) of every adoption that stands now."""
    rows = Adoption.objects.filter(ended_at=None).order_by("table__name")
    return list(rows.values_list("site_id", "table__name"))


def tables_adopted(site: Site, on: date) -> frozenset[str]:
    """Return the names of the tables that a site follows on a day, those above it included."""
    chain = with_sites_above().get(site.pk, (site.pk,))
    rows = Adoption.objects.filter(site__in=chain, ended_at=None)
    begun = rows.filter(Q(adopted_from=None) | Q(adopted_from__lte=on))
    still = begun.filter(Q(adopted_until=None) | Q(adopted_until__gt=on))
    return frozenset(still.values_list("table__name", flat=True))


def sites_as_told() -> dict[str, dict[str, Any]]:
    """Return every site by its code as the trail tells it, with the tables it adopts."""
    tables: dict[int, list[str]] = defaultdict(list)
    for site_id, name in adopted_now():
        tables[site_id].append(name)
    return {
        site.code: {
            "code": site.code,
            "name": site.name,
            "part of": site.parent.code if site.parent else "",
            "time zone": site.timezone,
            "bench reads in": site.units,
            "least ready sets": site.least_ready,
            "rule tables": tables[site.pk],
        }
        for site in Site.objects.select_related("parent")
    }


def local_versions() -> list[RuleVersion]:
    """Return the rules that managers made on screen, by site and id; ended ones too."""
    own = RuleVersion.objects.filter(replaced_at=None).exclude(table__site=None)
    return list(own.select_related("table__site").order_by("table__site__code", "rule_id"))


def published_tables() -> frozenset[str]:
    """Return the names of the tables that sites may adopt: those that came from files."""
    return frozenset(RuleTable.objects.filter(site=None).values_list("name", flat=True))


def published() -> list[Published]:
    """Return the published facts and traps that lie beside the tables, one for each file."""
    folder = settings.BASE_DIR / "fixtures" / "published"
    return [_published(path, path.stat().st_mtime_ns) for path in sorted(folder.glob("*.toml"))]


@lru_cache(maxsize=64)
def _published(path: Path, _changed_at: int) -> Published:
    return read_published(path.name, path.read_text("utf-8"))[0]


def _standing(start: str, end: str, known_by: datetime | None) -> Q:
    """Return the condition that a row stood at a moment, or stands now."""
    if known_by is None:
        return Q(**{end: None})
    return Q(**{f"{start}__lte": known_by}) & (Q(**{end: None}) | Q(**{f"{end}__gt": known_by}))


def _rules_of(
    chain: Iterable[int],
    adopted: Mapping[int, Mapping[int, list[Days]]],
    by_table: Mapping[int, list[Rule]],
) -> tuple[Rule, ...]:
    days: dict[int, list[Days]] = defaultdict(list)
    for site in chain:
        for table, spans in adopted.get(site, {}).items():
            days[table] += spans
    return tuple(
        within
        for table, spans in sorted(days.items())
        for rule in by_table.get(table, ())
        for within in _within(rule, _joined(spans))
    )


def _joined(spans: list[Days]) -> list[Days]:
    """Return spans of days without overlap or touch, in order."""
    joined: list[Days] = []
    for start, end in sorted(spans, key=lambda span: span[0] or date.min):
        if joined and (joined[-1][1] is None or (start or date.min) <= joined[-1][1]):
            before, until = joined[-1]
            joined[-1] = (before, None if until is None or end is None else max(until, end))
        else:
            joined.append((start, end))
    return joined


def _within(rule: Rule, spans: list[Days]) -> Iterable[Rule]:
    """Yield the rule, valid on the days on which its table is adopted."""
    for start, end in spans:
        if start is None and end is None:
            yield rule
            continue
        valid_from = max(rule.valid_from or date.min, start or date.min)
        valid_until = min(rule.valid_until or date.max, end or date.max)
        if valid_from < valid_until:
            yield replace(
                rule,
                valid_from=None if valid_from == date.min else valid_from,
                valid_until=None if valid_until == date.max else valid_until,
            )


def cautions_of(tables: Iterable[str]) -> tuple[str, ...]:
    """Return the cautions of rule tables by their names, each once."""
    rows = RuleTable.objects.filter(name__in=set(tables))
    return tuple(dict.fromkeys(rows.values_list("caution", flat=True)))


def jurisdictions_of(tables: Iterable[str]) -> dict[str, str]:
    """Return where rule tables hold, by their names."""
    rows = RuleTable.objects.filter(name__in=set(tables))
    return dict(rows.values_list("name", "jurisdiction"))


def known_tasks() -> frozenset[str]:
    """Return every task and event: those of the trade and those the loaded tables name."""
    named = set(COMMON_TASKS)
    for version in current_versions().values():
        rule = version.rule
        named |= {*rule.passes, *rule.after}
        named |= {rule.counts} if rule.counts else set()
    return frozenset(named)


def words_of_rules() -> dict[str, frozenset[str]]:
    """Return the words by which the rules go now, for each fact that is chosen from words."""
    rules = [version.rule for version in current_versions().values()]
    return {
        fact.name: frozenset(word for rule in rules for word in rule.words(fact.name))
        for fact in CHOSEN
    }


def asked_tasks() -> list[str]:
    """Return the tasks that some loaded rule asks for, in alphabetical order."""
    tasks = RuleVersion.objects.filter(replaced_at=None).order_by("task")
    return list(tasks.values_list("task", flat=True).distinct())


def proposals_to_decide(user: User) -> list[RuleProposal]:
    """Return what other managers asked for and this one may decide, the oldest first."""
    waiting = RuleProposal.objects.filter(outcome="").exclude(proposed_by=user)
    return list(waiting.select_related("site").order_by("pk"))

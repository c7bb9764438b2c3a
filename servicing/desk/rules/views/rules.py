"""Where the rules come from: every row of every table, and the published facts beside them."""

from collections.abc import Mapping
from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from registry.people.queries import PersonRequest
from registry.sites.models import Site
from servicing.desk.parts.views.pages import EVERYONE
from servicing.due.pure.explain import how_often
from servicing.due.pure.rule_words import barring, counting, described, meant
from servicing.rules.models import RuleProposal, RuleTable
from servicing.rules.pure.published import Fact, Published, proofs
from servicing.rules.queries import adopted_now, current_versions, inclusions_now, published


@EVERYONE
@require_safe
def rule_list(request: PersonRequest) -> HttpResponse:
    """Show every rule in force: value, clause, edition, how and when checked, how proved."""
    proved = proofs(fact for one in published() for fact in one.facts)
    by_table: dict[int, list[dict[str, Any]]] = {}
    for version in current_versions().values():
        rule = version.rule
        cases = proved.get(rule.id, 0)
        by_table.setdefault(version.table_id, []).append(
            {
                "version": version,
                "rule": rule,
                "asks": how_often(rule),
                "meant": meant(rule),
                "counting": counting(rule),
                "barring": barring(rule),
                "cases": cases,
            }
        )
    codes = dict(Site.objects.values_list("pk", "code"))
    followed: dict[str, list[str]] = {}
    for site_id, name in adopted_now():
        followed.setdefault(name, []).append(codes[site_id])
    context = {
        "tables": _tables(by_table, followed),
        "rows": sum(len(rows) for rows in by_table.values()),
        "waiting": RuleProposal.objects.filter(outcome="").count(),
    }
    return render(request, "desk/rules/rule_list.html", context)


def _tables(
    by_table: Mapping[int, list[dict[str, Any]]], followed: Mapping[str, list[str]]
) -> list[dict[str, Any]]:
    """Return each table with its own rows, how many of them rest on a text that was read, and
    which tables it takes along or is taken along by."""
    found = {table.name: table for table in RuleTable.objects.select_related("site")}
    pairs = inclusions_now()
    return [
        {
            "table": table,
            "rows": by_table.get(table.pk, []),
            "read": sum(row["rule"].seen == "text" for row in by_table.get(table.pk, [])),
            "followed": followed.get(name),
            "along": [found[other] for one, other in pairs if one == name],
            "taken_by": [found[one] for one, other in pairs if other == name],
        }
        for name, table in found.items()
    ]


@EVERYONE
@require_safe
def fact_list(request: PersonRequest) -> HttpResponse:
    """Show the published facts and traps, and how each is kept; the tests run the same rows.

    With a rule in the address, only the cases that prove it.
    """
    rule = request.GET.get("rule", "")[:80]
    files = [(one, _facts_of(one, rule)) for one in published()]
    context = {
        "rule": rule,
        "files": [
            {
                "name": one.name,
                "title": one.title,
                "facts": [
                    {"fact": fact, "item": described(fact.case.item) if fact.case else ""}
                    for fact in facts
                ],
            }
            for one, facts in files
            if facts
        ],
        "traps": [] if rule else [trap for one, _ in files for trap in one.traps],
        "number": sum(len(facts) for _, facts in files),
        "cases": sum(fact.case is not None for _, facts in files for fact in facts),
        "section": "rules",
    }
    return render(request, "desk/rules/fact_list.html", context)


def _facts_of(one: Published, rule: str) -> list[Fact]:
    """Return the facts of a file, or those of them that are cases of a rule."""
    if not rule:
        return list(one.facts)
    return [fact for fact in one.facts if fact.case is not None and fact.case.rule == rule]

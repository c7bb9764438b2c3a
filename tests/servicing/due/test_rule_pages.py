"""The pages that say where the rules come from: the same rows as the tables and the tests."""

from django.contrib.auth.models import User

from registry.items.models import Item
from servicing.rules.pure.published import proofs
from servicing.rules.queries import current_versions, published
from tests.people import signed_in


def test_every_rule_stands_with_its_clause_edition_and_day_of_check(
    mask: Item, auditor: User
) -> None:
    page = signed_in(auditor).get("/rules/")
    rows = {row["rule"].id: row for group in page.context["tables"] for row in group["rows"]}
    assert rows.keys() == current_versions().keys()
    text = page.content.decode()
    assert all(row["rule"].edition and row["rule"].checked_on for row in rows.values())
    assert "day not said" not in text
    assert text.count("25 Nov 2026") >= len(rows)
    assert "annual edition of 2015; amended since (85 FR 85380), paragraphs re-lettered" in text


def test_it_says_how_many_published_cases_prove_a_rule(mask: Item, auditor: User) -> None:
    page = signed_in(auditor).get("/rules/")
    proved = proofs(fact for one in published() for fact in one.facts)
    for group in page.context["tables"]:
        for row in group["rows"]:
            assert row["cases"] == proved.get(row["rule"].id, 0)
    assert proved["us-cyl-3al"] > 5


def test_every_published_fact_and_trap_is_on_its_page(mask: Item, auditor: User) -> None:
    text = signed_in(auditor).get("/rules/published/").content.decode()
    facts = [fact for one in published() for fact in one.facts]
    assert len(facts) > 350
    assert all(f'id="{fact.id}"' in text for fact in facts)
    assert all(f">{trap.id}</td>" in text for one in published() for trap in one.traps)

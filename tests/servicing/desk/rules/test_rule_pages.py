"""The pages that say where the rules come from: the same rows as the tables and the tests."""

from collections import Counter

from django.contrib.auth.models import User

from registry.items.models import Item
from servicing.due.pure.rule_words import counting, described, meant
from servicing.rules.pure.published import proofs
from servicing.rules.pure.rule import Attributes, Rule
from servicing.rules.queries import current_versions, published
from tests.people import signed_in
from tests.published.cases import rules_of


def test_every_rule_stands_with_its_clause_edition_and_day_of_check(
    mask: Item, auditor: User
) -> None:
    page = signed_in(auditor).get("/rules/")
    rows = {row["rule"].id: row for group in page.context["tables"] for row in group["rows"]}
    assert rows.keys() == current_versions().keys()
    text = page.content.decode()
    assert all(row["rule"].edition and row["rule"].checked_on for row in rows.values())
    assert "day not said" not in text
    days = Counter(f"{row['rule'].checked_on:%-d %b %Y}" for row in rows.values())
    assert all(text.count(day) >= number for day, number in days.items())
    assert "Annual edition of 2015; amended since (85 FR 85380), paragraphs re-lettered" in text


def test_a_table_says_how_many_of_its_own_rows_rest_on_a_text_and_what_it_takes_along(
    mask: Item, auditor: User
) -> None:
    page = signed_in(auditor).get("/rules/")
    text = page.content.decode()
    groups = {group["table"].name: group for group in page.context["tables"]}
    for group in groups.values():
        seen = [row["rule"].seen for row in group["rows"]]
        assert group["read"] == seen.count("text")
        assert {row["rule"].table for row in group["rows"]} == {group["table"].name}
    assert page.context["rows"] == sum(len(group["rows"]) for group in groups.values())
    own = "{} of its {} own rows rest on a text that was read. "
    spain, stamped = groups["spain"], groups["us-own-cylinders"]
    assert own.format(spain["read"], len(spain["rows"])) + "It takes along" in text
    assert [table.name for table in groups["spain"]["along"]] == [
        *("cylinders-anywhere", "us-own-cylinders")
    ]
    assert own.format(stamped["read"], len(stamped["rows"])) + "Taken along by" in text
    assert "spain" in [table.name for table in groups["us-own-cylinders"]["taken_by"]]


def test_it_says_how_many_published_cases_prove_a_rule(mask: Item, auditor: User) -> None:
    page = signed_in(auditor).get("/rules/")
    proved = proofs(fact for one in published() for fact in one.facts)
    for group in page.context["tables"]:
        for row in group["rows"]:
            assert row["cases"] == proved.get(row["rule"].id, 0)
    assert proved["us-cyl-3al"] > 5


def test_the_number_of_cases_of_a_rule_opens_just_those(mask: Item, auditor: User) -> None:
    desk = signed_in(auditor)
    proved = proofs(fact for one in published() for fact in one.facts)
    said = desk.get("/rules/").content.decode()
    for rule_id in ("us-cyl-3al", min(proved, key=proved.__getitem__)):
        number = proved[rule_id]
        assert f'?rule={rule_id}">{number} case' in said
        page = desk.get("/rules/published/", {"rule": rule_id}).content.decode()
        assert f"{number} published case{'s' * (number != 1)} of the rule {rule_id}</h1>" in page
        assert page.count('<tr role="row" id="') == number
    assert "0 published cases of the rule no-such" in (
        desk.get("/rules/published/", {"rule": "no-such"}).content.decode()
    )


def test_every_published_fact_and_trap_is_on_its_page(mask: Item, auditor: User) -> None:
    text = signed_in(auditor).get("/rules/published/").content.decode()
    facts = [fact for one in published() for fact in one.facts]
    assert len(facts) > 350
    assert all(f'id="{fact.id}"' in text for fact in facts)
    assert all(f">{trap.id}</th>" in text for one in published() for trap in one.traps)


def rule(table: str, rule_id: str) -> Rule:
    return next(each for each in rules_of(table) if each.id == rule_id)


def test_the_page_says_which_items_a_row_means_and_from_what_it_counts(
    mask: Item, auditor: User
) -> None:
    page = signed_in(auditor).get("/rules/")
    text = page.content.decode()
    for group in page.context["tables"]:
        for row in group["rows"]:
            assert row["meant"] == meant(row["rule"])
    assert "Mask; but not marks airtight-packed or on-vehicle" in text
    assert "First from the day it was put in service, then from the last pass; due soon" in text


def test_a_row_is_said_whole() -> None:
    """The words are read beside fixtures/rules/, row by row."""
    hoop = rule("us-cylinders", "us-cyl-permit-hoop")
    assert meant(hoop) == ("cylinder; specification DOT-CFFC, DOT-E or DOT-SP; construction type-2")
    assert counting(hoop) == (
        "first from the made date, then from the last pass; good through the end of the month; "
        "due soon 3 months before"
    )
    large = rule("us-cylinders", "us-cyl-3a-3aa-star-large")
    assert meant(large).endswith("marks star; water capacity (L) at least 56")
    inside = rule("united-kingdom", "uk-cyl-inside")
    assert meant(inside) == (
        "cylinder; construction not entered or type-1; but not marks internal-30-months"
    )
    outside = rule("sea", "sea-cyl-outside")
    assert "a passed hydrostatic retest counts too" in counting(outside)
    assert counting(rule("germany", "de-cyl-strength")) == (
        "first from the made date, then from the last pass; good through the end of the month "
        "(section 14(5), sentence 1); a pass after the due date counts from that date "
        "(section 14(5), sentences 2 and 5); what was withdrawn or quarantined on the due date and "
        "not returned before the pass counts from the pass; a pass up to 2 months early keeps the "
        "due date (section 14(5), sentences 3 and 4); due soon 3 months before"
    )
    assert counting(rule("us-cylinders", "us-cyl-when-struck")) == ""
    star: Attributes = {
        "kind": "cylinder",
        "specification": "DOT-3AA",
        "marks": frozenset({"star"}),
    }
    assert described(star) == "cylinder, marks star, specification DOT-3AA"

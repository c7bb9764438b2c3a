"""Tables that take the rows of another along: where they hold, and since when."""

import json
from datetime import date

import pytest
import time_machine

from registry.items.models import Item
from registry.sites.clock import now
from registry.sites.models import Site
from registry.trail.models import TrailEntry
from servicing.due.actions.register import load_rules, save_site
from servicing.due.actions.store import recompute
from servicing.due.models import StoredObligation
from servicing.due.queries.engine import explained
from servicing.rules.actions import Loaded, RuleClash
from servicing.rules.models import Adoption, Inclusion, RuleTable, RuleVersion
from servicing.rules.pure.rule import Table
from servicing.rules.pure.tables import read_table
from servicing.rules.queries import rules_by_site, rules_of_tables
from tests.people import make_item
from tests.servicing.rules.test_load_rules import AT, FLOW, LEAK, text_of

pytestmark = pytest.mark.django_db
OWN, OTHER = "masks", "their-own"


def tables(*includes: str) -> list[Table]:
    """Return the table of masks, which takes along what is named, and one beside it."""
    words = ", ".join(f'"{name}"' for name in includes)
    head = f"includes = [{words}]\n" if includes else ""
    texts = (head + text_of(LEAK, name=OWN), text_of(FLOW, name=OTHER))
    read = [read_table("a.toml", text) for text in texts]
    assert not [problem for _, problems in read for problem in problems]
    return [table for table, _ in read]


def site(code: str, *adopted: str, parent: Site | None = None) -> Site:
    made = Site(code=code, name=code, timezone="Europe/Vienna", parent=parent)
    save_site(made, tables=adopted)
    return made


def ids(where: Site) -> list[str]:
    return sorted(rule.id for rule in rules_by_site()[where.pk])


def due(item: Item) -> dict[str, date | None]:
    return dict(StoredObligation.objects.filter(item=item).values_list("task", "due_on"))


def test_who_follows_a_table_follows_what_it_takes_along_and_each_row_once() -> None:
    assert load_rules(tables(OTHER))[0] == Loaded(new=2, included=1)
    top, both, none = site("TOP", OWN), site("BOTH", OWN, OTHER), site("NONE")
    below = site("LOW", parent=top)
    assert ids(top) == ids(both) == ids(below) == ["flow", "leak"]
    assert ids(none) == []
    assert [rule.table for rule in rules_by_site()[top.pk]] == [OWN, OTHER]
    assert {rule.id for rule in rules_of_tables([OWN])} == {"leak", "flow"}
    assert {rule.id for rule in rules_of_tables([OTHER])} == {"flow"}
    assert load_rules(tables(OTHER)) == (Loaded(same=2), 0)


def test_it_is_taken_along_on_the_days_on_which_its_table_is_followed() -> None:
    load_rules(tables(OTHER))
    where = site("ST1")
    Adoption.objects.create(
        site=where,
        table=RuleTable.objects.get(name=OWN),
        adopted_from=date(2024, 1, 1),
        adopted_until=date(2025, 1, 1),
        entered_at=AT,
    )
    days = {(rule.id, rule.valid_from, rule.valid_until) for rule in rules_by_site()[where.pk]}
    assert days == {(one, date(2024, 1, 1), date(2025, 1, 1)) for one in ("flow", "leak")}


def test_dates_come_and_go_with_it_and_answers_as_known_before_stay() -> None:
    with time_machine.travel("2026-11-01T08:00Z", tick=False):
        load_rules(tables())
        mask = make_item(site("ST1", OWN), "00123", made_on=date(2020, 3, 10))
        assert due(mask) == {"tightness-test": date(2021, 3, 10)}
        before = now()
    with time_machine.travel("2026-11-02T08:00Z", tick=False):
        assert load_rules(tables(OTHER)) == (Loaded(same=2, included=1), 1)
        assert due(mask)["flow-test"] == date(2022, 3, 10)
        between = now()
    with time_machine.travel("2026-11-03T08:00Z", tick=False):
        assert load_rules(tables()) == (Loaded(same=2, included=1), 1)
        assert due(mask) == {"tightness-test": date(2021, 3, 10)}
    assert recompute() == 0
    on = date(2026, 11, 1)
    asked = [
        {one.obligation.task for one in explained(mask, on, at)[1]}
        for at in (before, between, None)
    ]
    assert asked == [{"tightness-test"}, {"tightness-test", "flow-test"}, {"tightness-test"}]
    noted = TrailEntry.objects.filter(what="rule table").exclude(before="")
    assert [json.loads(entry.after) for entry in noted] == [{"includes": [OTHER]}, {"includes": []}]


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("nowhere", "third includes nowhere, which is not loaded; load its file too"),
        (OWN, "third includes masks, which includes their-own; name both in third"),
    ],
)
def test_what_is_not_there_or_includes_others_is_refused_whole(name: str, words: str) -> None:
    text = text_of(("c", "cleaning", "P1M"), name="third")
    third = read_table("c.toml", f'includes = ["{name}"]\n' + text)[0]
    with pytest.raises(RuleClash, match=words):
        load_rules([*tables(OTHER), third])
    assert not RuleTable.objects.exists()
    assert not RuleVersion.objects.exists()
    assert not Inclusion.objects.exists()

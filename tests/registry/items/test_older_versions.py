"""A register made by an earlier release answers as-known questions after a fact was added.

Such a release wrote versions without the key of the new fact. Here each fact in turn is the new
one, and last all of them but those of the very first list.
"""

from datetime import date, datetime, timedelta
from decimal import Decimal

import pytest

from registry.items.facts import ATTRIBUTES, FACTS
from registry.items.models import Item, ItemVersion
from registry.items.queries import as_known, versions_of
from registry.sites.clock import now
from registry.sites.models import Site
from servicing.due.queries.engine import attribute_rows, explained
from servicing.papers.pure import described_anew
from tests.people import STEEL, make_item

WHOLE: dict[str, object] = {
    **STEEL,
    "made_on": date(2019, 5, 1),
    "made_to_month": True,
    "in_service_on": date(2019, 6, 1),
    "connection": "G5/8-300",
    "size": "6",
    "fibre": "",
    "marks": ["internal-30-months"],
    "tare_kg": Decimal("7.2"),
    "ree_ml": Decimal("88.5"),
    "design_life_years": 30,
}
NEW = [name for name in ATTRIBUTES if name != "serial"]


@pytest.fixture
def cylinder(station: Site) -> Item:
    return make_item(station, "C1", "cylinder", **WHOLE)


def written_by_an_earlier_release(item: Item, lacking: list[str]) -> datetime:
    """Keep a version without some keys, from this moment on, and return a moment after it."""
    at = now()
    known = {name: value for name, value in item.known().items() if name not in lacking}
    ItemVersion.objects.create(item=item, known_from=at, known=known)
    return at + timedelta(microseconds=1)


@pytest.mark.parametrize("lacking", [[name] for name in NEW] + [NEW], ids=str)
def test_a_fact_that_was_added_since_was_not_known_then(cylinder: Item, lacking: list[str]) -> None:
    moment = written_by_an_earlier_release(cylinder, lacking)
    (then,) = as_known([cylinder], moment)
    blank = Item()
    for name in ATTRIBUTES:
        held = getattr(blank if name in lacking else cylinder, name)
        assert getattr(then, name) == held, name
    labels = {FACTS[name].label for name in lacking if name in FACTS}
    assert not labels - {"Design life"} & {label for label, _ in attribute_rows(then)}


def test_what_hung_on_it_is_undetermined_and_not_an_error(cylinder: Item) -> None:
    moment = written_by_an_earlier_release(cylinder, ["made_on", "in_service_on"])
    _, tasks = explained(cylinder, date(2026, 11, 1), moment)
    assert {task.obligation.due_on for task in tasks if not task.dropped} == {None}


@pytest.mark.parametrize("name", NEW)
def test_a_paper_is_not_superseded_because_a_fact_is_new(station: Site, name: str) -> None:
    blank = make_item(station, "B1", "cylinder")
    written_by_an_earlier_release(blank, [name])
    _, then = versions_of([blank.pk])[blank.pk][-1]
    assert described_anew(then, blank.known()) == []

"""A life that is not limited is a value somebody read, and not a field left empty."""

from datetime import date

import pytest

from registry.sites.models import Site
from servicing.due.queries.engine import attribute_rows
from tests.people import make_item

LOOK = "not entered, taken as not limited: look for a final date on it"


@pytest.mark.parametrize(
    ("known", "shown"),
    [
        ({"construction": "type-3"}, LOOK),
        ({"construction": "type-4"}, LOOK),
        ({}, LOOK),
        ({"construction": "type-4", "marks": ["nll"]}, "not limited, by its mark"),
        ({"construction": "type-4", "design_life_years": 15}, "15 years"),
        ({"construction": "type-1"}, None),
    ],
)
def test_a_cylinder_says_whether_its_life_was_looked_for(
    station: Site, known: dict[str, object], shown: str | None
) -> None:
    cylinder = make_item(station, "C1", kind="cylinder", made_on=date(2019, 1, 1), **known)
    assert dict(attribute_rows(cylinder)).get("Design life") in (shown,)


def test_a_final_date_that_is_stamped_on_it_is_not_asked_for(station: Site) -> None:
    for marks, also in (([], ""), (["nll"], ", though its mark says not limited")):
        known = {"construction": "type-4", "marks": marks}
        cylinder = make_item(station, f"C{len(marks)}", kind="cylinder", **known)
        shown = dict(attribute_rows(cylinder, end_stamped=True))["Design life"]
        assert shown == f"not entered: the final date stamped on it counts{also}"


def test_a_word_that_an_earlier_release_took_says_that_no_rule_goes_by_it(station: Site) -> None:
    cylinder = make_item(station, "C1", kind="cylinder", specification="dot-3ht", marks=["plus"])
    shown = dict(attribute_rows(cylinder))
    assert shown["Specification"] == (
        "dot-3ht: no rule goes by it, for it has spaces or small letters; "
        "write it with hyphens, DOT-3HT"
    )
    assert shown["Marks"] == "plus"


def test_a_mask_has_no_such_line(station: Site) -> None:
    assert "Design life" not in dict(attribute_rows(make_item(station, "M1")))

"""What an empty register says: never that all is well. D32."""

import re
from datetime import date

import pytest
from django.contrib.auth.models import User

from registry.items.models import Item
from registry.people.actions import add_person
from registry.people.pure import Role
from registry.sites.models import Site
from servicing.due.queries.start import lacking
from tests.people import PASSWORD, make_item, signed_in

NO_ITEM = "No item is registered yet. Register one, or run manage.py import_register."


@pytest.mark.django_db
def test_a_register_without_rules_and_items_says_what_to_do() -> None:
    assert lacking(None) == ["No rule table is loaded. Run manage.py load_rules.", NO_ITEM]


def test_tables_that_no_site_follows_are_not_enough(rules: None) -> None:
    followed = "No site follows a rule table yet. A manager chooses them under Sites."
    assert lacking(None) == [followed, NO_ITEM]


def test_the_first_page_of_an_empty_register_does_not_say_nothing_to_do(rules: None) -> None:
    place = Site.objects.create(code="BARE", name="Bare site", timezone="UTC")
    for role, first_line in (
        (Role.TECHNICIAN, "Not known what there is to do at Bare site"),
        (Role.MANAGER, "0 overdue, 0 undetermined, 0 due soon"),
    ):
        person = add_person(
            username=f"{role}-of-bare",
            full_name="Bo Merrow",
            role=role,
            site=place,
            password=PASSWORD,
        )
        page = signed_in(person).get("/").content.decode()
        assert first_line in re.sub("<[^>]+>", "", page)
        assert NO_ITEM in page
    assert "none: nothing is asked here" in signed_in(person).get("/sites/").content.decode()


def test_an_item_that_no_rule_asks_anything_of_is_named(
    manager: User, technician: User, station: Site, mask: Item
) -> None:
    assert lacking(None) == []
    place = Site.objects.create(code="BARE", name="Bare site", timezone="UTC")
    make_item(place, "00777", made_on=date(2020, 3, 10))
    said = "No rule asks anything of 00777: not known to be ready."
    assert lacking(place)[0].startswith(said)
    assert lacking(station) == []
    assert said in signed_in(manager).get("/").content.decode()
    assert said not in signed_in(technician).get("/").content.decode()

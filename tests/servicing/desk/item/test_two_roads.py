"""A list and the form give one answer: what is refused, in which words, and what a cell becomes."""

import csv
import io
from datetime import date
from html.parser import HTMLParser
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.db.models import Model
from django.http import QueryDict

from registry.items.facts import FACTS
from registry.items.models import Item, ItemType, ItemVersion
from registry.items.pure import Kind
from registry.lists.pure.register import HEADER, read_register
from registry.sites.clock import today_at
from registry.sites.models import Site
from registry.trail.models import TrailEntry
from servicing.desk.item.forms.items import ItemForm
from servicing.desk.parts.forms.facts import refusal
from servicing.due.actions.register import import_register, save_site
from servicing.due.models import StoredObligation
from tests.people import signed_in
from tests.registry.items.cells import ACCEPTED, CYLINDER, REFUSED
from tests.servicing.demo.fleet import DAYS, fleet
from tests.worlds import world_fixture


def as_list(rows: list[dict[str, str]]) -> bytes:
    text = io.StringIO(newline="")
    writer = csv.DictWriter(text, HEADER)
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue().encode()


EMPTY = "it is empty"
"""What a refusal of an empty cell is for both roads; each says what to do in its own words."""
Answer = tuple[dict[str, Any], dict[str, list[str]]]
"""What the cells become, and the refusals by column, as the form would say them."""


def by_list(station: Site, cells: dict[str, str]) -> Answer:
    row = {**CYLINDER, "site": station.code, **cells}
    sites = {station.code: today_at(station)}
    items, problems = read_register("a.csv", as_list([row]), sites=sites, registered={})
    said: dict[str, list[str]] = {}
    for problem in problems:
        text = row[problem.column].strip()
        words = refusal(FACTS[problem.column], text, problem.remedy) if text else EMPTY
        said.setdefault(problem.column, []).append(words)
    return (items[0].known if items else {}), said


def by_form(station: Site, cells: dict[str, str]) -> Answer:
    row = {**CYLINDER, "site": str(station.pk), **cells}
    sent = QueryDict(mutable=True)
    sent.update(row)
    form = ItemForm(sent, item=Item(), words={})
    if form.is_valid():
        names = {name: form.cleaned_data[name] for name in ("tag", "kind", "maker", "model")}
        return {**names, **form.attributes()}, {}
    return {}, {
        name: sorted(map(str, errors)) if row[name] else [EMPTY]
        for name, errors in form.errors.items()
    }


@pytest.mark.parametrize("cells", REFUSED, ids=lambda cells: str(cells)[:60])
def test_what_a_list_refuses_the_form_refuses_in_the_same_words(
    station: Site, cells: dict[str, str]
) -> None:
    _, by_cell = by_list(station, cells)
    assert by_cell
    assert by_form(station, cells)[1] == {name: sorted(said) for name, said in by_cell.items()}


@pytest.mark.parametrize("cells", ACCEPTED, ids=lambda cells: str(cells)[:60])
def test_what_a_list_takes_the_form_takes_as_the_same(station: Site, cells: dict[str, str]) -> None:
    known, refusals = by_list(station, cells)
    assert refusals == {}
    assert by_form(station, cells) == ({**known, "marks": list(known["marks"])}, {})


# ── Saving ──────────────────────────────────────────────────────────────────────────────────────


class Sent(HTMLParser):
    """What a browser would send of the last form of a page, nothing having been touched."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.fields: dict[str, list[str]] = {}
        self._select = self._area = ""
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        said = {name: value or "" for name, value in attrs}
        name, kind = said.get("name", ""), said.get("type", "text")
        if tag == "form":
            self.fields = {}
        elif tag == "select":
            self._select = name
        elif tag == "option" and "selected" in said:
            self.fields.setdefault(self._select, []).append(said["value"])
        elif tag == "textarea":
            self.fields.setdefault(name, []).append("")
        elif tag == "input" and name and (kind != "checkbox" or "checked" in said):
            self.fields.setdefault(name, []).append(said.get("value", ""))


def one_of_each(on: date, site: str) -> list[dict[str, str]]:
    """Return rows of the invented fleet that differ in kind, marks or in what is known at all."""
    found: dict[object, dict[str, str]] = {}
    for row in fleet(on).register:
        known = tuple(len(text) if name == "made_on" else bool(text) for name, text in row.items())
        found.setdefault((row["kind"], row["marks"], known), row)
    return [{**row, "site": site} for row in found.values()]


@world_fixture
def one_each(station: Site) -> None:
    """One item of each kind, type and way of being known of the invented fleet; one that is odd."""
    odd = {**CYLINDER, "site": station.code, "marks": "star;brigade-spare;plus"}
    odd |= {"specification": "DOT-39", "connection": "M18x1.5", "made_on": "2019-05"}
    content = as_list([*one_of_each(DAYS[0], station.code), odd])
    sites = {station.code: today_at(station)}
    rows, problems = read_register("r.csv", content, sites=sites, registered={})
    assert problems == []
    import_register(rows)


def everything() -> list[object]:
    """Return all that saving could change, dates included."""
    tables: tuple[type[Model], ...] = (Item, ItemVersion, ItemType, TrailEntry, StoredObligation)
    return [list(model._default_manager.order_by("pk").values()) for model in tables]


def test_saving_an_item_unchanged_changes_nothing(one_each: None, technician: User) -> None:
    client = signed_in(technician)
    items = list(Item.objects.select_related("type"))
    assert {item.type.kind for item in items} == {*Kind}
    before = everything()
    for item in items:
        address = f"/items/{item.pk}/edit/"
        answer = client.post(address, Sent(client.get(address).content.decode()).fields)
        assert (answer.status_code, answer.get("Location")) == (302, f"/items/{item.pk}/"), item.tag
    assert everything() == before


def test_a_word_that_is_none_of_the_known_asks_why_and_the_trail_keeps_it(
    station: Site, technician: User
) -> None:
    client = signed_in(technician)
    sent = {**CYLINDER, "site": str(station.pk), "specification": "", "marks": "plus"}
    odd = {"specification_other": "DOT-3HX", "marks_other": "brigade-spare"}
    answer = client.post("/items/add/", {**sent, **odd})
    page = answer.content.decode()
    assert (answer.status_code, Item.objects.count()) == (422, 0)
    assert "Why: specification DOT-3HX is none of those to choose from (perhaps DOT-3" in page
    assert 'name="specification_other" value="DOT-3HX"' in page
    assert "<h1>Register an item</h1>" in page
    answer = client.post("/items/add/", {**sent, **odd, "why": "so on the shoulder, photographed"})
    assert answer.status_code == 302
    item = Item.objects.get()
    assert (item.specification, item.marks) == ("DOT-3HX", ["plus", "brigade-spare"])
    entry = TrailEntry.objects.get(what="item", subject=item.tag)
    assert entry.why == "so on the shoulder, photographed"
    # What it bears already is not asked about again.
    answer = client.post(f"/items/{item.pk}/edit/", {**sent, **odd, "size": "L"})
    assert answer.status_code == 302


def test_a_choice_and_another_word_beside_it_are_refused(station: Site, technician: User) -> None:
    sent = {**CYLINDER, "site": str(station.pk), "specification_other": "DOT-3HT"}
    answer = signed_in(technician).post("/items/add/", sent)
    assert answer.status_code == 422
    assert "UN-ISO-11119-2 and DOT-3HT can&#x27;t both be" in answer.content.decode()


def test_3ht_by_the_form_is_due_and_ends_as_by_a_list(station: Site, technician: User) -> None:
    """49 CFR 180.209(a), Table 1 and (m) of 180.205: three years, and 24 years of life."""
    site = Site.objects.get(code="VAL")
    save_site(site, tables=["us-cylinders"])
    sent = {**CYLINDER, "site": str(station.pk), "construction": "type-1", "fibre": ""}
    sent |= {"specification": "DOT-3HT", "made_on": "2019-05", "marks": "", "design_life_years": ""}
    signed_in(technician).post("/items/add/", sent)
    due = dict(StoredObligation.objects.values_list("task", "due_on"))
    assert due["hydrostatic-retest"] == date(2022, 5, 31)
    assert due["service-life"] == date(2043, 5, 1)

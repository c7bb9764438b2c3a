"""The list of obligations: its filters, its order, its pages. D31, D32, B23."""

import html
import re
from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import Client

from registry.sites.clock import today_at
from registry.sites.models import Site
from servicing.desk.parts import tables
from servicing.desk.parts.tables import PAGE, paging
from servicing.due.queries.rows import DueQuestion, due_rows
from tests.people import signed_in
from tests.servicing.desk.work.listed import (
    all_shown,
    count_text,
    keys,
    questions,
    shown,
)


def test_the_list_of_today_is_what_the_engine_answers_today(fleet: Site, manager: User) -> None:
    assert all_shown(signed_in(manager))[0] == keys(due_rows(DueQuestion()))


@pytest.mark.parametrize("days", [-900, -30, 0, 45, 2000])
def test_the_list_of_another_day_is_what_the_engine_answers_for_it(
    fleet: Site, manager: User, days: int
) -> None:
    on = today_at(fleet) + timedelta(days=days)
    client = signed_in(manager)
    assert all_shown(client, f"on={on}")[0] == keys(due_rows(DueQuestion(on=on)))
    assert "computed afresh" in client.get(f"/due/?on={on}&kind=mask").content.decode()


@pytest.mark.parametrize("as_of", [False, True], ids=["today", "as-of"])
def test_each_filter_shows_what_was_asked_for_and_counts_it(
    fleet: Site, manager: User, as_of: bool
) -> None:
    client, on = signed_in(manager), f"&on={today_at(fleet)}" if as_of else ""
    for query, question in questions(fleet).items():
        expected = keys(due_rows(question))
        many = f"{len(expected)} obligation{'s' * (len(expected) != 1)}"
        assert all_shown(client, query + on) == (expected, many), query


def test_a_list_without_a_row_says_so(fleet: Site, manager: User) -> None:
    page = signed_in(manager).get("/due/?kind=compressor").content.decode()
    assert "Nothing falls under this sentence." in page


def test_a_filter_that_cannot_be_read_is_refused_in_words(fleet: Site, manager: User) -> None:
    answer = signed_in(manager).get("/due/?since=2026-02-30&state=overdue")
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "Due from: write a day that exists, such as 2026-03-25." in page
    assert 'value="2026-02-30"' in page


@pytest.mark.parametrize("as_of", [False, True], ids=["today", "as-of"])
def test_each_column_of_the_list_sorts_both_ways(fleet: Site, manager: User, as_of: bool) -> None:
    client, rows = signed_in(manager), due_rows(DueQuestion())
    on = f"&on={today_at(fleet)}" if as_of else ""
    for column in ("due_on", "tag", "kind", "task", "site", "basis_on"):
        values = [getattr(row, column) for row in rows]
        known = [value for value in values if value is not None]
        for sign, extreme in (("", min(known)), ("-", max(known))):
            answer = client.get(f"/due/?sort={sign}{column}{on}")
            assert answer.status_code == 200
            first = next(iter(answer.context["table"].paginated_rows)).record
            value = getattr(first, column)
            assert value == extreme or (value is None and len(known) < len(values)), column
        if column == "due_on":
            assert value == extreme  # the latest first, and those without a date at the end


def test_the_undetermined_come_first_whatever_the_engine(fleet: Site, manager: User) -> None:
    first = shown(signed_in(manager).get("/due/?sort=due_on"))[0]
    assert first[2] is None


def test_the_list_is_cut_into_pages_that_keep_the_question(fleet: Site, manager: User) -> None:
    client = signed_in(manager)
    first = client.get("/due/?site=VAL&sort=-due_on")
    pages = first.context["table"].paginator.num_pages
    page = first.content.decode()
    assert len(shown(first)) == PAGE
    assert pages > 2
    assert f"page 1 of {pages}" in page
    assert 'rel="next" href="?site=VAL&amp;sort=-due_on&amp;page=2"' in page
    assert 'rel="prev"' not in page
    last = client.get(f"/due/?site=VAL&sort=-due_on&page={pages}").content.decode()
    assert 'rel="next"' not in last
    assert f'rel="prev" href="?site=VAL&amp;sort=-due_on&amp;page={pages - 1}"' in last
    beyond = client.get(f"/due/?site=VAL&sort=-due_on&page={pages + 9}")
    assert beyond.context["table"].page.number == pages


@pytest.mark.parametrize("sort", ["", "due_on", "-due_on", "site", "-tag", "kind", "-basis_on"])
def test_a_long_list_is_walked_by_keys_both_ways_and_leaves_nothing_out(
    fleet: Site, manager: User, sort: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    client, query = signed_in(manager), f"sort={sort}" if sort else "site=VAL"
    table = client.get(f"/due/?{query}").context["table"]
    whole = [row.record.pk for row in table.rows]
    monkeypatch.setattr(paging, "MOST", 60)
    monkeypatch.setattr(tables, "PAGE", 20)
    first = client.get(f"/due/?{query}")
    assert count_text(first) == "more than 60 obligations"
    assert "More than 60 obligations under this sentence" in first.content.decode()
    for answer, rel in ((first, "next"), (client.get(f"/due/?{query}&page=last"), "prev")):
        pages = list(walked(client, answer, rel))
        pages = pages if rel == "next" else pages[::-1]
        assert sorted(pk for page in pages for pk in page) == sorted(whole)
        keys = [key for page in pages for key in page]
        assert sort or keys == whole
    assert count_text(client.get(f"/due/?{query}&count=all")) == f"{len(whole)} obligations"
    for wrong in ("after=x", "before=[1]", "after=[]", "page=999999"):
        assert client.get(f"/due/?{query}&{wrong}").status_code == 200


def walked(client: Client, answer: Any, rel: str) -> Iterator[list[int]]:
    """Yield the rows of each page, going on by the link of a list."""
    while True:
        yield [row.record.pk for row in answer.context["table"].paginated_rows]
        link = re.search(rf'rel="{rel}" href="([^"]*)"', answer.content.decode())
        if link is None:
            return
        answer = client.get(f"/due/{html.unescape(link[1])}")


def test_a_page_is_never_longer_than_somebody_can_read(fleet: Site, manager: User) -> None:
    for many in ("1000000000", "0", "-5", "all"):
        answer = signed_in(manager).get(f"/due/?per_page={many}")
        assert (answer.status_code, len(shown(answer))) == (200, PAGE)


def test_sorting_again_turns_the_order_and_begins_at_the_first_page(
    fleet: Site, manager: User
) -> None:
    page = signed_in(manager).get("/due/?kind=mask&sort=tag&page=2").content.decode()
    assert 'href="?kind=mask&amp;sort=-tag"' in page
    assert 'aria-sort="ascending"' in page

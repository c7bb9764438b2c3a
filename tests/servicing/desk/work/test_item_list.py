"""The list of items: its filters, its order, of a day and a moment. D31, D32."""

import re
from collections.abc import Callable
from datetime import timedelta
from operator import attrgetter
from time import sleep
from typing import Any
from urllib.parse import urlencode

import pytest
from django.contrib.auth.models import User
from django.db.models import Q
from django.utils.html import escape

from registry.items.models import Item
from registry.sites.clock import now, today_at
from registry.sites.models import Site
from registry.sites.queries import with_sites_below
from servicing.desk.parts import tables
from servicing.due.actions.services import Service, log_service
from servicing.due.queries.rows import DueQuestion, due_rows
from tests.people import signed_in
from tests.servicing.desk.work.listed import Key, count_text, items_shown
from tests.servicing.due.test_known_by import changed


def test_the_list_of_items_filters_by_kind_site_standing_and_text(
    fleet: Site, manager: User, technician: User
) -> None:
    failed = Item.objects.get(tag="N-005")
    log_service(
        item=failed,
        service=Service("tightness-test", today_at(fleet), "fail", "Tekla"),
        user=technician,
        entry_key="k",
    )
    client = signed_in(manager)
    items = Item.objects.order_by("tag")
    below = with_sites_below(fleet)
    expected = {
        "": items,
        "kind=mask": items.filter(type__kind="mask"),
        "site=ST1": items.filter(site__in=below),
        "site=VAL": items,
        "standing=out-of-service": items.filter(pk=failed.pk),
        "standing=in-service": items.exclude(pk=failed.pk),
        "standing=condemned": items.none(),
        "text=s00": items.filter(serial__startswith="S00"),
        "text=model 3&kind=frame": items.filter(type__model="Model 3", type__kind="frame"),
    }
    for query, rows in expected.items():
        many = f"{len(rows)} item{'s' * (len(rows) != 1)}"
        assert items_shown(client, query) == ([item.tag for item in rows], many), query
        # Asked as of today, they are computed afresh and are the same.
        today = f"{query}&on={today_at(fleet)}"
        assert items_shown(client, today) == ([item.tag for item in rows], many), query


@pytest.mark.parametrize("as_of", ["today", "today, asked for"])
def test_the_list_of_items_shows_what_is_due_first(fleet: Site, manager: User, as_of: str) -> None:
    asked = {} if as_of == "today" else {"on": f"{today_at(fleet)}"}
    answer = signed_in(manager).get("/items/", asked)
    first: dict[str, Key] = {}
    for row in due_rows(DueQuestion()):
        first.setdefault(row.tag, (row.tag, row.task, row.due_on))
    for row in answer.context["table"].paginated_rows:
        item = row.record
        tag, _, due_on = first.get(item.tag, (item.tag, None, None))
        assert (item.tag, item.next_due) == (tag, due_on)
        assert item.standing == "in-service"


def test_the_list_of_items_takes_a_day_and_a_moment(fleet: Site, manager: User) -> None:
    moment = now() + timedelta(seconds=1)
    sleep(1.1)
    mask = Item.objects.select_related("type", "site").get(tag="N-010")
    changed(mask, site=fleet.parent, made_on=mask.made_on)
    client, known_by = signed_in(manager), f"{moment:%Y-%m-%d %H:%M:%SZ}"
    then = client.get("/items/", {"known_by": known_by, "site": "ST1", "text": "n-010"})
    assert [row.record.site.code for row in then.context["table"].rows] == ["ST1"]
    page = then.content.decode()
    assert "As of today" in page
    assert "nothing entered later is counted" in page
    # Its link leads to the item's page as of the same day and moment.
    address = escape(f"/items/{mask.pk}/?{urlencode({'known_by': known_by})}")
    assert f'href="{address}"' in page
    assert items_shown(client, "site=ST1&text=n-010")[0] == []
    # What was made later was not there; what nobody knows the age of may have been.
    early = items_shown(client, f"on={mask.made_on}")[0]
    there = Q(made_on=None) | Q(made_on__lte=mask.made_on)
    assert early == list(Item.objects.filter(there).order_by("tag").values_list("tag", flat=True))
    assert client.get("/items/?on=never").status_code == 422
    nobody = client.get("/items/?known_by=2020-01-01 10:00").content.decode()
    assert "No item was in the register at that moment" in nobody


@pytest.mark.parametrize(
    "question",
    [
        "due/?on=never",
        "items/?on=never",
        "sets/?state=odd",
        "trail/?since=never",
        "papers/?kind=odd",
    ],
)
def test_a_question_that_is_sent_back_counts_nothing(
    fleet: Site, manager: User, question: str
) -> None:
    answer = signed_in(manager).get(f"/{question}")
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "Sent back</b> to be put right" in page
    assert not re.search(r'class="count">\d|\b0 \w+s under this sentence|Nothing falls', page)


@pytest.mark.parametrize("on", ["", "2030-01-01"])
def test_each_column_of_the_items_sorts_both_ways(fleet: Site, manager: User, on: str) -> None:
    reads: dict[str, Callable[[Any], Any]] = {
        "kind": lambda item: item.type.kind,
        "model": lambda item: item.type.model,
        "site": lambda item: item.site.code,
    }
    client = signed_in(manager)
    items = [row.record for row in client.get(f"/items/?on={on}").context["table"].paginated_rows]
    for column in ("tag", "kind", "maker", "model", "serial", "site", "standing", "next_due"):
        read = reads.get(column, attrgetter(column))
        known = [value for item in items if (value := read(item)) is not None]
        for sign, extreme in (("", min(known)), ("-", max(known))):
            answer = client.get(f"/items/?on={on}&sort={sign}{column}")
            assert answer.status_code == 200
            value = read(next(iter(answer.context["table"].paginated_rows)).record)
            assert value == extreme or (value is None and len(known) < len(items)), column


@pytest.mark.parametrize("query", ["", "&sort=-tag", "&kind=mask", "&site=ST1", "&sort=-serial"])
def test_items_of_a_day_that_went_by_are_reckoned_a_page_at_a_time(
    fleet: Site, manager: User, query: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tables, "PAGE", 7)
    client = signed_in(manager)
    for days in (2, 400, 1500):
        address = f"/items/?on={today_at(fleet) - timedelta(days=days)}{query}"
        # By all that will ever be known: asked so, all are reckoned, and then cut into pages.
        whole = f"{address}&known_by=2100-01-01 10:00"
        for page in (1, 2):
            answers = [client.get(f"{each}&page={page}") for each in (address, whole)]
            paged, cut = map(rows_told, answers)
            assert paged == cut
            assert count_text(answers[0]) == count_text(answers[1])


def rows_told(answer: Any) -> list[tuple[object, ...]]:
    told = attrgetter("tag", "type.model", "site.code", "standing", "next_task", "next_due")
    return [
        (*told(row.record), row.record.next_state) for row in answer.context["table"].paginated_rows
    ]

"""First pages, months and sites: their numbers are those of the lists. D32."""

from collections import Counter
from datetime import date, timedelta

import pytest
from django.contrib.auth.models import User

from registry.items.models import Item
from registry.sites.clock import today_at
from registry.sites.models import Site
from servicing.due.pure.ahead import ASSUMPTION, Coming, ahead_of
from servicing.due.pure.obligations import State
from servicing.due.queries.engine import engine_input, items_for_engine
from servicing.due.queries.rows import DueQuestion, due_rows
from servicing.rules.pure.durations import add_months, month_end
from tests.people import signed_in
from tests.servicing.desk.work.listed import all_shown, count_text, items_shown, keys


def test_the_months_ahead_count_what_their_lists_show(fleet: Site, manager: User) -> None:
    client = signed_in(manager)
    bars = client.get("/").context["bars"]
    assert len(bars) == 13  # what is left of this month, and a whole year
    today = today_at(fleet)
    coming = all_coming(today)
    due = Counter(f"{each.on:%B %Y}" for each in coming)
    assert any(each.done_on for each in coming)
    for bar in bars:
        assert bar["count"] == due[bar["title"].removeprefix("rest of ")]
        answer = client.get(bar["href"])
        assert count_text(answer).split()[0] == str(bar["count"]), bar["title"]
    assert sum(bar["count"] for bar in bars) == len(coming) > 0


def all_coming(today: date) -> list[Coming]:
    """Return what will come due up to the end of the month a year from now, by the records."""
    until = month_end(add_months(today, 12))
    everything = engine_input(list(items_for_engine()))
    return [
        each
        for _, plain, past, rules in everything
        for each in ahead_of(plain, past, rules, today, until)
    ]


def test_the_work_ahead_says_what_it_takes_for_done(fleet: Site, manager: User) -> None:
    until = add_months(today_at(fleet), 12)
    page = signed_in(manager).get(f"/due/?ahead=yes&until={until}&task=cleaning").content.decode()
    assert ASSUMPTION in page
    assert "if done on" in page
    assert ASSUMPTION in signed_in(manager).get("/").content.decode()


def test_the_work_ahead_of_another_day_is_reckoned_from_that_day(
    fleet: Site, manager: User
) -> None:
    on = today_at(fleet) + timedelta(days=200)
    asked = {"ahead": "yes", "on": f"{on}", "until": f"{add_months(on, 3)}", "site": "ST1"}
    rows = signed_in(manager).get("/due/", asked).context["table"].rows
    items = Item.objects.filter(site=fleet).select_related("type", "site")
    expected = [
        each
        for _, plain, past, rules in engine_input(list(items))
        for each in ahead_of(plain, past, rules, on, add_months(on, 3))
    ]
    assert len(rows) == len(expected) > 0


@pytest.mark.parametrize(
    ("until", "said"),
    [("", "write up to which day"), ("2140-01-01", "at the most"), ("2026-02-30", "that exists")],
)
def test_the_work_ahead_ends_somewhere(fleet: Site, manager: User, until: str, said: str) -> None:
    answer = signed_in(manager).get(f"/due/?ahead=yes&until={until}")
    assert answer.status_code == 422
    assert said in answer.content.decode()


def test_the_sites_share_the_months_between_them(fleet: Site, manager: User) -> None:
    context = signed_in(manager).get("/").context
    rows = {row["at"].name: row for row in context["by_site"]}
    whole, alone = rows["Valley service and all below"], rows["Valley service alone"]
    for number, bar in enumerate(context["bars"]):
        parts = [row["cells"][number]["count"] for row in (alone, rows["Station one"])]
        assert sum(parts) == whole["cells"][number]["count"] == bar["count"]
    assert whole["sum"] == context["all_sites"]["sum"]
    assert whole["sum"] == sum(bar["count"] for bar in context["bars"])
    assert alone["sum"] > 0


def test_a_site_alone_leaves_out_what_is_below(fleet: Site, manager: User) -> None:
    client, valley = signed_in(manager), fleet.parent
    for on in ("", f"&on={today_at(fleet)}"):
        alone, _ = all_shown(client, f"site=VAL&alone=yes{on}")
        assert alone == keys([row for row in due_rows(DueQuestion()) if row.site == "VAL"])
        tags, _ = items_shown(client, f"site=VAL&alone=yes{on}")
        assert tags == list(Item.objects.filter(site=valley).values_list("tag", flat=True))


def test_the_counts_on_the_first_page_are_those_of_the_lists(fleet: Site, manager: User) -> None:
    client = signed_in(manager)
    counts = client.get("/").context["counts"]
    for state in State:
        many = counts[state.replace("-", "_")]
        assert count_text(client.get(f"/due/?state={state}")).split()[0] == str(many)


def test_a_technician_begins_with_the_work_at_the_own_station(
    fleet: Site, technician: User
) -> None:
    answer = signed_in(technician).get("/")
    work = [row for row in due_rows(DueQuestion(site=fleet)) if row.state != State.CURRENT]
    assert keys(answer.context["rows"]) == keys(work)[:40]
    page = answer.content.decode()
    assert f"{len(work)} things to do at Station one" in page
    assert f"the first 40 of {len(work)}" in page
    assert {row.site for row in answer.context["rows"]} == {"ST1"}


def test_a_manager_begins_with_the_whole_fleet(fleet: Site, manager: User) -> None:
    page = signed_in(manager).get("/").content.decode()
    overdue = len(due_rows(DueQuestion(state="overdue")))
    assert f">{overdue} overdue</a>, " in page
    assert "The work ahead, by month" in page
    assert "Valley service" in page
    assert "Station one" in page


def test_an_auditor_begins_with_an_item_and_a_day(fleet: Site, auditor: User) -> None:
    client = signed_in(auditor)
    page = client.get("/").content.decode()
    assert "What was required of an item, and what was done?" in page
    assert f'value="{today_at(fleet)}"' in page
    assert "/items/add/" not in page
    item = Item.objects.get(tag="N-003")
    found = client.get("/find/", {"q": "N-003", "on": "2025-06-30"})
    assert found["Location"] == f"/items/{item.pk}/?on=2025-06-30"


@pytest.mark.parametrize("role", ["manager", "technician", "auditor"])
def test_an_empty_register_says_what_comes_next(
    station: Site, role: str, request: pytest.FixtureRequest
) -> None:
    client = signed_in(request.getfixturevalue(role))
    for path in ("/", "/due/", "/items/", "/papers/overdue.pdf"):
        assert client.get(path).status_code == 200, path
    assert "Nothing falls under this sentence." in client.get("/due/").content.decode()
    assert "No item falls under this sentence." in client.get("/items/").content.decode()


def test_every_page_with_a_computed_date_carries_the_caution(fleet: Site, manager: User) -> None:
    item = Item.objects.get(tag="N-003")
    client = signed_in(manager)
    for path in ("/", "/due/", "/items/", f"/items/{item.pk}/", "/sites/", "/rules/"):
        page = client.get(path).content.decode()
        assert "A pass here never overrules a doubt at the bench." in page, path

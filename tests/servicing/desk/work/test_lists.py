"""Lists, overviews and what is printed from them: D31, D32, E11, B23."""

import html
import io
import re
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import date, timedelta
from operator import attrgetter
from pathlib import Path
from time import sleep
from typing import Any
from urllib.parse import urlencode

import pypdf
import pytest
from django.contrib.auth.models import User
from django.core.management import call_command
from django.db import connection
from django.db.models import Q
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils.html import escape

from registry.items.models import Item
from registry.lists.pure.register import read_register
from registry.sites.clock import now, today_at
from registry.sites.models import Site
from registry.sites.queries import with_sites_below
from servicing.desk.parts import tables
from servicing.desk.parts.tables import PAGE, paging
from servicing.due.actions.register import import_register
from servicing.due.actions.services import Service, log_service
from servicing.due.pure.ahead import ASSUMPTION, Coming, ahead_of
from servicing.due.pure.obligations import State
from servicing.due.pure.sheet import DueRow
from servicing.due.queries.engine import engine_input, items_for_engine
from servicing.due.queries.rows import DueQuestion, due_rows
from servicing.rules.pure.durations import add_months, month_end
from tests.people import signed_in
from tests.registry.lists.making import HEAD
from tests.servicing.due.test_known_by import changed
from tests.worlds import world_fixture

HEADER = f"{HEAD},construction"
Key = tuple[str, str, date | None]


def fill(site: Site, numbers: range, at: tuple[str, ...] = ("ST1", "ST1", "VAL")) -> None:
    """Register items of five kinds, of every age, every seventh without any date."""
    kinds = ("mask", "demand-valve", "reducer", "frame", "cylinder")
    rows = [HEADER]
    today = today_at(site)
    for n in numbers:
        kind = kinds[n % 5]
        made = today - timedelta(days=97 * n + 20)
        days = ",," if n % 7 == 6 else f",{made},{made + timedelta(days=10)}"
        place = at[n % len(at)]
        built = "type-1" if kind == "cylinder" else ""
        rows.append(f"N-{n:03},{kind},Maker {n % 4},Model {n % 6},S{n:03}{days},{place},{built}")
    places = dict.fromkeys(at, today)
    items, problems = read_register(
        "list.csv", "\n".join(rows).encode(), sites=places, registered={}
    )
    assert problems == []
    import_register(items)


@world_fixture
def fleet(station: Site) -> Site:
    """Thirty items at the station and above it."""
    fill(station, range(30))
    return station


def keys(rows: list[DueRow]) -> list[Key]:
    return [(row.tag, row.task, row.due_on) for row in rows]


def shown(answer: Any) -> list[Key]:
    """Return the obligations on a page of the list, in its order."""
    records = [row.record for row in answer.context["table"].paginated_rows]
    return [(record.tag, record.task, record.due_on) for record in records]


def all_shown(client: Client, query: str = "") -> tuple[list[Key], str]:
    """Return the obligations on all pages of the list, and how many it says there are."""
    first = client.get(f"/due/?{query}")
    assert first.status_code == 200
    pages = first.context["table"].paginator.num_pages
    more = (client.get(f"/due/?{query}&page={number}") for number in range(2, pages + 1))
    return shown(first) + [key for answer in more for key in shown(answer)], count_text(first)


def count_text(answer: Any) -> str:
    found = re.search(r'<span class="count">([^<]*)</span>', answer.content.decode())
    assert found is not None
    return found[1]


# ── The list of obligations ─────────────────────────────────────────────────────────────────────


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


def questions(station: Site) -> dict[str, DueQuestion]:
    """Return questions by the query that asks them."""
    today = today_at(station)
    near, far = today - timedelta(days=100), today + timedelta(days=200)
    valley = station.parent
    return {
        "site=ST1": DueQuestion(site=station),
        "site=VAL": DueQuestion(site=valley),
        "kind=mask": DueQuestion(kind="mask"),
        "task=tightness-test": DueQuestion(task="tightness-test"),
        **{f"state={state}": DueQuestion(state=state) for state in State},
        f"since={near}": DueQuestion(since=near),
        f"until={far}": DueQuestion(until=far),
        f"since={near}&until={far}": DueQuestion(since=near, until=far),
        "site=ST1&kind=mask&state=overdue": DueQuestion(site=station, kind="mask", state="overdue"),
        "kind=compressor": DueQuestion(kind="compressor"),
    }


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


# ── The list of items ───────────────────────────────────────────────────────────────────────────


def items_shown(client: Client, query: str = "") -> tuple[list[str], str]:
    answer = client.get(f"/items/?{query}")
    assert answer.status_code == 200
    tags = [row.record.tag for row in answer.context["table"].paginated_rows]
    return tags, count_text(answer)


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


# ── As many questions to the database for sixty items as for five ───────────────────────────────

PAGES = (
    "/due/",
    "/due/?state=overdue&site=VAL",
    "/due/?on=2030-01-01",
    "/due/?sort=-tag",
    "/items/",
    "/items/?site=VAL&standing=in-service",
    "/items/?sort=next_due",
    "/items/?on=2030-01-01&known_by=2100-01-01 10:00&sort=next_due",
    "/",
    "/sites/",
    "/rules/",
    "/papers/overdue.pdf",
    "/find/?q=N",
)


@pytest.mark.parametrize("role", ["manager", "technician", "auditor"])
def test_a_page_asks_the_database_no_more_for_a_larger_fleet(
    station: Site, role: str, request: pytest.FixtureRequest
) -> None:
    client = signed_in(request.getfixturevalue(role))
    pages = PAGES if role == "manager" else ("/", "/due/", "/items/")

    def asked() -> dict[str, int]:
        found = {}
        for path in pages:
            with CaptureQueriesContext(
                connection,
            ) as queries:
                client.get(path)
            found[path] = len(queries)
        return found

    fill(station, range(5, 10))
    few = asked()
    fill(station, range(10, 65))
    assert asked() == few
    # A manager's first page asks after each kind of thing that may wait for them.
    first_page = few.pop("/")
    assert first_page < 60
    assert max(few.values()) < 45


def test_a_long_history_costs_no_more_questions(mask: Item, technician: User) -> None:
    client = signed_in(technician)

    def asked(path: str) -> int:
        with CaptureQueriesContext(connection) as queries:
            assert client.get(path).status_code == 200
        return len(queries)

    def log(numbers: range) -> None:
        for n in numbers:
            day = today_at(mask.site) - timedelta(days=400 - n)
            log_service(
                item=mask,
                service=Service("cleaning", day, "pass", "Tekla"),
                user=technician,
                entry_key=f"k{n}",
            )

    pages = (f"/items/{mask.pk}/", f"/papers/items/{mask.pk}/record.pdf")
    log(range(2))
    asked(pages[1])  # from here on there is a paper of it in the register
    few = [asked(path) for path in pages]
    log(range(2, 25))
    assert [asked(path) for path in pages] == few


# ── Overviews ───────────────────────────────────────────────────────────────────────────────────


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


# ── Printed from the screen ─────────────────────────────────────────────────────────────────────


def printed(answer: Any) -> str:
    assert answer["Content-Type"] == "application/pdf"
    pages = pypdf.PdfReader(io.BytesIO(answer.content)).pages
    return "\n".join(page.extract_text() for page in pages)


PAPERS = (
    "",
    "site=ST1",
    "kind=mask",
    "state=due-soon",
    "state=overdue&sort=-tag",
    "site=VAL&alone=yes",
    "ahead=yes&until={soon}&kind=mask",
    "since={soon}",
    "on={soon}",
)


@pytest.mark.parametrize("query", PAPERS)
def test_the_paper_of_a_list_is_that_list(fleet: Site, manager: User, query: str) -> None:
    client = signed_in(manager)
    query = query.format(soon=add_months(today_at(fleet), 1))
    answer = client.get(f"/due/?{query}")
    link = re.search(r'href="(/papers/due\.pdf\?[^"]*)"', answer.content.decode())
    assert link is not None
    text = " ".join(printed(client.get(link[1].replace("&amp;", "&"))).split())
    rows = [row.record for row in answer.context["table"].rows]
    assert f"{len(rows)} obligation{'s' * (len(rows) != 1)}" in text
    assert re.findall(r"\bN-\d{3}\b", text) == [row.tag for row in rows]
    form = answer.context["form"]
    assert form.sentence() in text
    # Whatever is printed from the browser says the same sentence over the list.
    assert escape(form.sentence()) in answer.content.decode()


@pytest.mark.parametrize("query", ["", "site=ST1", "kind=mask", "state=due-soon"])
def test_the_overdue_report_names_every_overdue_and_undetermined_item(
    fleet: Site, manager: User, query: str
) -> None:
    text = printed(signed_in(manager).get(f"/papers/overdue.pdf?{query}"))
    asked = replace(questions(fleet).get(query, DueQuestion()), state="")
    wanted = {
        row.tag for row in due_rows(asked) if row.state in (State.OVERDUE, State.UNDETERMINED)
    }
    assert wanted
    assert set(re.findall(r"N-\d{3}", text)) == wanted
    assert "due soon" not in text


def test_the_forecast_of_the_command_is_the_list_of_the_work_ahead(
    fleet: Site, manager: User, tmp_path: Path
) -> None:
    until, out = add_months(today_at(fleet), 4), tmp_path / "forecast.pdf"
    call_command("report", "forecast", "--site", "ST1", "--until", f"{until}", "--out", f"{out}")
    text = " ".join("\n".join(page.extract_text() for page in pypdf.PdfReader(out).pages).split())
    asked = {"ahead": "yes", "site": "ST1", "until": f"{until}"}
    rows = signed_in(manager).get("/due/", asked).context["table"].rows
    assert re.findall(r"\bN-\d{3}\b", text) == [row.record.tag for row in rows]
    assert "at Station one and all below every time they will come due up to" in text


def test_the_service_record_from_the_screen_is_of_the_day_on_the_screen(
    fleet: Site, manager: User
) -> None:
    item = Item.objects.get(tag="N-003")
    client = signed_in(manager)
    page = client.get(f"/items/{item.pk}/?on=2026-01-31").content.decode()
    assert f'href="/papers/items/{item.pk}/record.pdf?on=2026-01-31"' in page
    answer = client.get(f"/papers/items/{item.pk}/record.pdf?on=2026-01-31")
    text = printed(answer)
    assert "31 Jan 2026" in text
    assert "S003" in text
    assert answer["Content-Disposition"] == f'inline; filename="record-{item.pk}-2026-01-31.pdf"'


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

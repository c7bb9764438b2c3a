"""The page of an item, its papers and its JSON say the same: answer, sentences and rows."""

import html
import json
import re
from collections.abc import Iterator
from datetime import date, datetime, timedelta
from io import StringIO
from tempfile import NamedTemporaryFile
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.core.management import call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from registry.items.models import Item
from registry.sites.clock import now, today_at
from registry.sites.models import Site
from reports.documents.actions import SERVICE_RECORD, SET_PAPER, make
from servicing.desk.item.queries import ItemSheet, item_sheet
from servicing.due.actions.register import save_site
from servicing.due.actions.standing import condemn, withdraw
from tests.people import STEEL, make_cylinder, make_item, passed, signed_in
from tests.reports.documents.papers import text_of, without_spaces
from tests.servicing.bench.conftest import calibrate, fitted, make_instrument
from tests.servicing.bench.test_instruments import measure
from tests.servicing.hydrostatic.away import sent_away
from tests.worlds import world_fixture

DAY = timedelta(days=1)
WORST = {
    "M-FINE": ("due-soon", "current"),
    "M-LATE": ("overdue",),
    "M-USED": ("overdue",),
    "M-UNKNOWN": ("undetermined",),
    "M-DOUBT": ("in-doubt",),
    "M-OUT": ("out-of-service",),
    "M-GONE": ("condemned",),
    "C-AIR": ("overdue",),
    "C-AWAY": ("current", "due-soon", "overdue"),
    "K-UNASKED": ("undetermined",),
    "B01": ("out-of-service",),
    "S-ONE": ("incomplete",),
    "S-BARE": ("incomplete",),
}
"""What the register below is made for: each item with the state that its first line speaks of."""


@world_fixture
def register(station: Site, technician: User, manager: User) -> None:
    """Items in every state that a first line speaks of, and two sets."""
    today = today_at(station)
    old: dict[str, Any] = {"made_on": date(2020, 3, 10), "in_service_on": date(2020, 4, 1)}
    new: dict[str, Any] = {"made_on": today - 100 * DAY, "in_service_on": today - 90 * DAY}
    make_item(station, "M-LATE", **old)
    fine, used = (make_item(station, tag, **new) for tag in ("M-FINE", "M-USED"))
    tasks = ("cleaning", "tightness-test", "functional-test", "periodic-inspection", "overhaul")
    for mask in (fine, used):
        for task in tasks:
            passed(mask, task, today - 20 * DAY, technician)
    passed(used, "use", today - 5 * DAY, technician)
    make_item(station, "M-UNKNOWN")
    alone = Site(code="ALONE", name="Follows no table", timezone="Europe/Vienna")
    save_site(alone, tables=[])
    make_item(alone, "K-UNASKED", **old)
    bench = make_instrument(station, "B01", today - 200 * DAY, technician)
    doubted = make_item(station, "M-DOUBT", **old)
    measure(doubted, bench, today - 10 * DAY, technician, 1)
    calibrate(bench, today - 2 * DAY, "fail", technician)
    for deed, tag in ((withdraw, "M-OUT"), (condemn, "M-GONE")):
        item = make_item(station, tag, **old)
        deed(item=item, reason="A crack.", user=manager, entry_key=tag, signed=True)
    air = make_item(station, "C-AIR", "cylinder", **STEEL, **old)
    passed(air, "hydrostatic-retest", today - 20 * DAY, technician)
    _filled(air, today - 15 * DAY)
    sent_away(station, [make_cylinder(station, "C-AWAY", technician)], technician)
    whole, _ = (make_item(station, tag, "set", **old) for tag in ("S-ONE", "S-BARE"))
    for part in (doubted, make_cylinder(station, "C-SET", technician)):
        fitted(whole, part, today - 30 * DAY)


def _filled(item: Item, on: date) -> None:
    """Bring a filling in by a list: at the filling point none can be entered for a past day."""
    with NamedTemporaryFile("w", suffix=".csv") as file:
        file.write(f"tag,task,done_on,outcome,by,note\n{item.tag},fill,{on},pass,Tekla,\n")
        file.flush()
        call_command("import_history", file.name, stdout=StringIO())


def asked(item: Item) -> Iterator[tuple[date, datetime | None]]:
    """Yield today, a day of the past, and that day as known now or then."""
    today = today_at(item.site)
    yield from ((today, None), (today - 4 * DAY, None), (today - 60 * DAY, None), (today, now()))


def plain(page: bytes) -> str:
    text = re.sub(r"<[^>]*>", " ", page.decode())
    return without_spaces(html.unescape(text))


def lines_of(sheet: ItemSheet) -> Iterator[str]:
    """Yield every sentence that page and paper owe a reader."""
    yield from (sheet.answer.sentence, sheet.answer.reason)
    yield from sheet.answer.beside
    yield from (each.arithmetic for task in sheet.tasks for each in task.reasons)
    yield from (task.late for task in sheet.tasks if not task.dropped)
    yield from (task.difference for task in sheet.tasks)
    yield from ("dropped: service life ends first" for task in sheet.tasks if task.dropped)
    yield from (f"{name}{text}" for name, text in sheet.attributes)
    yield from (line.record.task.replace("-", " ") for line in sheet.records)
    yield from sheet.cautions
    if sheet.charge:
        yield from (sheet.charge.word, sheet.charge.sentence, sheet.charge.source)
    if sheet.whole:
        yield from sheet.whole.remarks
    if sheet.fitted:
        yield sheet.fitted.set.tag


@pytest.mark.usefixtures("register")
def test_the_register_of_this_file_has_every_first_line() -> None:
    for item in Item.objects.select_related("type", "site").filter(tag__in=WORST):
        assert item_sheet(item, today_at(item.site)).answer.state in WORST[item.tag], item.tag


@pytest.mark.usefixtures("register")
def test_the_page_the_papers_and_the_json_say_the_same(auditor: User) -> None:
    desk = signed_in(auditor)
    for item in Item.objects.select_related("type", "site").order_by("tag"):
        for on, known_by in asked(item):
            sheet = item_sheet(item, on, known_by)
            question = {"on": on.isoformat()}
            question |= {"known_by": known_by.isoformat()} if known_by else {}
            page = plain(desk.get(reverse("item", args=[item.pk]), question).content)
            told = desk.get(reverse("item-json", args=[item.pk]), question).json()
            kept = item_sheet(item, on, known_by, on_paper=True)
            paper = _printed(SERVICE_RECORD, item, on, known_by)
            for text in lines_of(sheet):
                assert without_spaces(text).casefold() in page.casefold(), (item.tag, on, text)
            for text in lines_of(kept):
                assert without_spaces(text).casefold() in paper.casefold(), (item.tag, on, text)
            assert (kept.answer.state, kept.answer.ready) == (told["state"], told["ready"])
            assert ("NOTREADY" in paper or "OUTOF" in paper or "CONDEMNED" in paper) is not told[
                "ready"
            ], (item.tag, on)
            _same(sheet, told)
            if sheet.whole:
                of_set = _printed(SET_PAPER, item, on, known_by)
                for text in (kept.answer.sentence, kept.answer.reason, *kept.answer.also):
                    assert without_spaces(text) in of_set, (item.tag, on, text)


def _printed(kind: Any, item: Item, on: date, known_by: datetime | None) -> str:
    return without_spaces(text_of(make(kind, item, on, user=None, known_by=known_by).content))


def _same(sheet: ItemSheet, told: dict[str, Any]) -> None:
    answer = sheet.answer
    assert (told["answer"], told["reason"]) == (answer.sentence, answer.reason)
    assert told["also"] == list(answer.also)
    assert [task["task"] for task in told["tasks"]] == [task.task for task in sheet.tasks]
    assert [row["position"] for row in told["records"]] == [
        line.record.position for line in sheet.records
    ]
    assert [stamp["due_on"] for stamp in told["stamps"]] == [
        stamp.due_on.isoformat() if stamp.due_on else None for stamp in sheet.stamps
    ]
    assert len(told["in_doubt"]) == len(sheet.doubts)
    parts = told["set"]["parts"] if sheet.whole else []
    assert [part["tag"] for part in parts] == [
        part.item.tag for part in (sheet.whole.parts if sheet.whole else ())
    ]


@pytest.mark.usefixtures("register")
def test_the_json_of_a_sheet_keeps_the_contract_of_the_explanation(
    auditor: User, capsys: pytest.CaptureFixture[str]
) -> None:
    for item in Item.objects.select_related("site"):
        call_command("explain", item.tag, "--format", "json")
        explained = json.loads(capsys.readouterr().out)
        told = signed_in(auditor).get(reverse("item-json", args=[item.pk])).json()
        assert {name: told[name] for name in explained} == explained


@pytest.mark.usefixtures("register")
def test_a_day_or_a_moment_that_can_not_be_answered_is_refused_in_json_too(auditor: User) -> None:
    desk, path = signed_in(auditor), reverse("item-json", args=[Item.objects.all()[0].pk])
    for question in ({"on": "31 x"}, {"known_by": "2001-01-01 00:00:00"}):
        answer = desk.get(path, question)
        assert answer.status_code == 422
        assert answer.json()["errors"]


@pytest.mark.usefixtures("register")
@pytest.mark.parametrize(("tag", "most"), [("M-FINE", 28), ("C-AIR", 30), ("S-ONE", 41)])
def test_the_page_of_an_item_asks_the_database_so_often_and_no_more(
    auditor: User, tag: str, most: int
) -> None:
    """Eight to ten fewer than before the sheet was gathered once."""
    desk, item = signed_in(auditor), Item.objects.get(tag=tag)
    desk.get(reverse("item", args=[item.pk]))
    with CaptureQueriesContext(connection) as asked_for:
        desk.get(reverse("item", args=[item.pk]))
    assert len(asked_for) <= most, [query["sql"][:120] for query in asked_for]

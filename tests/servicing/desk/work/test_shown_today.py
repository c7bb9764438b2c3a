"""Today is the day at the item's site: sites 25 hours apart, nights without a midnight.

Instants are in UTC, days from the tz database (traps X12, C20 to C22).
"""

import time
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
import time_machine
from django.contrib.auth.models import User
from django.test import override_settings

from registry.items.models import Item
from registry.sites.clock import today_anywhere, today_at, today_in
from registry.sites.models import Site
from servicing.due.actions.register import load_rules, save_site
from servicing.due.actions.services import Service, ServiceRefused, log_service
from servicing.due.actions.store import recompute
from servicing.due.pure.sheet import DueRow
from servicing.due.queries.rows import DueQuestion, due_rows, stored_row, stored_rows
from servicing.due.queries.sums import state_counts
from servicing.rules.pure.tables import read_table
from tests.people import make_item

MOMENT = datetime(2026, 11, 25, 10, 30, tzinfo=UTC)
ZONES = {"KIR": "Pacific/Kiritimati", "LON": "Europe/London", "NIU": "Pacific/Niue"}
TABLE = """
table = "yearly"
title = "Every year, a day's notice"
jurisdiction = "nowhere"
caution = "Invented."

[[rule]]
id = "yearly-test"
task = "tightness-test"
level = "local"
bars = "use-and-filling"
when = { kind = ["mask"] }
every = "P1Y"
from = "made"
notice = "P1D"
source = "invented"
seen = "practice"

[[rule]]
id = "new-rule"
task = "flow-test"
level = "local"
bars = "use-and-filling"
when = { kind = ["mask"] }
every = "P1Y"
from = "made"
notice = "P1D"
source = "invented"
seen = "practice"
valid_from = 2026-11-25
"""
STATES = {
    # due on:         26 November it is   25 it is    24 it is
    "2026-11-23": ("overdue", "overdue", "overdue"),
    "2026-11-24": ("overdue", "overdue", "due-soon"),
    "2026-11-25": ("overdue", "due-soon", "due-soon"),
    "2026-11-26": ("due-soon", "due-soon", "current"),
    "2026-11-27": ("due-soon", "current", "current"),
    "2026-11-28": ("current", "current", "current"),
}


def site_in(zone: str, code: str) -> Site:
    site = Site(code=code, name=code, timezone=zone)
    save_site(site, tables=["yearly"])
    return site


@pytest.fixture
def frozen() -> Iterator[None]:
    with time_machine.travel(MOMENT, tick=False):
        yield


@pytest.fixture
def yearly(db: None) -> None:
    load_rules([read_table("yearly.toml", TABLE)[0]])


@pytest.fixture
def sites(yearly: None, frozen: None) -> dict[str, Site]:
    """Three sites, each with a mask for every due day, all made a year before it."""
    found = {code: site_in(zone, code) for code, zone in ZONES.items()}
    for code, site in found.items():
        for due_on in STATES:
            due = date.fromisoformat(due_on)
            make_item(site, f"{code}-{due.day}", made_on=due.replace(year=2025))
    return found


def both(question: DueQuestion) -> list[DueRow]:
    """Return today's rows, computed and stored, which must be the same."""
    computed = due_rows(question)
    assert [stored_row(row) for row in stored_rows(question)] == computed
    return computed


def states(rows: list[DueRow], task: str = "tightness-test") -> dict[tuple[str, str], str]:
    return {(str(row.due_on), row.site): str(row.state) for row in rows if row.task == task}


EXPECTED = {
    (due_on, site): state
    for due_on, at_each in STATES.items()
    for site, state in zip(ZONES, at_each, strict=True)
}


def test_one_instant_is_three_days_at_three_sites(sites: dict[str, Site]) -> None:
    todays = [today_at(sites[code]).isoformat() for code in ZONES]
    assert todays == ["2026-11-26", "2026-11-25", "2026-11-24"]
    assert today_anywhere() == date(2026, 11, 26)


def test_one_due_date_stands_differently_at_three_sites(sites: dict[str, Site]) -> None:
    assert states(both(DueQuestion())) == EXPECTED
    for state in ("overdue", "due-soon", "current"):
        found = both(DueQuestion(state=state, task="tightness-test"))
        assert states(found) == {key: word for key, word in EXPECTED.items() if word == state}
    of_niue = {"overdue": 1, "due_soon": 2, "current": 3, "undetermined": 0}
    assert state_counts(sites["NIU"]) == of_niue


def test_a_rule_comes_into_force_at_each_site_on_its_own_day(sites: dict[str, Site]) -> None:
    """The same mask, the same date and three answers: overdue, due soon, not asked yet."""
    found = states(both(DueQuestion(task="flow-test")), "flow-test")
    on_the_25th = {site: found.get(("2026-11-25", site)) for site in ZONES}
    assert on_the_25th == {"KIR": "overdue", "LON": "due-soon", "NIU": None}


def test_a_day_that_is_asked_about_is_the_same_everywhere(sites: dict[str, Site]) -> None:
    found = states(due_rows(DueQuestion(on=date(2026, 11, 25))))
    assert {found[day, site] for day, site in found if day == "2026-11-25"} == {"due-soon"}
    assert {found[day, site] for day, site in found if day == "2026-11-24"} == {"overdue"}


@pytest.mark.parametrize("zone", ["Pacific/Kiritimati", "Pacific/Niue", "America/Santiago", "UTC"])
def test_the_zone_of_the_server_changes_no_answer(
    sites: dict[str, Site], zone: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = both(DueQuestion())
    with override_settings(TIME_ZONE=zone):
        monkeypatch.setenv("TZ", zone)
        time.tzset()
        local = time.localtime(MOMENT.timestamp())
        assert time.strftime("%z", local) == MOMENT.astimezone(ZoneInfo(zone)).strftime("%z")
        assert both(DueQuestion()) == before
        assert recompute() == 0
        assert states(before) == EXPECTED
    monkeypatch.undo()
    time.tzset()


def test_a_service_is_entered_up_to_the_day_at_the_site(
    sites: dict[str, Site], technician: User
) -> None:
    for code, today in (("KIR", 26), ("LON", 25), ("NIU", 24)):
        mask = Item.objects.get(tag=f"{code}-23")
        for day in (today + 1, today):
            service = Service("tightness-test", date(2026, 11, day), "pass", "Tekla Merrow")
            key = f"{code}{day}".ljust(32, "x")
            if day > today:
                with pytest.raises(ServiceRefused, match=f"today at the site is {today} Nov 2026"):
                    log_service(item=mask, service=service, user=technician, entry_key=key)
            else:
                log_service(item=mask, service=service, user=technician, entry_key=key)
        found = [row for row in both(DueQuestion()) if row.item_id == mask.pk]
        assert [row.due_on for row in found if row.task == "tightness-test"] == [
            date(2027, 11, today)
        ]


GAPS = [
    # zone, the last second of a day, the first of the next; midnight itself does not exist
    ("Asia/Beirut", "2026-03-28T21:59:59Z", "2026-03-28T22:00:00Z", "2026-03-29"),
    ("Africa/Cairo", "2026-04-23T21:59:59Z", "2026-04-23T22:00:00Z", "2026-04-24"),
    ("America/Santiago", "2026-09-06T03:59:59Z", "2026-09-06T04:00:00Z", "2026-09-06"),
]


@pytest.mark.parametrize(("zone", "before", "after", "day"), GAPS)
def test_a_night_without_midnight_still_ends_the_day(
    yearly: None, zone: str, before: str, after: str, day: str
) -> None:
    new_day = date.fromisoformat(day)
    eve = new_day - timedelta(days=1)
    with time_machine.travel(before, tick=False):
        make_item(site_in(zone, "GAP"), "1", made_on=eve.replace(year=2025))
        assert states(both(DueQuestion())) == {(str(eve), "GAP"): "due-soon"}
    with time_machine.travel(after, tick=False):
        assert today_in(zone) == new_day
        assert states(both(DueQuestion())) == {(str(eve), "GAP"): "overdue"}


@pytest.mark.parametrize(
    ("zone", "instant", "day"),
    [
        *((zone, before, str(date.fromisoformat(day) - timedelta(days=1)))
          for zone, before, _, day in GAPS),
        *((zone, after, day) for zone, _, after, day in GAPS),
        # The clock goes back from midnight to eleven: the evening is lived twice.
        ("Asia/Beirut", "2026-10-24T20:59:59Z", "2026-10-24"),
        ("Asia/Beirut", "2026-10-24T21:00:00Z", "2026-10-24"),
        ("Asia/Beirut", "2026-10-24T22:00:00Z", "2026-10-25"),
        ("Africa/Cairo", "2026-10-29T20:59:59Z", "2026-10-29"),
        ("Africa/Cairo", "2026-10-29T21:00:00Z", "2026-10-29"),
        ("Africa/Cairo", "2026-10-29T22:00:00Z", "2026-10-30"),
        ("America/Santiago", "2026-04-05T02:59:59Z", "2026-04-04"),
        ("America/Santiago", "2026-04-05T03:00:00Z", "2026-04-04"),
        ("America/Santiago", "2026-04-05T04:00:00Z", "2026-04-05"),
        # 30 December 2011 was no day there.
        ("Pacific/Apia", "2011-12-30T09:59:59Z", "2011-12-29"),
        ("Pacific/Apia", "2011-12-30T10:00:00Z", "2011-12-31"),
    ],
)  # fmt: skip
def test_every_second_is_a_second_of_some_day(zone: str, instant: str, day: str) -> None:
    with time_machine.travel(instant, tick=False):
        assert today_in(zone).isoformat() == day


@pytest.mark.parametrize(
    ("zone", "first"),
    [
        ("Asia/Beirut", "2026-03-28"),
        ("Asia/Beirut", "2026-10-24"),
        ("Africa/Cairo", "2026-04-23"),
        ("Africa/Cairo", "2026-10-29"),
        ("America/Santiago", "2026-09-05"),
        ("America/Santiago", "2026-04-04"),
        ("Europe/London", "2026-10-25"),
    ],
)
def test_each_day_comes_once_and_in_order_however_the_clock_is_moved(zone: str, first: str) -> None:
    day = date.fromisoformat(first)
    start = datetime(day.year, day.month, day.day, tzinfo=UTC) - timedelta(days=1)
    with time_machine.travel(start, tick=False) as clock:
        seen = [today_in(zone)]
        for _ in range(4 * 24 * 4):
            clock.shift(timedelta(minutes=15))
            seen.append(today_in(zone))
    days = list(dict.fromkeys(seen))
    assert seen == sorted(seen)
    assert days == [days[0] + timedelta(days=n) for n in range(len(days))]
    assert day + timedelta(days=1) in days

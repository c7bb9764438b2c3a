"""Why a date is what it is: the arithmetic in words, the first line of a sheet, the command."""

import io
import json
from dataclasses import replace
from datetime import date
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from registry.items.models import Item
from registry.sites.models import Site
from servicing.due.actions.history import import_history
from servicing.due.actions.register import load_rules, save_site
from servicing.due.pure import obligations as engine
from servicing.due.pure.answer import Answer, answer
from servicing.due.pure.explain import arithmetic, duration_words, explain
from servicing.due.pure.obligations import CountedFrom, Record, Standing, StandingWord
from servicing.due.pure.sheet import GENERAL_CAUTION
from servicing.ledger.pure.history import HistoryRow
from servicing.ledger.pure.shoulder import marked
from servicing.rules.pure.clocks import Clock, Early, Late, MonthBefore, Other, Start
from servicing.rules.pure.durations import Duration
from servicing.rules.pure.rule import SERVICE_LIFE, Basis, Condition, Level, Rule
from servicing.rules.pure.tables import read_table
from tests.people import make_item

ON = date(2026, 11, 25)
MADE, IN_SERVICE, PART = date(2020, 1, 31), date(2020, 3, 5), date(2025, 2, 28)
PASSED = Record("test", date(2026, 8, 31), "pass", PART)
FAILED = Record("test", date(2026, 11, 2), "fail")
USED = Record("use", date(2026, 11, 20), "pass")


def rule(task: str = "test", **form: Any) -> Rule:
    return Rule("r", "t", task, Level.LAW, Condition(()), "source", "text", **form)


def item(made: date | None = MADE, in_service: date | None = IN_SERVICE) -> engine.Item:
    return engine.Item({"design_life_years": 20}, made, in_service)


def every(months: int, basis: Basis = Basis.MADE, **more: Any) -> Rule:
    return rule(every=Duration(months), counted_from=basis, **more)


HALF_YEAR = every(6)
BY_LAW = every(60, month_end=True, clock=Clock(
    "sentence 1", Late(None, True, "sentences 2 and 5"), Early(Duration(2), "sentence 4")
))  # fmt: skip
TWO = Clock(other=Other(Duration(120), Start.MADE, False, "clause 6"))
OUT = Record("withdrawal", date(2025, 1, 31), "pass")
SUMS = [
    (HALF_YEAR, [PASSED], CountedFrom.RECORD, "last passed 31 Aug 2026 + 6 months = 28 Feb 2027"),
    (every(30), [], CountedFrom.MADE, "made 31 Jan 2020 + 2 years 6 months = 31 Jul 2022"),
    (every(60, month_end=True), [PASSED], CountedFrom.RECORD,
     "last passed 31 Aug 2026 + 5 years = end of month 31 Aug 2031"),
    (every(78, clock=Clock(late=Late(Duration(1)))), [PASSED], CountedFrom.DUE_DATE,
     "passed late on 31 Aug 2026: from the due date 31 Jul 2026 + 6 years 6 months = 31 Jan 2033"),
    (BY_LAW, [Record("test", date(2025, 10, 5), "pass")], CountedFrom.DUE_DATE,
     "passed late on 5 Oct 2025: from the due date 31 Jan 2025 (sentences 2 and 5) + 5 years = "
     "end of month 31 Jan 2030 (sentence 1)"),
    (BY_LAW, [OUT, Record("test", date(2025, 10, 5), "pass")], CountedFrom.RECORD,
     "last passed 5 Oct 2025: from the pass, for it was out of service on the due date 31 Jan 2025 "
     "(sentences 2 and 5) + 5 years = end of month 31 Oct 2030 (sentence 1)"),
    (BY_LAW, [Record("test", date(2024, 11, 30), "pass")], CountedFrom.DUE_DATE,
     "passed on 30 Nov 2024, no more than 2 months early: from the due date 31 Jan 2025 "
     "(sentence 4) + 5 years = end of month 31 Jan 2030 (sentence 1)"),
    (replace(BY_LAW, every=Duration(24)), [PASSED], CountedFrom.RECORD,
     "last passed 31 Aug 2026: from the pass, for after the first due date 31 Jan 2022 there may "
     "be passes that were not entered (sentences 2 and 5) + 2 years = end of month 31 Aug 2028 "
     "(sentence 1)"),
    (every(60, clock=Clock(start=MonthBefore(True, "art. 24"))), [PASSED], CountedFrom.RECORD,
     "last passed 31 Aug 2026: from the end of the month before, 31 Jul 2026, that day counted "
     "(art. 24) + 5 years = 30 Jul 2031"),
    (every(24, Basis.IN_SERVICE, clock=TWO), [PASSED], CountedFrom.RECORD,
     "last passed 31 Aug 2026 + 2 years = 31 Aug 2028"),
    (every(24, Basis.IN_SERVICE, clock=TWO), [], CountedFrom.IN_SERVICE,
     "in service 5 Mar 2020 + 2 years = 5 Mar 2022, the sooner of two clocks (clause 6)"),
    (every(144, Basis.IN_SERVICE, clock=TWO), [], CountedFrom.MADE,
     "made 31 Jan 2020 + 10 years = 31 Jan 2030, the sooner of two clocks (clause 6)"),
    (every(12, Basis.IN_SERVICE), [], CountedFrom.IN_SERVICE,
     "in service 5 Mar 2020 + 1 year = 5 Mar 2021"),
    (every(24, Basis.PART_MADE), [PASSED], CountedFrom.PART_MADE,
     "part made 28 Feb 2025 + 2 years = 28 Feb 2027"),
    (every(1, Basis.AT_ONCE), [], CountedFrom.AT_ONCE,
     "no record yet: due from the first day, 5 Mar 2020"),
    (rule(every=Duration(days=14)), [PASSED], CountedFrom.RECORD,
     "last passed 31 Aug 2026 + 2 weeks = 14 Sep 2026"),
    (rule(every=Duration(1, 10)), [PASSED], CountedFrom.RECORD,
     "last passed 31 Aug 2026 + 1 month 10 days = 10 Oct 2026"),
    (rule(calendar="half-year"), [PASSED], CountedFrom.RECORD,
     "last passed 31 Aug 2026, due by the end of the next calendar half-year: 30 Jun 2027"),
    (rule(calendar="month"), [], CountedFrom.MADE,
     "made 31 Jan 2020, due by the end of the next calendar month: 29 Feb 2020"),
    (rule(after=("use", "impact")), [USED], CountedFrom.EVENT,
     "after use or impact: used on 20 Nov 2026, due since that day"),
    (rule(counts="use", limit=1), [USED], CountedFrom.EVENT,
     "at the 1st use: used on 20 Nov 2026, due since that day"),
    (rule(counts="use", limit=22), [USED] * 22, CountedFrom.EVENT,
     "at the 22nd use: used on 20 Nov 2026, due since that day"),
    (rule(counts="use", limit=113), [USED] * 113, CountedFrom.EVENT,
     "at the 113th use: used on 20 Nov 2026, due since that day"),
    (HALF_YEAR, [replace(PASSED, next_test=marked("12/2026"))], CountedFrom.STAMP,
     "stamped on it when tested on 31 Aug 2026: next test 12/2026, good through 31 Dec 2026; "
     "the rule alone: last passed 31 Aug 2026 + 6 months = 28 Feb 2027"),
    (HALF_YEAR, [PASSED, FAILED], CountedFrom.FAILURE,
     "failed on 2 Nov 2026: due since that day"),
    (rule(SERVICE_LIFE, life=Duration(180)), [], CountedFrom.MADE,
     "made 31 Jan 2020 + 15 years = 31 Jan 2035"),
    (rule(SERVICE_LIFE, life=Duration(180), month_end=True, counted_from=Basis.IN_SERVICE), [],
     CountedFrom.IN_SERVICE, "in service 5 Mar 2020 + 15 years = end of month 31 Mar 2035"),
    (rule(SERVICE_LIFE, life_as_marked=True), [], CountedFrom.MADE,
     "made 31 Jan 2020 + 20 years as marked = 31 Jan 2040"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("row", "records", "counted_from", "sentence"), SUMS, ids=[sentence for *_, sentence in SUMS]
)
def test_a_date_is_shown_with_its_arithmetic(
    row: Rule, records: list[Record], counted_from: CountedFrom, sentence: str
) -> None:
    (owed,) = engine.obligations(item(), records, [row], ON)
    assert (owed.counted_from, arithmetic(owed.governing)) == (counted_from, sentence)


def test_every_basis_has_its_sentence() -> None:
    assert {counted_from for _, _, counted_from, _ in SUMS} == set(CountedFrom)


@pytest.mark.parametrize(
    ("row", "asks"),
    [
        (HALF_YEAR, "every 6 months"),
        (every(6, Basis.IN_SERVICE), "every 6 months"),
        (
            every(60, clock=Clock(late=Late(Duration(2)))),
            "every 5 years (a late pass: from the due date)",
        ),
        (
            BY_LAW,
            "every 5 years (a late pass: from the due date, unless out of service on it; "
            "up to 2 months early: from the due date too)",
        ),
        (
            every(60, clock=Clock(start=MonthBefore())),
            "every 5 years (from the end of the month before the stamped one)",
        ),
        (
            every(24, Basis.IN_SERVICE, clock=TWO),
            "every 2 years (or 10 years from the made date at first, whichever is the sooner)",
        ),
        (rule(calendar="quarter"), "once in each calendar quarter"),
        (rule(SERVICE_LIFE, life=Duration(180)), "service life 15 years"),
        (rule(SERVICE_LIFE, life_as_marked=True), "service life as marked on the item"),
    ],
)
def test_without_anything_to_count_from_the_sentence_says_so(row: Rule, asks: str) -> None:
    (owed,) = engine.obligations(item(None, None), [], [row], ON)
    assert owed.state(ON) == "undetermined"
    assert arithmetic(owed.governing) == (
        f"{asks}: nothing to count from, no record and no made date"
    )


@pytest.mark.parametrize(
    ("span", "words"),
    [
        (Duration(12), "1 year"),
        (Duration(1), "1 month"),
        (Duration(30), "2 years 6 months"),
        (Duration(days=7), "1 week"),
        (Duration(days=21), "3 weeks"),
        (Duration(days=1), "1 day"),
        (Duration(days=10), "10 days"),
        (Duration(13, 8), "1 year 1 month 8 days"),
    ],
)
def test_a_span_is_said_in_words(span: Duration, words: str) -> None:
    assert duration_words(span) == words


FIT = Standing(StandingWord.IN_SERVICE)
UNFIT = Standing(StandingWord.OUT_OF_SERVICE, date(2026, 11, 2), "tightness-test")
GONE = Standing(StandingWord.CONDEMNED, date(2026, 10, 1), "hydrostatic-retest")


def owed_from(*done: date) -> tuple[engine.Obligation, ...]:
    """Return yearly tasks last passed on these days; without one, a task nobody can date."""
    tasks = [f"flow-test-{number}" for number in range(len(done))]
    records = [Record(task, day, "pass") for task, day in zip(tasks, done, strict=True)]
    rules = [rule(task, every=Duration(12)) for task in tasks]
    return engine.obligations(
        item(None, None), records, rules or [rule("flow-test", every=Duration(12))], ON
    )


@pytest.mark.parametrize(
    ("standing", "owed", "expected"),
    [
        (FIT, owed_from(date(2026, 11, 25)), Answer(
            "current", "M1 has nothing overdue.",
            "Next: flow test 0, due 25 Nov 2027 (in 1 year).")),
        (FIT, owed_from(date(2025, 12, 10)), Answer(
            "due-soon", "M1 has nothing overdue.",
            "Next: flow test 0, due 10 Dec 2026 (in 15 days).")),
        (FIT, owed_from(date(2025, 11, 26)), Answer(
            "due-soon", "M1 has nothing overdue.",
            "Next: flow test 0, due 26 Nov 2026 (in 1 day).")),
        (FIT, owed_from(date(2025, 11, 25)), Answer(
            "due-soon", "M1 has nothing overdue, but its flow test 0 is due this very day.",
            "Next: flow test 0, due 25 Nov 2026 (the last good day).")),
        (FIT, owed_from(date(2025, 11, 24)), Answer(
            "overdue", "M1 is not ready: flow test 0 is overdue.",
            "It was due on 24 Nov 2026: 1 day over.")),
        (FIT, owed_from(date(2025, 11, 24), date(2025, 10, 1), date(2026, 1, 1)), Answer(
            "overdue", "M1 is not ready: flow test 1 is overdue.",
            "It was due on 1 Oct 2026: 1 month 24 days over. 1 more overdue.")),
        (FIT, owed_from(), Answer(
            "undetermined", "M1 is not known to be ready: flow test.",
            "There is no record and no made date to count from.")),
        (FIT, (), Answer(
            "undetermined", "M1 is not known to be ready.",
            "No rule asks anything of it on this day. Check the rule tables its site follows.")),
        (UNFIT, owed_from(date(2026, 11, 25)), Answer(
            "out-of-service", "M1 is not ready: out of service since 2 Nov 2026.",
            "Tightness test failed and has not passed since.")),
        (GONE, (), Answer(
            "condemned", "M1 is not ready: condemned since 1 Oct 2026.",
            "It can't come back.")),
    ],
    ids=lambda value: value.reason if isinstance(value, Answer) else "",
)  # fmt: skip
def test_the_first_line_says_whether_it_is_ready(
    standing: Standing, owed: tuple[engine.Obligation, ...], expected: Answer
) -> None:
    assert answer("M1", standing, owed, ON) == expected


def test_what_the_end_of_service_life_drops_is_explained_too() -> None:
    life, late = rule(SERVICE_LIFE, life=Duration(84)), every(12)
    found = explain(item(), [PASSED], [late, life], ON)
    assert [(task.obligation.task, task.dropped) for task in found] == [
        (SERVICE_LIFE, False),
        ("test", True),
    ]


HEAD = """table = "bottles"
title = "Bottles"
jurisdiction = "XX"
caution = "Invented."
"""
ROW = """
[[rule]]
id = "{0}"
task = "{1}"
level = "{2}"
when = {{ kind = ["cylinder"] }}
{3}
source = "page of {0}"
seen = "practice"
"""
ROWS = (
    ("b-life", SERVICE_LIFE, "law", 'life = "P15Y"'),
    ("b-retest", "hydrostatic-retest", "law", 'every = "P5Y"\nfrom = "made"\ndue = "month-end"'),
    ("b-look", "visual-inspection", "law", 'every = "P30M"\nfrom = "made"'),
    ("b-look-maker", "visual-inspection", "maker", 'every = "P2Y"\nfrom = "made"'),
    ("b-after", "visual-inspection", "local", 'after = ["impact"]\nbars = "use"'),
    ("b-valve", "overhaul", "maker", 'counts = "fill"\nlimit = 2'),
)
DONE = (
    ("hydrostatic-retest", date(2024, 6, 3)),
    ("visual-inspection", date(2024, 11, 30)),
    ("impact", date(2026, 11, 30)),
)


@pytest.fixture
def bottle(db: None) -> Item:
    """A cylinder near the end of its fifteen years, retested late in them."""
    text = HEAD + "".join(ROW.format(*row) for row in ROWS)
    table, problems = read_table("bottles.toml", text)
    assert not problems
    load_rules([table])
    site = Site(code="ST1", name="Station one", timezone="Europe/Vienna")
    save_site(site, tables=["bottles"])
    made = {"made_on": date(2012, 3, 10), "model": "B6", "maker": "Holt"}
    found = make_item(site, "00123", "cylinder", **made)
    rows = [
        HistoryRow(line, "00123", task, day, "pass", "T. Merrow", "", None, ())
        for line, (task, day) in enumerate(DONE, 2)
    ]
    import_history(rows, file="done.csv", file_hash="0" * 64)
    return found


def said(*words: str) -> str:
    out = io.StringIO()
    call_command("explain", *words, stdout=out)
    return out.getvalue()


def test_the_command_shows_every_candidate_of_every_task(bottle: Item) -> None:
    assert said("00123", "--on", "2026-11-25").splitlines() == [
        "00123: cylinder, Holt B6, serial S-00123, ST1 Station one",
        "on 2026-11-25: in-service",
        "",
        "visual-inspection: 2026-11-30, due-soon",
        "=> 2026-11-30  last passed 30 Nov 2024 + 2 years = 30 Nov 2026",
        "     b-look-maker (maker): page of b-look-maker [practice]",
        "     overdue it bars nothing: it warns",
        "   2027-05-30  last passed 30 Nov 2024 + 2 years 6 months = 30 May 2027",
        "     b-look (law): page of b-look [practice]",
        "     overdue it bars nothing: it warns",
        "",
        "service-life: 2027-03-10, current",
        "=> 2027-03-10  made 10 Mar 2012 + 15 years = 10 Mar 2027",
        "     b-life (law): page of b-life [practice]",
        "     overdue it bars use and filling",
        "",
        "hydrostatic-retest: 2029-06-30, current, dropped: the service life ends first",
        "=> 2029-06-30  last passed 3 Jun 2024 + 5 years = end of month 30 Jun 2029",
        "     b-retest (law): page of b-retest [practice]",
        "     overdue it bars nothing: it warns",
        "",
        *GENERAL_CAUTION,
    ]


def test_the_command_gives_machines_the_same(bottle: Item) -> None:
    found = json.loads(said("00123", "--on", "2026-12-01", "--format", "json"))
    assert (found["tag"], found["on"], found["standing"]) == ("00123", "2026-12-01", "in-service")
    assert found["caution"] == " ".join(GENERAL_CAUTION)
    assert [
        (task["task"], task["due_on"], task["state"], task["dropped_by_service_life"])
        for task in found["tasks"]
    ] == [
        ("visual-inspection", "2026-11-30", "overdue", False),
        ("service-life", "2027-03-10", "current", False),
        ("hydrostatic-retest", "2029-06-30", "current", True),
    ]
    assert [
        (one["rule"], one["due_on"], one["counted_from"], one["basis_on"])
        for one in found["tasks"][0]["candidates"]
    ] == [
        # Of one day what happened comes first: it has no last good day (due/README 7).
        ("b-after", "2026-11-30", "event", "2026-11-30"),
        ("b-look-maker", "2026-11-30", "record", "2024-11-30"),
        ("b-look", "2027-05-30", "record", "2024-11-30"),
    ]
    assert found["tasks"][1]["candidates"] == [
        {
            "rule": "b-life",
            "table": "bottles",
            "level": "law",
            "source": "page of b-life",
            "seen": "practice",
            "asks": "service life 15 years",
            "bars": "use-and-filling",
            "bars_by": None,
            "due_on": "2027-03-10",
            "counted_from": "made",
            "basis_on": "2012-03-10",
            "arithmetic": "made 10 Mar 2012 + 15 years = 10 Mar 2027",
        }
    ]


def test_the_command_says_so_where_nothing_is_asked(bottle: Item) -> None:
    lines = said("00123", "--on", "2012-03-09").splitlines()
    assert lines[1:3] == [
        "on 2012-03-09: in-service",
        "no rule asks anything of it on that day",
    ]
    assert json.loads(said("00123", "--on", "2012-03-09", "--format", "json"))["tasks"] == []


def test_an_undetermined_date_is_empty_for_machines_and_named_for_people(bottle: Item) -> None:
    make_item(bottle.site, "00124", "cylinder")
    first = json.loads(said("00124", "--format", "json"))["tasks"][0]
    assert (first["due_on"], first["state"]) == (None, "undetermined")
    assert [one["counted_from"] for one in first["candidates"]] == [None]
    assert "hydrostatic-retest: no date, undetermined" in said("00124").splitlines()


def test_a_tag_that_is_not_registered_is_wrong_use(bottle: Item) -> None:
    with pytest.raises(CommandError, match="there is no item with the tag '123'") as ended:
        said("123")
    assert ended.value.returncode == 2

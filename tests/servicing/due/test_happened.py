"""What happened and what must be done since, said as the trade does (due/README 7)."""

from datetime import date, timedelta

import pytest

from servicing.due.pure.answer import answer
from servicing.due.pure.happened import not_yet
from servicing.due.pure.obligations import PASS, Item, Record, Standing, StandingWord, obligations
from servicing.due.pure.owed import Owed, worst_first
from servicing.due.pure.readiness import Member, readiness
from servicing.rules.pure.durations import Duration
from servicing.rules.pure.rule import Condition, Level, Rule

TODAY = date(2026, 11, 26)
FINE = Standing(StandingWord.IN_SERVICE)


def after(event: str, *tasks: str, on: date = TODAY) -> list[Owed]:
    """Return tasks that an event of a day asks for; "" stands for a failure of the task."""
    counted = "event" if event else "failure"
    return [Owed(task, on, on - timedelta(days=30), on, counted, event) for task in tasks]


@pytest.mark.parametrize(
    ("owed", "words"),
    [
        (after("use", "cleaning", "tightness-test"), "used today, not yet cleaned and tested"),
        (after("use", "functional-test", "tightness-test"), "used today, not yet tested"),
        (after("impact", "hydrostatic-retest"), "took a blow today, not yet retested"),
        (after("contamination", "internal-inspection"),
         "contaminated today, not yet inspected inside"),
        (after("overheating", "service-life"), "overheated today, which ends its service life"),
        (after("corrosion-found", "hydrostatic-retest"), "corrosion found today, not yet retested"),
        (after("relocation", "air-quality-test"),
         "moved today, not yet through its air quality test"),
        (after("cleaning", "tightness-test"), "cleaned today, not yet tested"),
        (after("", "functional-test"), "functional test failed today, not passed since"),
        (after("use", "cleaning", on=date(2026, 11, 25)), "used yesterday, not yet cleaned"),
        (after("use", "cleaning", on=date(2026, 11, 20)), "used on 20 Nov 2026, not yet cleaned"),
        ([*after("use", "cleaning"), *after("impact", "functional-test")],
         "used today, not yet cleaned; took a blow today, not yet tested"),
        (after("class-8-contents", "hydrostatic-retest"),
         "class 8 contents today, not yet retested"),
    ],
)  # fmt: skip
def test_what_happened_is_said_with_what_was_not_done_since(owed: list[Owed], words: str) -> None:
    assert not_yet(owed, TODAY) == words, "due/README 7: words as the trade says them"


def test_words_that_are_kept_name_the_day() -> None:
    assert not_yet(after("use", "cleaning"), None) == "used on 26 Nov 2026, not yet cleaned"


def a_rule(task: str, *, months: int = 0, notice: int = 1, events: tuple[str, ...] = ()) -> Rule:
    every = Duration(months) if months else None
    rule_id = f"r-{task}"
    return Rule(
        rule_id, "t", task, Level.MAKER, Condition(()), "source", "text",
        every=every, after=events, notice=Duration(notice),
    )  # fmt: skip


def said(*records: Record, rules: list[Rule]) -> tuple[str, str, str]:
    owed = obligations(Item({}, date(2026, 1, 1), None), records, rules, TODAY)
    found = answer("M7", FINE, owed, TODAY, TODAY)
    return found.state, found.sentence, found.reason


def test_a_mask_used_today_is_not_ready_and_its_first_line_says_what_to_do() -> None:
    rules = [a_rule("cleaning", events=("use",)), a_rule("tightness-test", events=("use",))]
    assert said(Record("use", TODAY, PASS), rules=rules) == (
        "overdue",
        "M7 is not ready: used today, not yet cleaned and tested.",
        "Before it is used it must be cleaned and tested.",
    )
    cleaned = Record("cleaning", TODAY, PASS)
    tested = Record("tightness-test", TODAY, PASS)
    assert said(Record("use", TODAY, PASS), cleaned, rules=rules)[1] == (
        "M7 is not ready: used today, not yet tested."
    )
    late = a_rule("overhaul", months=2)
    assert said(Record("use", TODAY, PASS), rules=[*rules, late])[1] == (
        "M7 is not ready: overhaul is overdue."
    ), "the oldest first"
    assert (
        said(Record("use", TODAY, PASS), cleaned, tested, rules=[*rules, a_rule("x", months=12)])[0]
        != "overdue"
    )


def test_the_first_line_speaks_of_the_task_whose_state_it_carries() -> None:
    """A long notice can run for a later date while an earlier one is still current."""
    rules = [a_rule("cleaning", months=12, notice=0), a_rule("overhaul", months=14, notice=6)]
    owed = obligations(Item({}, date(2026, 1, 1), None), (), rules, TODAY)
    assert [o.task for o in worst_first(owed, TODAY)] == ["overhaul", "cleaning"]
    assert said(rules=rules) == (
        "due-soon",
        "M7 has nothing overdue.",
        "Due soon: overhaul, due 1 Mar 2027 (in 3 months 3 days).",
    )


def test_a_set_used_today_is_not_ready_and_says_so_of_each_part() -> None:
    own = Member("S031", FINE, tuple(after("use", "functional-test")))
    mask = Member("mask M7", FINE, tuple(after("use", "cleaning", "tightness-test")))
    found = readiness(own, [mask], (), TODAY, TODAY)
    assert not found.ready
    assert found.sentence == "S031 is not ready: used today, not yet tested."
    assert found.reasons[1] == "mask M7: used today, not yet cleaned and tested"

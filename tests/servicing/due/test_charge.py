"""Overdue but full: what may become of the air inside."""

from datetime import date, timedelta

import pytest

from servicing.due.pure.charge import (
    ASK_FIRST,
    MAY_BE_USED_UP,
    NOT_TO_BE_USED,
    Debt,
    charge_state,
    filled_on,
)

DUE = date(2026, 6, 30)
TODAY = date(2026, 7, 20)
US, ADR = "49 CFR 180.205(c)", "ADR 4.1.6.10 (2019)"
AS = "AS 2337.3:2020 clause 4, note"
LETTER = "agency letter 09-0148: no topping up after the due date"


def retest(due_on: date | None = DUE, jurisdiction: str = "US", counted: str = "record") -> Debt:
    return debt("hydrostatic-retest", due_on, counted, jurisdiction)


def debt(task: str, due_on: date | None, counted: str, jurisdiction: str) -> Debt:
    """Return a debt as the engine dates it: what happened has no last good day."""
    late_by = timedelta(days=counted not in ("event", "failure"))
    overdue_on = due_on and due_on + late_by
    return Debt(task, due_on, due_on, overdue_on, counted, jurisdiction=jurisdiction)


ASK = ", if the local authority agrees"


@pytest.mark.parametrize(
    ("jurisdiction", "word", "asks", "source"),
    [
        ("US", MAY_BE_USED_UP, "", US),
        ("Australia", MAY_BE_USED_UP, "", AS),
        ("Europe and others that follow ISO", ASK_FIRST, ASK, ADR),
        ("Germany", ASK_FIRST, ASK, ADR),
    ],
)
def test_what_was_filled_in_time_may_be_used_up_and_not_refilled(
    jurisdiction: str, word: str, asks: str, source: str
) -> None:
    found = charge_state(date(2026, 5, 10), [retest(jurisdiction=jurisdiction)], TODAY)
    assert found, source
    assert found.word == word, source
    assert found.sentence == (
        "Filled on 10 May 2026, before its hydrostatic retest fell due on 30 Jun 2026: "
        f"may be used up{asks}, not refilled or topped up."
    ), LETTER
    assert found.source.startswith(source.partition(" (2019)")[0].partition(", note")[0])


def test_the_due_day_itself_is_in_time() -> None:
    assert charge_state(DUE, [retest()], DUE) is None
    found = charge_state(DUE, [retest()], TODAY)
    assert found
    assert found.word == MAY_BE_USED_UP, US


def test_what_was_filled_too_late_is_let_out() -> None:
    found = charge_state(date(2026, 7, 1), [retest()], TODAY)
    assert found
    assert found.word == NOT_TO_BE_USED, US
    assert "should not have been filled" in found.sentence


def test_the_end_of_life_is_harder_than_an_overdue_retest() -> None:
    life = debt("service-life", date(2026, 7, 1), "made", "US")
    found = charge_state(date(2026, 5, 10), [retest(), life], TODAY)
    source = "49 CFR 180.205(c): stated service life; Tukes, release of 16 February 2015"
    assert found, source
    assert found.word == NOT_TO_BE_USED, source
    assert "service life ended on 1 Jul 2026" in found.sentence, source
    assert "neither use nor refill" in found.sentence, source


@pytest.mark.parametrize("counted", ["event", "failure"])
def test_after_a_blow_or_a_failure_nothing_is_said_of_using_it_up(counted: str) -> None:
    debts = [retest(), debt("hydrostatic-retest", date(2026, 7, 10), counted, "US")]
    assert charge_state(date(2026, 5, 10), debts, TODAY) is None, "49 CFR 180.205(d)"


def test_nothing_is_said_without_a_charge_or_a_debt() -> None:
    assert charge_state(None, [retest()], TODAY) is None
    assert charge_state(date(2026, 5, 10), [retest(date(2027, 1, 31))], TODAY) is None
    assert charge_state(date(2026, 5, 10), [retest(None, counted="")], TODAY) is None


@pytest.mark.parametrize(
    ("past", "expected"),
    [
        ([], None),
        ([("fill", 3, "pass")], 3),
        ([("fill", 3, "pass"), ("use", 5, "pass")], None),
        ([("fill", 3, "pass"), ("use", 5, "pass"), ("fill", 6, "pass")], 6),
        ([("use", 6, "pass"), ("fill", 6, "pass")], 6),  # one day: in the order entered
        ([("fill", 6, "pass"), ("use", 6, "pass")], None),
        ([("use", 9, "pass"), ("fill", 3, "pass")], None),  # entered late
        ([("fill", 3, "pass"), ("fill", 5, "fail"), ("cleaning", 6, "pass")], 3),
        ([("fill", 3, "pass"), ("emptied", 5, "pass")], None),
        ([("fill", 3, "pass"), ("emptied", 5, "pass"), ("fill", 5, "pass")], 5),
        ([("fill", 3, "pass"), ("hydrostatic-retest", 5, "pass")], None),  # water went in
        ([("fill", 3, "pass"), ("hydrostatic-retest", 5, "fail")], None),
        ([("hydrostatic-retest", 5, "condemned"), ("fill", 3, "pass")], None),
        ([("hydrostatic-retest", 5, "pass"), ("fill", 5, "pass")], 5),
        ([("fill", 3, "pass"), ("internal-inspection", 5, "fail")], None),  # the valve came out
        ([("fill", 3, "pass"), ("periodic-inspection", 5, "pass")], 3),  # from outside
        ([("fill", 3, "fail")], None),
    ],
)
def test_the_last_filling_that_nothing_let_out(
    past: list[tuple[str, int, str]], expected: int | None
) -> None:
    days = [(task, date(2026, 3, day), outcome) for task, day, outcome in past]
    assert filled_on(days) == (date(2026, 3, expected) if expected else None), "common practice"

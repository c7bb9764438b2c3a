"""The date on the shoulder: the earlier of what is marked and the rule's own (due/README 14)."""

from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from servicing.due.pure.ahead import Rounds, ahead_of
from servicing.due.pure.explain import arithmetic, difference
from servicing.due.pure.obligations import (
    FAIL,
    PASS,
    CountedFrom,
    Item,
    Obligation,
    Record,
    State,
    asked,
    obligations,
    standing,
)
from servicing.due.pure.owed import owed_of
from servicing.ledger.pure.entry import Reading
from servicing.ledger.pure.shoulder import Marked, Shoulder, marked, shoulder_faults, shoulder_of
from servicing.rules.pure.clocks import Clock, Late
from servicing.rules.pure.durations import Duration, month_end
from servicing.rules.pure.rule import SERVICE_LIFE, Basis, Rule

from .test_laws import DAYS, World, a_rule, due, worlds

TESTED = date(2024, 6, 8)
FIVE_YEARS = a_rule(1, "test", every=Duration(60))
THREE_YEARS = a_rule(2, "test", every=Duration(36))
AS_MARKED = a_rule(900, SERVICE_LIFE, life_as_marked=True)
CYLINDER = Item({}, date(2020, 1, 15), None)


def owing(
    *rules: Rule,
    next_test: str = "",
    life_end: str = "",
    item: Item = CYLINDER,
    more: tuple[Record, ...] = (),
) -> dict[str, Obligation]:
    """Return what is owed in 2025 by task after a test that was marked so."""
    test, end = (marked(text) if text else None for text in (next_test, life_end))
    records = [Record("test", TESTED, PASS, None, test, end), *more]
    return {o.task: o for o in obligations(item, records, rules, date(2025, 1, 1))}


@pytest.mark.parametrize(
    ("text", "last", "words"),
    [
        ("06/2028", date(2028, 6, 30), "06/2028"),
        ("2028/6", date(2028, 6, 30), "06/2028"),
        ("2028-02", date(2028, 2, 29), "02/2028"),
        ("2028-06-08", date(2028, 6, 8), "8 Jun 2028"),
    ],
)
def test_a_mark_is_a_month_through_its_last_day_or_a_day(text: str, last: date, words: str) -> None:
    assert (marked(text).last, marked(text).words) == (last, words)
    assert marked(marked(text).text) == marked(text)


def test_an_earlier_stamp_governs_and_tells_what_the_rule_alone_gives() -> None:
    owed = owing(FIVE_YEARS, next_test="06/2028")["test"]
    assert (owed.due_on, owed.counted_from, owed.basis_on) == (
        date(2028, 6, 30),
        CountedFrom.STAMP,
        TESTED,
    )
    assert owed.state(date(2028, 6, 30)) is State.DUE_SOON, "due/README 7: the last good day"
    assert owed.state(date(2028, 7, 1)) is State.OVERDUE
    assert arithmetic(owed.governing) == (
        "stamped on it when tested on 8 Jun 2024: next test 06/2028, good through 30 Jun 2028; "
        "the rule alone: last passed 8 Jun 2024 + 5 years = 8 Jun 2029"
    )
    assert difference(owed) == (
        "Stamped on it: 06/2028. By rule r001: 8 Jun 2029 (last passed 8 Jun 2024 + 5 years = "
        "8 Jun 2029; source). Of the two the earlier counts: the stamp."
    )


def test_of_rules_with_one_mark_the_one_that_alone_goes_first_governs() -> None:
    """And not the wider law, whose notice would be another."""
    ten_years = a_rule(0, "test", every=Duration(120))
    owed = owing(ten_years, FIVE_YEARS, next_test="06/2028")["test"]
    assert [each.rule.id for each in owed.candidates] == ["r001", "r000"]


def test_a_later_stamp_moves_nothing_and_is_told() -> None:
    owed = owing(FIVE_YEARS, THREE_YEARS, next_test="06/2029")["test"]
    assert (owed.due_on, owed.counted_from) == (date(2027, 6, 8), CountedFrom.RECORD)
    assert difference(owed).endswith("Of the two the earlier counts: the rule.")
    assert [(o.stamp_words, o.stamp_differs) for o in owed_of([owed])] == [("06/2029", True)]


@pytest.mark.parametrize("stamp", ["06/2029", "2029-06-08"])
def test_a_stamp_that_says_the_same_is_no_difference(stamp: str) -> None:
    """A month says the same as any day in it; the rule's own day stays the last good one."""
    owed = owing(FIVE_YEARS, next_test=stamp)["test"]
    assert (owed.due_on, owed.counted_from) == (date(2029, 6, 8), CountedFrom.RECORD)
    assert difference(owed) == ""


def test_a_later_test_without_a_mark_ends_what_was_marked_before() -> None:
    again = Record("test", date(2024, 9, 1), PASS)
    owed = owing(FIVE_YEARS, next_test="06/2025", more=(again,))["test"]
    assert (owed.due_on, owed.stamp) == (date(2029, 9, 1), None)


def test_a_failure_goes_before_the_stamp_which_is_still_told() -> None:
    failed = Record("test", date(2024, 9, 1), FAIL)
    owed = owing(FIVE_YEARS, next_test="06/2025", more=(failed,))["test"]
    assert (owed.counted_from, owed.stamp) == (CountedFrom.FAILURE, marked("06/2025"))
    assert difference(owed) == ""


def test_a_stamped_end_of_life_ends_it_where_nobody_entered_a_design_life() -> None:
    owed = owing(FIVE_YEARS, AS_MARKED, life_end="01/2027")
    assert list(owed) == [SERVICE_LIFE], "due/README 5: no test after the end"
    assert owed[SERVICE_LIFE].due_on == date(2027, 1, 31)
    assert difference(owed[SERVICE_LIFE]) == "", "there is no other date to differ from"


def test_a_design_life_and_a_stamped_end_the_earlier_counts() -> None:
    limited = Item({"design_life_years": 15}, date(2020, 1, 15), None)
    later = owing(AS_MARKED, life_end="02/2035", item=limited)[SERVICE_LIFE]
    assert (later.due_on, later.counted_from) == (date(2035, 1, 15), CountedFrom.MADE)
    assert difference(later) != ""
    extended = Record("test", date(2024, 12, 1), PASS, None, None, marked("06/2033"))
    sooner = owing(AS_MARKED, life_end="06/2028", item=limited, more=(extended,))[SERVICE_LIFE]
    assert sooner.due_on == date(2033, 6, 30), "extended by mark: what was marked last"


def test_a_late_pass_goes_by_the_rules_own_dates() -> None:
    """So a stamp of once can't put off the dates after it."""
    back = a_rule(3, "test", every=Duration(12), clock=Clock(late=Late()))
    again = Record("test", date(2025, 9, 1), PASS)
    records = [Record("test", TESTED, PASS, None, marked("12/2024")), again]
    for marks in (records, [Record("test", TESTED, PASS), again]):
        (owed,) = obligations(CYLINDER, marks, [back], date(2025, 10, 1))
        assert (owed.due_on, owed.basis_on) == (date(2026, 6, 8), date(2025, 6, 8))


MARKS = st.tuples(st.integers(0, len(DAYS) - 1), st.booleans())


def stamped(world: World, marks: list[tuple[int, bool]]) -> World:
    """Return a world in which passes bear marks of the next test and of the end of life."""
    each = [Marked(month_end(DAYS[n]) if to_month else DAYS[n], to_month) for n, to_month in marks]
    records = tuple(
        Record(r.task, r.done_on, r.outcome, r.part_made_on, each[2 * n], each[2 * n + 1])
        if r.outcome == PASS and 2 * n + 1 < len(each)
        else r
        for n, r in enumerate(world.records)
    )
    return World(world.item, records, world.rules, world.on, world.record, world.rule)


@settings(max_examples=500, deadline=None, derandomize=True)
@given(worlds(dated=False), st.lists(MARKS, max_size=16))
def test_a_stamp_never_makes_a_date_later(world: World, marks: list[tuple[int, bool]]) -> None:
    with_stamps = stamped(world, marks)
    before, after = world.asked(), with_stamps.asked()
    assert before.keys() <= after.keys()
    assert {*after} - {*before} <= {SERVICE_LIFE}, "a life that was not limited"
    for task, due_on in before.items():
        assert due(after, task) <= due_on, task
    bad = {State.OVERDUE, State.UNDETERMINED}
    if bad.intersection(o.state(world.on) for o in world.owed()):
        assert bad.intersection(o.state(world.on) for o in with_stamps.owed())
    assert standing(world.item, with_stamps.records, world.rules, world.on) == standing(
        world.item, world.records, world.rules, world.on
    )


@settings(max_examples=300, deadline=None, derandomize=True)
@given(worlds(dated=False), st.lists(MARKS, max_size=16))
def test_what_governs_is_the_stamp_or_what_the_rules_alone_would_say(
    world: World, marks: list[tuple[int, bool]]
) -> None:
    alone = {o.task: {c.rule.id: c.due_on for c in o.candidates} for o in asked(
        world.item, world.records, world.rules, world.on
    )}  # fmt: skip
    for owed in asked(world.item, stamped(world, marks).records, world.rules, world.on):
        for each in owed.candidates:
            rule_says = alone.get(owed.task, {}).get(each.rule.id)
            if each.counted_from is CountedFrom.STAMP:
                assert each.stamp is not None
                assert each.due_on == each.stamp.last
                assert (each.own.due_on if each.own else None) == rule_says
            elif each.counted_from is not CountedFrom.FAILURE:
                assert each.due_on == rule_says


def test_the_work_ahead_does_the_stamped_test_first_and_then_goes_by_the_rule() -> None:
    record = Record("test", TESTED, PASS, None, marked("06/2026"))
    comings = ahead_of(CYLINDER, [record], [FIVE_YEARS], date(2025, 1, 1), date(2032, 1, 1))
    assert [each.on for each in comings] == [date(2026, 6, 30), date(2031, 6, 30)]
    early = a_rule(4, "test", every=Duration(60), clock=Clock(late=Late()))
    owed = obligations(CYLINDER, [record], [early], date(2025, 1, 1))
    assert Rounds([FIVE_YEARS], date(2025, 1, 1)).told_by_first(owed, date(2025, 1, 1))
    assert not Rounds([early], date(2025, 1, 1)).told_by_first(owed, date(2027, 1, 1))


@pytest.mark.parametrize(
    ("said", "word"),
    [
        (Shoulder(next_test="05/2024"), "before the test"),
        (Shoulder(next_test="06/2024"), "when it was tested"),
        (Shoulder(next_test="2024-06-08"), "when it was tested"),
        (Shoulder(next_test="06/2054"), "more than 20 years"),
        (Shoulder(next_test="soon"), "is neither a month nor a day"),
        (Shoulder(next_test="06/29"), "all four figures of the year"),
        (Shoulder(next_test="3/4/2029"), "can be 3 April or 4 March"),
        (Shoulder(life_end="05/2024"), "before the test"),
        (Shoulder(life_end="06/2094"), "more than 60 years"),
        (Shoulder(permit="x" * 41), "longer than 40"),
    ],
)
def test_what_nobody_can_have_marked_is_refused_in_words(said: Shoulder, word: str) -> None:
    (fault,) = shoulder_faults(said, TESTED)
    assert word in fault[1]


def test_what_can_be_marked_is_taken() -> None:
    said = Shoulder("07/2024", "06/2024", "SP-1", "A123")
    assert list(shoulder_faults(said, TESTED)) == []
    assert shoulder_of(said.readings) == said
    unread = Reading("stamped next test", "as before")
    assert shoulder_of([unread]).dates == (None, None), "of a list of an earlier release"
    assert shoulder_of([("mark", "9 [A1/32] 06")]) == Shoulder()


def test_a_part_counts_by_its_made_date_beside_the_stamp() -> None:
    by_part = a_rule(5, "test", every=Duration(12), counted_from=Basis.PART_MADE)
    record = Record("test", TESTED, PASS, TESTED - timedelta(days=300), marked("03/2025"))
    (owed,) = obligations(CYLINDER, [record], [by_part], date(2024, 7, 1))
    assert owed.counted_from is CountedFrom.PART_MADE

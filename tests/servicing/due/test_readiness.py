"""A set is as good as its worst part: the state, and the sentence that says why."""

from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicing.due.pure.obligations import Standing, StandingWord
from servicing.due.pure.owed import Owed
from servicing.due.pure.readiness import INCOMPLETE, READY, WORST, Member, readiness

ON = date(2026, 11, 25)
FINE = Standing(StandingWord.IN_SERVICE)


def owed(task: str, days: int | None) -> Owed:
    """Return a task due in so many days, with 30 days' notice."""
    due_on = None if days is None else ON + timedelta(days=days)
    return of(task, due_on, due_on and due_on - timedelta(days=30))


def of(task: str, due_on: date | None, soon_on: date | None) -> Owed:
    """Return a task by the calendar: its due date is the last good day."""
    return Owed(task, due_on, soon_on, due_on and due_on + timedelta(days=1), "record")


def member(name: str, *tasks: Owed, standing: Standing = FINE) -> Member:
    return Member(name, standing, tasks)


SET = member("S031", owed("flow-test", 200))
GOOD = member("mask M1", owed("tightness-test", 100))
SOON = member("reducer R1", owed("overhaul", 10))
EARLY = member("mask M1", owed("tightness-test", 40))
RETEST = member("cylinder C1", of("hydrostatic-retest", date(2027, 2, 13), date(2026, 11, 13)))
LATE = member("cylinder C117", owed("external-inspection", 90), owed("hydrostatic-retest", -26))
UNKNOWN = member("frame F1", owed("overhaul", None))
UNASKED = member("connector K1")
OUT = member(
    "demand valve V1",
    owed("functional-test", -3),
    standing=Standing(StandingWord.OUT_OF_SERVICE, date(2026, 11, 22), "functional-test"),
)
DEAD = member("cylinder C9", standing=Standing(StandingWord.CONDEMNED, date(2026, 1, 5), "x"))


@pytest.mark.parametrize(
    ("parts", "faults", "state", "sentence"),
    [
        (
            (GOOD,),
            (),
            "current",
            "ready. First due: mask M1: tightness test by 5 Mar 2027 (in 3 months 8 days).",
        ),
        ((GOOD, SOON), (), "due-soon", "S031 is ready. Due soon: reducer R1: overhaul by 5 Dec"),
        (
            (GOOD, LATE),
            (),
            "overdue",
            "cylinder C117: hydrostatic retest is overdue, it was due on 30 Oct 2026: "
            "26 days over.",
        ),
        (
            (GOOD, UNKNOWN),
            (),
            "undetermined",
            "not ready: frame F1: overhaul can't be dated",
        ),
        (
            (GOOD, UNASKED),
            (),
            "undetermined",
            "connector K1: no rule asks anything of it",
        ),
        (
            (LATE, replace(GOOD, doubt="in doubt: its tightness test")),
            (),
            "in-doubt",
            "S031 is not ready: mask M1: in doubt: its tightness test",
        ),
        ((OUT, LATE), (), "out-of-service", "demand valve V1: out of service since 22 Nov 2026."),
        ((OUT, DEAD), (), "condemned", "not ready: cylinder C9: condemned since 5 Jan 2026."),
        ((GOOD,), ("the mask is missing",), INCOMPLETE, "S031 is not ready: the mask is missing."),
        ((LATE,), ("the mask is missing",), INCOMPLETE, "S031 is not ready: the mask is missing."),
        ((EARLY, RETEST), (), "due-soon", "Due soon: cylinder C1: hydrostatic retest by 13 Feb"),
        ((), (), "current", "flow test by 13 Jun 2027 (in 6 months 19 days)."),
    ],
)
def test_a_set_is_as_good_as_its_worst_part(
    parts: tuple[Member, ...], faults: tuple[str, ...], state: str, sentence: str
) -> None:
    found = readiness(SET, parts, faults, ON)
    assert found.state == state
    assert sentence in found.sentence
    assert found.ready == (state in ("current", "due-soon"))


def test_every_reason_is_given_the_worst_first() -> None:
    own = member("S031", owed("flow-test", -1))
    found = readiness(own, (LATE, DEAD, GOOD, UNKNOWN), ("the mask is missing",), ON)
    assert [reason.partition(",")[0] for reason in found.reasons] == [
        "cylinder C9: condemned since 5 Jan 2026",
        "the mask is missing",
        "flow test is overdue",
        "cylinder C117: hydrostatic retest is overdue",
        "frame F1: overhaul can't be dated: no record and no made date to count from",
    ]


def test_the_due_day_itself_is_good() -> None:
    assert readiness(SET, (member("mask M1", owed("cleaning", 0)),), (), ON).ready
    assert not readiness(SET, (member("mask M1", owed("cleaning", -1)),), (), ON).ready


MEMBERS = st.sampled_from(
    (GOOD, SOON, EARLY, RETEST, LATE, UNKNOWN, UNASKED, OUT, DEAD, replace(GOOD, doubt="in doubt"))
)


@given(MEMBERS, st.lists(MEMBERS, max_size=6), st.lists(st.just("the mask is missing"), max_size=1))
def test_a_set_is_never_readier_than_its_parts(
    own: Member, parts: list[Member], faults: list[str]
) -> None:
    found = readiness(own, parts, faults, ON)
    words = [member.worst(ON)[0] for member in (own, *parts)]
    assert found.ready == (not faults and all(word in READY for word in words))
    assert all(WORST.index(found.state) <= WORST.index(word) for word in words)

"""Which station a change leaves with too few ready sets: the sums alone. due/README 13."""

from collections.abc import Collection, Iterable
from datetime import date
from unittest.mock import patch

import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicing.due.pure.turnout import Shortfall, Station, Stood, ready_at, shortfall
from servicing.due.queries import turnout

SITES = (1, 2, 3)
STOODS = st.dictionaries(
    st.integers(0, 12), st.tuples(st.sampled_from(SITES), st.booleans()), max_size=12
).map(lambda found: {pk: Stood(f"S{pk}", site, ready) for pk, (site, ready) in found.items()})
STATIONS = st.lists(
    st.builds(
        Station,
        st.just("ST"),
        st.just("Station"),
        st.none() | st.integers(0, 6),
        st.frozensets(st.sampled_from(SITES)),
    ),
    max_size=3,
)


def sets(ready: int, of: int, site: int = 1) -> dict[int, Stood]:
    return {n: Stood(f"S{n}", site, ready=n < ready, sentence="why") for n in range(of)}


@pytest.mark.parametrize(
    ("least", "before", "after", "falls"),
    [
        (6, 9, 7, []),
        (6, 9, 6, []),  # the least number itself is enough
        (6, 9, 5, [(9, 5)]),
        (6, 5, 4, [(5, 4)]),  # below already, and one less again
        (6, 5, 5, []),
        (6, 4, 5, []),
        (0, 2, 0, []),
        (None, 9, 0, []),
    ],
)
def test_a_station_falls_where_a_change_leaves_it_below_its_least_number(
    least: int | None, before: int, after: int, falls: list[tuple[int, int]]
) -> None:
    station = Station("ST1", "Station one", least, frozenset({1}))
    found = shortfall(sets(before, 9), sets(after, 9), [station])
    assert [(fall.before, fall.after) for fall in found.falls] == falls
    assert [stood.tag for stood in found.stops] == [f"S{n}" for n in range(after, before)]


def test_a_fall_is_said_by_name_from_how_many_to_how_many() -> None:
    station = Station("ST1", "Station one", 2, frozenset({1}))
    [fall] = shortfall(sets(3, 3), sets(1, 3), [station]).falls
    assert fall.words == (
        "Station one falls below its least number: from 3 to 1 ready set, and 2 are the least"
    )


def test_a_station_that_is_below_already_falls_further() -> None:
    station = Station("ST1", "Station one", 4, frozenset({1}))
    [fall] = shortfall(sets(3, 3), sets(2, 3), [station]).falls
    assert fall.words == (
        "Station one falls further below its least number: from 3 to 2 ready sets, "
        "and 4 are the least"
    )


def test_a_ready_set_that_moves_away_counts_where_it_goes() -> None:
    old = Station("A", "A", 1, frozenset({1}))
    new = Station("B", "B", 1, frozenset({2}))
    found = shortfall(sets(1, 1), sets(1, 1, site=2), [old, new])
    assert [fall.code for fall in found.falls] == ["A"]
    assert found.stops == ()


@given(STOODS, STOODS, STATIONS)
def test_what_is_said_to_fall_is_what_then_is_below_and_has_lost(
    before: dict[int, Stood], after: dict[int, Stood], stations: list[Station]
) -> None:
    found = shortfall(before, after, stations)
    said = [(fall.least, fall.before, fall.after) for fall in found.falls]
    counted = [
        (each.least, ready_at(each, before.values()), ready_at(each, after.values()))
        for each in stations
    ]
    assert said == [
        (least, was, becomes)
        for least, was, becomes in counted
        if least is not None and becomes < min(least, was)
    ]
    assert not shortfall(before, before, stations).falls
    assert (found == Shortfall()) <= all(
        pk in after and after[pk].ready for pk, stood in before.items() if stood.ready
    )


@given(STOODS, STOODS, STATIONS)
def test_counting_only_what_a_change_touched_says_the_same_as_counting_all(
    world: dict[int, Stood], before: dict[int, Stood], stations: list[Station]
) -> None:
    """`fallen_since` reads the other sets of a station only where one of the touched was lost."""
    touched = {pk: before[pk] for pk in before.keys() & world.keys()}

    def stood(only: Collection[int] | None = None, on: date | None = None) -> dict[int, Stood]:
        return {pk: each for pk, each in world.items() if only is None or pk in only}

    def sets_at(concerned: Iterable[Station]) -> list[int]:
        sites = {site for station in concerned for site in station.sites}
        return [pk for pk, each in world.items() if each.site in sites]

    with (
        patch.object(turnout, "sets_stood", stood),
        patch.object(turnout, "stations", lambda: stations),
        patch.object(turnout, "_sets_at", sets_at),
    ):
        found = turnout.fallen_since(touched, touched.keys())
    assert found == shortfall({**world, **touched}, world, stations)

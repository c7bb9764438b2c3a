"""Two desks at once, many times on either engine: one of the two serial outcomes, no third (C8)."""

import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from django.db import connection, connections

from registry.items.models import Item
from registry.sets.actions import FittingRefused, fit_part, remove_part
from registry.sets.models import Fitting
from registry.sites.clock import now
from tests.conftest import RACE_ROUNDS, copy_database
from tests.registry.sets.conftest import DAY

Act = Callable[[int], object]
pytestmark = [pytest.mark.race, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def desks(sets: list[Item], tmp_path: Path) -> Iterator[None]:
    """Let threads write to one database; SQLite's in memory becomes a file for them."""
    if connection.vendor == "postgresql":
        yield
        return
    settings = connections.settings["default"]
    name, settings["NAME"] = settings["NAME"], str(tmp_path / "race.sqlite3")
    copy_database(Path(settings["NAME"]))
    yield
    settings["NAME"] = name


def raced(
    one: Callable[[int], object], other: Callable[[int], object], after: Callable[[], None]
) -> list[tuple[object, object]]:
    """Run two desks against each other for all rounds; return what each got in each round."""
    got: dict[int, list[object]] = {0: [], 1: []}
    start, end = threading.Barrier(2), threading.Barrier(2)
    faults: list[BaseException] = []

    def desk(number: int, act: Act) -> None:
        try:
            for turn in range(RACE_ROUNDS):
                start.wait(30)
                try:
                    got[number].append(act(turn))
                except FittingRefused as refused:
                    got[number].append(refused)
                end.wait(30)
                if number == 0:
                    after()
        except BaseException as fault:  # noqa: BLE001 (told in the test's own thread)
            faults.append(fault)
            start.abort()
            end.abort()
        finally:
            connections.close_all()

    threads = [threading.Thread(target=desk, args=pair) for pair in enumerate((one, other))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(120)
    assert faults == []
    return list(zip(got[0], got[1], strict=True))


def counted() -> list[int]:
    """Return how many rows are open, and how many there are, as the desks see them."""
    found: list[int] = []

    def count() -> None:
        found.extend([Fitting.objects.open().count(), Fitting.objects.count()])
        connections.close_all()

    thread = threading.Thread(target=count)
    thread.start()
    thread.join(30)
    return found


def test_a_part_goes_into_one_of_two_sets(desks: None, sets: list[Item], masks: list[Item]) -> None:
    def into(set_item: Item) -> Act:
        return lambda turn: fit_part(
            set_item=set_item,
            part=masks[0],
            on=DAY,
            by=None,
            at=now(),
            entry_key=f"{set_item.tag}-{turn}",
        )

    def out() -> None:
        fitting = Fitting.objects.open().get()  # more than one would end the test
        remove_part(fitting=fitting, on=DAY, by=None, at=now(), entry_key=f"out-{fitting.pk}")

    pairs = raced(into(sets[0]), into(sets[1]), out)
    for pair in pairs:
        words = sorted(type(each).__name__ for each in pair)
        assert words == ["Fitting", "FittingRefused"]
    refused = [str(each) for pair in pairs for each in pair if isinstance(each, FittingRefused)]
    assert all("M001 is in S00" in words for words in refused)
    assert counted() == [0, RACE_ROUNDS]


def test_a_place_holds_one_of_two_parts(desks: None, sets: list[Item], masks: list[Item]) -> None:
    def put(item: Item) -> Act:
        return lambda turn: fit_part(
            set_item=sets[0], part=item, on=DAY, by=None, at=now(), entry_key=f"{item.tag}-{turn}"
        )

    def look() -> None:
        fitting = Fitting.objects.open().get()
        remove_part(fitting=fitting, on=DAY, by=None, at=now(), entry_key=f"out-{fitting.pk}")

    pairs = raced(put(masks[0]), put(masks[1]), look)
    # Whoever comes second takes the first one out: both serial outcomes are good.
    assert all(isinstance(each, Fitting) for pair in pairs for each in pair)
    assert counted() == [0, 2 * RACE_ROUNDS]


def test_the_same_form_twice_at_once_fits_once(
    desks: None, sets: list[Item], masks: list[Item]
) -> None:
    def send(turn: int) -> object:
        return fit_part(
            set_item=sets[0], part=masks[0], on=DAY, by=None, at=now(), entry_key=f"form-{turn}"
        ).pk

    def out() -> None:
        fitting = Fitting.objects.open().get()
        remove_part(fitting=fitting, on=DAY, by=None, at=now(), entry_key=f"out-{fitting.pk}")

    assert all(one == other for one, other in raced(send, send, out))
    assert counted() == [0, RACE_ROUNDS]

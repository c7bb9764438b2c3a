"""Two desks at once: of conflicting truths exactly one wins, on both engines (C5, C7, C8, X5).

Each pair is raced many times behind a barrier. The tables are shared by all rounds, for
the making of a test database is what takes time; each round has an item of its own. On
SQLite the database is a file, for threads share nothing of one in memory.
"""

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from functools import partial
from pathlib import Path
from threading import Barrier

import pytest
from django.contrib.auth.models import User
from django.db import connection, connections, transaction

from registry.items.models import Item
from registry.people.actions import add_person, make_roles
from registry.people.pure import Role
from registry.sites.clock import today_at
from registry.sites.models import Site
from registry.trail.pure import name_of
from servicing.due.actions.corrections import correct_record
from servicing.due.actions.services import (
    ItemChangedMeanwhile,
    Service,
    ServiceRefused,
    log_service,
)
from servicing.due.actions.standing import condemn, return_to_service, withdraw
from servicing.due.queries.engine import owes
from servicing.ledger.actions import AlreadyCorrected, EntryKeyUsedTwice
from servicing.ledger.models import Record
from servicing.ledger.queries.records import last_position
from servicing.ledger.queries.whole import ledger_faults
from tests.conftest import RACE_ROUNDS, copy_database
from tests.people import PASSWORD, make_item

WHY = "The other mask was on the bench."
REFUSED = (ServiceRefused, AlreadyCorrected, EntryKeyUsedTwice)
Deed = Callable[[], object]
pytestmark = [pytest.mark.race, pytest.mark.usefixtures("a_file")]


@pytest.fixture
def a_file(transactional_db: None, tmp_path: Path) -> Iterator[None]:
    """On SQLite, a copy of the test database in a file, in which threads meet."""
    if connection.vendor != "sqlite":
        # What is raced is who comes first, not whether the disk has it.
        with connection.cursor() as cursor:
            name = connection.ops.quote_name(connection.settings_dict["NAME"])
            cursor.execute(f"ALTER DATABASE {name} SET synchronous_commit = off")
        yield
        return
    name = str(tmp_path / "races.sqlite3")
    copy_database(Path(name))
    usual = connection.settings_dict["NAME"]
    kept, connection.connection = connection.connection, None
    connection.settings_dict["NAME"] = name
    yield
    connection.close()
    connection.settings_dict["NAME"] = usual
    connection.connection = kept


@pytest.fixture
def place(a_file: None) -> Site:
    """A site that asks nothing, so that a round costs little."""
    return Site.objects.create(code="R1", name="Racing shed", timezone="Europe/Vienna")


@pytest.fixture
def people(place: Site) -> tuple[User, User]:
    make_roles()
    made = [
        add_person(username=name, full_name=name.title(), role=role, site=place, password=PASSWORD)
        for name, role in (("mara", Role.MANAGER), ("tove", Role.TECHNICIAN))
    ]
    return made[0], made[1]


def at_once(pool: ThreadPoolExecutor, deeds: Sequence[Deed]) -> list[object]:
    """Do everything at the same moment; return what each came to, its refusal included."""
    barrier = Barrier(len(deeds))

    def run(deed: Deed) -> object:
        barrier.wait(timeout=30)
        try:
            return deed()
        except REFUSED as refusal:
            return refusal

    return [future.result(timeout=60) for future in [pool.submit(run, deed) for deed in deeds]]


@pytest.fixture
def pool() -> Iterator[ThreadPoolExecutor]:
    """Threads that leave no connection open behind them."""
    with ThreadPoolExecutor(20) as threads:
        yield threads
        barrier = Barrier(20)

        def close() -> None:
            barrier.wait(timeout=30)
            connections.close_all()

        for future in [threads.submit(close) for _ in range(20)]:
            future.result(timeout=60)


def a_test(item: Item, outcome: str = "pass", note: str = "") -> Service:
    return Service("tightness-test", today_at(item.site), outcome, "Tove", note=note)


def masks(place: Site) -> list[Item]:
    """Return a mask for each round; made in one transaction, for each one waits for the disk."""
    with transaction.atomic():
        return [make_item(place, f"R-{number}") for number in range(RACE_ROUNDS)]


def test_the_same_form_twenty_times_at_once_is_one_record(
    place: Site, people: tuple[User, User], pool: ThreadPoolExecutor
) -> None:
    item = make_item(place, "T-1")
    other = replace(a_test(item), note="something else")

    def enter(service: Service, key: str) -> Record:
        return log_service(item=item, service=service, user=people[1], entry_key=key)

    answers = at_once(pool, [partial(enter, a_test(item), "same")] * 20)
    assert {getattr(answer, "pk", answer) for answer in answers} == {Record.objects.get().pk}
    two = [partial(enter, a_test(item), "key"), partial(enter, other, "key")]
    answers = at_once(pool, two * 10)
    assert sum(isinstance(answer, EntryKeyUsedTwice) for answer in answers) == 10
    assert Record.objects.count() == 2
    assert list(ledger_faults()) == []


def test_condemning_and_returning_at_once_end_as_one_of_both_orders(
    place: Site, people: tuple[User, User], pool: ThreadPoolExecutor
) -> None:
    manager, technician = people
    items = masks(place)
    with transaction.atomic():
        for item in items:
            withdraw(item=item, reason=WHY, user=technician, entry_key=f"out {item.tag}")
    for item in items:

        def end(item: Item = item) -> Record:
            key = f"end {item.tag}"
            return condemn(item=item, reason=WHY, user=manager, entry_key=key)

        def back(item: Item = item) -> Record:
            key = f"back {item.tag}"
            return return_to_service(item=item, reason=WHY, user=technician, entry_key=key)

        condemned, returned = at_once(pool, [end, back])
        assert isinstance(condemned, Record)  # it may follow a return
        tasks = list(item.records.order_by("position").values_list("task", flat=True))
        if isinstance(returned, Record):
            assert tasks == ["withdrawal", "return-to-service", "condemnation"]
        else:
            assert tasks == ["withdrawal", "condemnation"]
        assert owes(item, today_at(place))[0].word == "condemned"
    assert list(ledger_faults()) == []


def test_of_two_corrections_of_a_record_exactly_one_wins(
    place: Site, people: tuple[User, User], pool: ThreadPoolExecutor
) -> None:
    items = masks(place)
    with transaction.atomic():
        records = [
            log_service(item=item, service=a_test(item), user=people[1], entry_key=item.tag)
            for item in items
        ]
    for item, record in zip(items, records, strict=True):

        def correct(who: int, record: Record = record, item: Item = item) -> Record:
            return correct_record(
                record=record,
                service=a_test(item, note=f"by {who}"),
                reason=WHY,
                user=people[who],
                entry_key=f"{item.tag} by {who}",
            )

        answers = at_once(pool, [lambda: correct(0), lambda: correct(1)])
        [lost] = [answer for answer in answers if isinstance(answer, AlreadyCorrected)]
        [won] = [answer for answer in answers if isinstance(answer, Record)]
        assert f"by {name_of(won.entered_by)} on" in str(lost)
        assert item.records.count() == 2
    assert list(ledger_faults()) == []


def test_of_two_who_saw_the_same_the_second_is_told_of_the_first(
    place: Site, people: tuple[User, User], pool: ThreadPoolExecutor
) -> None:
    for item in masks(place):
        seen = last_position(item)

        def enter(who: int, item: Item = item, seen: int = seen) -> Record:
            service = a_test(item, outcome=("pass", "fail")[who])
            key = f"{item.tag} by {who}"
            return log_service(
                item=item, service=service, user=people[who], entry_key=key, seen=seen
            )

        answers = at_once(pool, [lambda: enter(0), lambda: enter(1)])
        [told] = [answer for answer in answers if isinstance(answer, ItemChangedMeanwhile)]
        [won] = [answer for answer in answers if isinstance(answer, Record)]
        assert f"{won.outcome}, entered by {name_of(won.entered_by)}" in str(told)
        assert item.records.count() == 1
    assert list(ledger_faults()) == []

"""Two desks at once: a cylinder is in one consignment, a result is one record (C5, C7)."""

from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

import pytest
from django.contrib.auth.models import User
from django.db import connections

from registry.items.models import Item
from registry.sites.models import Site
from servicing.away.models import Consigned, Consignment
from servicing.hydrostatic.actions.consignments import ConsignmentRefused, open_consignment
from servicing.hydrostatic.actions.results import enter_results
from servicing.hydrostatic.models import Result
from servicing.ledger.queries.records import history_of
from tests.servicing.due.test_at_once import Deed, a_file, people, place
from tests.servicing.hydrostatic.away import HOUSE, cylinder, result, sent_away

__all__ = ["a_file", "people", "place"]
ROUNDS = 15
pytestmark = [pytest.mark.race, pytest.mark.usefixtures("a_file")]


def both(*deeds: Deed) -> list[object]:
    """Do everything at the same moment; return what each came to, a refusal included."""
    barrier = Barrier(len(deeds))

    def run(deed: Deed) -> object:
        barrier.wait(timeout=30)
        try:
            return deed()
        except ConsignmentRefused as refusal:
            return refusal
        finally:
            connections.close_all()

    with ThreadPoolExecutor(len(deeds)) as pool:
        return [future.result(timeout=60) for future in [pool.submit(run, d) for d in deeds]]


def test_of_two_consignments_one_gets_the_cylinder(place: Site, people: tuple[User, User]) -> None:
    for number in range(ROUNDS):
        item = cylinder(place, f"{number:05d}")

        def begin(key: str, item: Item = item) -> Consignment:
            return open_consignment(
                from_site=place,
                house=HOUSE,
                items=[item],
                user=people[0],
                entry_key=key,
            )

        answers = both(lambda n=number: begin(f"a{n}"), lambda n=number: begin(f"b{n}"))  # type: ignore[misc]
        assert sum(isinstance(answer, Consignment) for answer in answers) == 1
        assert Consigned.objects.filter(item=item).count() == 1


def test_a_result_entered_at_two_desks_is_one_record(
    place: Site, people: tuple[User, User]
) -> None:
    for number in range(ROUNDS):
        item = cylinder(place, f"{number:05d}")
        consignment = sent_away(place, [item], people[0], key=f"key {number}")

        def enter(user: User, sent: Consignment = consignment, of: Item = item) -> object:
            return enter_results(consignment=sent, results=[result(of)], user=user)

        answers = both(lambda: enter(people[0]), lambda: enter(people[1]))
        assert not any(isinstance(answer, Exception) for answer in answers)
        assert Result.objects.filter(consigned__item=item).count() == 1
        assert history_of(item).count() == 1

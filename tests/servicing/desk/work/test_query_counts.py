"""As many questions to the database for sixty items as for five: E11."""

from datetime import timedelta

import pytest
from django.contrib.auth.models import User
from django.db import connection
from django.test.utils import CaptureQueriesContext

from registry.items.models import Item
from registry.sites.clock import today_at
from registry.sites.models import Site
from servicing.due.actions.services import Service, log_service
from tests.people import signed_in
from tests.servicing.desk.work.listed import fill

PAGES = (
    "/due/",
    "/due/?state=overdue&site=VAL",
    "/due/?on=2030-01-01",
    "/due/?sort=-tag",
    "/items/",
    "/items/?site=VAL&standing=in-service",
    "/items/?sort=next_due",
    "/items/?on=2030-01-01&known_by=2100-01-01 10:00&sort=next_due",
    "/",
    "/sites/",
    "/rules/",
    "/papers/overdue.pdf",
    "/find/?q=N",
)


@pytest.mark.parametrize("role", ["manager", "technician", "auditor"])
def test_a_page_asks_the_database_no_more_for_a_larger_fleet(
    station: Site, role: str, request: pytest.FixtureRequest
) -> None:
    client = signed_in(request.getfixturevalue(role))
    pages = PAGES if role == "manager" else ("/", "/due/", "/items/")

    def asked() -> dict[str, int]:
        found = {}
        for path in pages:
            with CaptureQueriesContext(
                connection,
            ) as queries:
                client.get(path)
            found[path] = len(queries)
        return found

    fill(station, range(5, 10))
    few = asked()
    fill(station, range(10, 65))
    assert asked() == few
    # A manager's first page asks after each kind of thing that may wait for them.
    first_page = few.pop("/")
    assert first_page < 60
    assert max(few.values()) < 45


def test_a_long_history_costs_no_more_questions(mask: Item, technician: User) -> None:
    client = signed_in(technician)

    def asked(path: str) -> int:
        with CaptureQueriesContext(connection) as queries:
            assert client.get(path).status_code == 200
        return len(queries)

    def log(numbers: range) -> None:
        for n in numbers:
            day = today_at(mask.site) - timedelta(days=400 - n)
            log_service(
                item=mask,
                service=Service("cleaning", day, "pass", "Tekla"),
                user=technician,
                entry_key=f"k{n}",
            )

    pages = (f"/items/{mask.pk}/", f"/papers/items/{mask.pk}/record.pdf")
    log(range(2))
    asked(pages[1])  # from here on there is a paper of it in the register
    few = [asked(path) for path in pages]
    log(range(2, 25))
    assert [asked(path) for path in pages] == few

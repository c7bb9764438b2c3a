"""PostgreSQL knows what a list has brought before the next question is asked."""

import pytest
from django.db import connection

from registry.items.models import Item
from registry.sites.models import Site
from tests.servicing.desk.work.listed import fill


def rows_known_of(table: str) -> int:
    """Return how many rows the planner takes a table for; -1 where it never counted."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT reltuples::int FROM pg_class WHERE relname = %s", [table])
        (found,) = cursor.fetchone()
    return int(found)


@pytest.mark.django_db
@pytest.mark.skipif(connection.vendor != "postgresql", reason="asked of PostgreSQL only")
@pytest.mark.parametrize("table", ["registry_item", "servicing_duespan"])
def test_after_many_rows_it_takes_tables_for_as_large_as_they_are(
    table: str, station: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("registry.bulk.actions.MANY", 20)
    fill(station, range(30))
    assert rows_known_of(table) >= Item.objects.count()

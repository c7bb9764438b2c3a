"""Sites that were known before their names were kept go on answering for old days: A6, A11."""

from collections.abc import Iterator
from datetime import UTC, datetime

import pytest
from django.core.management import call_command
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

from registry.sites.queries import sites_as_known
from registry.trail import guards
from tests.conftest import schema_at

EARLY = datetime(2024, 5, 1, 9, 30, tzinfo=UTC)
BEFORE = ("registry", "0005_a_site_says_what_its_bench_reads_in")


@pytest.fixture
def before(transactional_db: None) -> Iterator[MigrationExecutor]:
    """The schema without names in the versions."""
    with schema_at(*BEFORE) as executor:
        yield executor


def test_an_older_version_is_called_as_the_site_was_on_the_day_of_the_upgrade(
    before: MigrationExecutor,
) -> None:
    apps = before.loader.project_state([BEFORE]).apps
    site = apps.get_model("registry", "Site").objects.create(code="WS", name="Workshop")
    apps.get_model("registry", "SiteVersion").objects.create(
        site=site, known_from=EARLY, timezone="Europe/Vienna"
    )
    guards.install(connection)
    call_command("migrate", verbosity=0)
    known = sites_as_known(EARLY)[site.pk]
    assert (known.code, known.name, known.timezone) == ("WS", "Workshop", "Europe/Vienna")
    assert guards.missing(connection) == []

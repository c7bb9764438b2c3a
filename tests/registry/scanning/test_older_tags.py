"""Tags replaced before former tags were kept are found all the same, and misread ones too: D5."""

from collections.abc import Iterator
from datetime import UTC, datetime

import pytest
from django.core.management import call_command
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

from registry.items.queries import named_by
from registry.trail import guards
from tests.conftest import schema_at

EARLY, LATE = datetime(2024, 5, 1, 9, tzinfo=UTC), datetime(2025, 6, 2, 9, tzinfo=UTC)
BEFORE = ("registry", "0009_find_items_by_their_serial")


@pytest.fixture
def before(transactional_db: None) -> Iterator[MigrationExecutor]:
    """The schema without former tags."""
    with schema_at(*BEFORE) as executor:
        yield executor


def test_an_upgrade_reads_the_tags_there_are_and_those_there_were(
    before: MigrationExecutor,
) -> None:
    apps = before.loader.project_state([BEFORE]).apps
    site = apps.get_model("registry", "Site").objects.create(code="WS", name="Workshop")
    kind = apps.get_model("registry", "ItemType").objects.create(kind="mask", maker="Pellwright")
    item = apps.get_model("registry", "Item").objects.create(
        tag="M040", type=kind, maker="Pellwright", serial="S-017", site=site
    )
    versions = apps.get_model("registry", "ItemVersion").objects
    for moment, tag in ((EARLY, "OLD-7"), (EARLY, "OLD-7"), (LATE, "M040")):
        versions.create(item=item, known_from=moment, known={"tag": tag})
    guards.install(connection)
    call_command("migrate", verbosity=0)
    said = {read: [m.because for m in named_by(read).meant] for read in ("m40", "OLD-7", "s17")}
    assert said == {
        "m40": ["only zeros in front and capitals differ"],
        "OLD-7": ["the tag OLD-7 was replaced on 2 Jun 2025"],
        "s17": ["its serial is S-017; only zeros in front and capitals differ"],
    }

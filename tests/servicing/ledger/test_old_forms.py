"""Records entered under the old form are numbered, noted, and go on verifying: A6, A13."""

import hashlib
import json
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

import pytest
from django.contrib.auth.models import User
from django.core.management import call_command
from django.db import connection, transaction
from django.db.migrations.executor import MigrationExecutor

from registry.trail import guards
from registry.trail.queries import noted
from servicing.ledger.models import Record
from servicing.ledger.pure.chain import START
from servicing.ledger.queries.whole import ledger_faults
from tests.conftest import schema_at
from tests.servicing.ledger.conftest import add_records

LATEST = datetime(2024, 5, 1, 9, 30, 0, 250, tzinfo=UTC)


@pytest.fixture
def before(transactional_db: None) -> Iterator[MigrationExecutor]:
    """The schema of form 1."""
    with schema_at("servicing", "0001_initial") as executor:
        yield executor


def old_hash(row: dict[str, object], previous: str) -> str:
    """Hash a record as form 1 was described."""
    said = {name: row[name] for name in sorted(row) if name != "item_id"}
    said["done_on"], said["entered_at"] = "2024-04-30", row["entered_at"]
    text = json.dumps(
        {**said, "form": 1}, sort_keys=True, ensure_ascii=False, separators=(",", ":")
    )
    return hashlib.sha256(f"{previous}\n{text}".encode()).hexdigest()


def test_old_records_are_numbered_in_the_order_entered_and_still_hold(
    before: MigrationExecutor,
) -> None:
    # The register's own tables stand as they are now; only the ledger is old.
    registry = before.loader.graph.leaf_nodes("registry")
    apps = before.loader.project_state([("servicing", "0001_initial"), *registry]).apps
    site = apps.get_model("registry", "Site").objects.create(code="WS", timezone="UTC")
    kind = apps.get_model("registry", "ItemType").objects.create(kind="mask", maker="P", model="V")
    items = [
        apps.get_model("registry", "Item").objects.create(
            tag=tag, type=kind, maker="P", serial=tag, site=site
        )
        for tag in ("M1", "M2")
    ]
    heads: dict[int, tuple[int, str]] = {}
    # The second item's record was entered first, although its row came later.
    for place, (item, minutes) in enumerate([(0, 5), (0, 9), (1, 0), (1, 9)]):
        position, previous = heads.get(item, (0, START))
        at = LATEST - timedelta(minutes=9 - minutes)
        row: dict[str, object] = {
            "item_id": items[item].pk,
            "position": position + 1,
            "marked_as": f"{items[item].tag} · P · S",
            "task": "use",
            "done_on": at.date() - timedelta(days=1),
            "outcome": "pass",
            "performed_by": "Ägidius Ørn",
            "entered_by": "tekla",
            "entered_at": at.strftime("%Y-%m-%dT%H:%M:%S.%fZ"),
            "note": "geöffnet 🔧 \u1eb9\u0323\u0301",
            "readings": [["leak", "1,10 mbar"]],
            "part_made_on": None,
            "carried_over_from": "",
            "entry_key": f"old {place}",
        }
        own = old_hash(row, previous)
        heads[item] = (position + 1, own)
        apps.get_model("servicing", "Record").objects.create(
            **{**row, "entered_at": at}, previous_hash=previous, hash=own
        )
    guards.install(connection)  # as they stand in a database that is in use

    call_command("migrate", verbosity=0)
    assert guards.missing(connection) == []
    rows = Record.objects.order_by("number").values_list("number", "entry_key", "form")
    assert list(rows) == [(1, "old 2", 1), (2, "old 0", 1), (3, "old 1", 1), (4, "old 3", 1)]
    assert list(ledger_faults()) == []
    assert [(run["from"], run["to"]) for _, run in noted("records")] == [(1, 4)]
    mask = Record.objects.get(number=1).item
    assert [r.typed for r in Record.objects.get(number=1).readings_as_read] == ["1,10 mbar"]

    with transaction.atomic():
        add_records(mask, "cleaning", user=User.objects.create_user("tekla"))
    assert Record.objects.get(number=5).form == 2
    assert list(ledger_faults()) == []


def test_a_ledger_without_records_notes_nothing(before: MigrationExecutor) -> None:
    call_command("migrate", verbosity=0)
    assert list(noted("records")) == []
    assert list(ledger_faults()) == []

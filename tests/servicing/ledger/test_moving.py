"""The same ledger has the same heads on both engines, and after a move: A13."""

import io
from pathlib import Path

import pytest
from django.core.management import call_command
from django.db import connection, transaction

from registry.sites.models import Site
from registry.trail import guards
from servicing.ledger.models import Record
from servicing.ledger.queries.whole import heads, ledger_faults
from tests.servicing.ledger.conftest import add_item, add_records

GOLDEN = {
    "": "2 ada45e92cffbfc2d62889a1e1a0fdba9ceb409a0b0ad8c1aa72dd0727911abbb",
    "M-1": "2 b4b4c1e8e178e9fe6a93026dd4ca213e2fdad1561cddd9290a0191ce127d22cf",
    "M-\u1eb9\u0323\u0301🔧": "1 fdc7d22e658be1e2707e047ed9b2173d844a79822cc74de7b7729e18cf2d80b7",
}
"""The heads, in the repository, as both engines give them."""


def fleet() -> None:
    """Make two masks whose notes have combining accents and a sign beyond 16 bits."""
    with transaction.atomic():
        site = Site.objects.create(code="WS", name="Workshop", timezone="Europe/Vienna")
        add_records(add_item(site, "M-1"), "cleaning", "tightness-test")
        add_records(add_item(site, "M-\u1eb9\u0323\u0301🔧"), "use")


def found() -> dict[str, str]:
    return {tag: f"{position} {own}" for tag, position, own in heads()}


@pytest.mark.django_db
def test_a_fixed_fleet_has_the_same_heads_on_every_engine() -> None:
    fleet()
    assert found() == GOLDEN


@pytest.mark.django_db(transaction=True)
def test_a_ledger_that_was_dumped_and_loaded_has_the_same_heads(tmp_path: Path) -> None:
    fleet()
    # Not JSON: Django cuts moments to milliseconds there, and they are under the hash.
    file = tmp_path / "dump.xml"
    call_command("dumpdata", "registry", "servicing", format="xml", output=file, verbosity=0)
    guards.remove(connection)
    call_command("flush", interactive=False, verbosity=0)
    guards.install(connection)
    assert not Record.objects.exists()
    call_command("loaddata", file, verbosity=0, stdout=io.StringIO())
    assert guards.missing(connection) == []
    assert found() == GOLDEN
    assert list(ledger_faults()) == []

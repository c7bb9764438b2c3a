"""A mask with three records; the ledger needs no rule tables."""

from datetime import UTC, date, datetime
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.db import connection

from registry.items.actions import write_item
from registry.items.models import Item
from registry.sites.models import Site
from servicing.ledger.actions import NewRecord, append_records
from servicing.ledger.models import Record
from tests.people import BLANK

MOMENT = datetime(2026, 3, 2, 7, 15, 30, 123456, tzinfo=UTC)


def add_item(site: Site, tag: str) -> Item:
    """Register a mask, without due dates."""
    return write_item(
        Item(),
        tag=tag,
        kind="mask",
        maker="Pellwright",
        model="Vizard",
        site=site,
        attributes={**BLANK, "serial": f"S-{tag}"},
        at=MOMENT,
    )


def add_records(item: Item, *tasks: str, user: User | None = None) -> list[Record]:
    """Append a record for each task, all of one day, and return all of the item's records."""
    append_records(
        [
            NewRecord(
                item_id=item.pk,
                marked_as=f"{item.tag} · {item.maker} · {item.serial}",
                task=task,
                done_on=date(2026, 3, 1),
                outcome="pass",
                performed_by="Ägidius Ørn",
                entry_key=f"{item.tag}-{number}",
                note="Ventil geöffnet 🔧",
                readings=(("leak", "1,10 mbar"),),
                part_made_on=date(2025, 12, 31),
            )
            for number, task in enumerate(tasks, start=item.records.count() + 1)
        ],
        user=user,
        at=MOMENT,
    )
    return list(item.records.order_by("position"))


def ledger_rows() -> list[tuple[Any, ...]]:
    """Return every row as it lies in the database."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT * FROM servicing_record ORDER BY id")
        return list(cursor.fetchall())


@pytest.fixture
def workshop(db: None) -> Site:
    """A site without rule tables."""
    return Site.objects.create(code="WS", name="Workshop", timezone="Europe/Vienna")


@pytest.fixture
def item(workshop: Site) -> Item:
    """A mask without a record."""
    return add_item(workshop, "00123")


@pytest.fixture
def writer(db: None) -> User:
    """The person who entered the records of `chain`."""
    return User.objects.create_user("tekla")


@pytest.fixture
def chain(item: Item, writer: User) -> list[Record]:
    """The mask's three records in their order."""
    return add_records(item, "cleaning", "tightness-test", "use", user=writer)

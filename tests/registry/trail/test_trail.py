"""The trail: one chain over every change, guarded like the ledger (A9, A12, X1, X3)."""

import hashlib
import json
from collections.abc import Callable
from datetime import UTC, date, datetime
from decimal import Decimal

import pytest
from django.contrib.auth.models import User
from django.db import IntegrityError, connection, transaction
from django.db.transaction import TransactionManagementError

from registry.trail import guards
from registry.trail.actions import note
from registry.trail.models import TrailEntry, TrailIsAppendOnly
from registry.trail.pure import START, as_text, differences
from registry.trail.queries import broken_trail, trail_head

AT = datetime(2026, 3, 2, 7, 15, 30, 123456, tzinfo=UTC)


def sql(statement: str, *values: int) -> None:
    with connection.cursor() as cursor:
        cursor.execute(statement, values)


@pytest.fixture
def three(db: None) -> list[TrailEntry]:
    """Three entries: one thing made, changed and taken back."""
    person = User.objects.create_user("mira", first_name="Mira", last_name="Holt")
    note(what="item", subject="M040", after={"made_on": date(2020, 3, 1)}, by=person, at=AT)
    note(what="item", subject="M040", before={"size": "M"}, after={"size": "L"}, by=None, at=AT)
    note(what="site", subject="ST1", before={"zone": "UTC"}, why="é 🔧", by=person, at=AT)
    return list(TrailEntry.objects.order_by("number"))


def test_entries_are_numbered_without_gaps_and_follow_each_other(three: list[TrailEntry]) -> None:
    assert [entry.number for entry in three] == [1, 2, 3]
    assert [e.previous_hash for e in three] == [START, three[0].hash, three[1].hash]
    assert trail_head() == (3, three[2].hash)
    assert broken_trail() is None


def test_an_entry_names_who_did_it_as_they_were_called(three: list[TrailEntry]) -> None:
    assert [entry.by for entry in three] == ["Mira Holt (mira)", "command line", "Mira Holt (mira)"]


def test_a_hash_can_be_recomputed_with_the_standard_library_alone(three: list[TrailEntry]) -> None:
    # FIPS 180-4 (SHA-256) over the form described at the top of registry/trail/pure.py.
    form = {
        "after": "",
        "at": "2026-03-02T07:15:30.123456Z",
        "before": '{"zone":"UTC"}',
        "by": "Mira Holt (mira)",
        "form": 1,
        "number": 3,
        "subject": "ST1",
        "what": "site",
        "why": "é 🔧",
    }
    text = json.dumps(form, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    assert three[2].hash == hashlib.sha256(f"{three[1].hash}\n{text}".encode()).hexdigest()


def test_what_is_known_has_one_text_whatever_its_order() -> None:
    assert as_text({"b": Decimal("1.10"), "a": {"x", "w"}}) == '{"a":["w","x"],"b":"1.10"}'
    assert as_text({"e": "e\u0301"}) == '{"e":"\u00e9"}'
    assert as_text(None) == ""


def test_only_what_differs_is_named() -> None:
    was, becomes = {"a": 1, "b": date(2020, 1, 1)}, {"a": 1, "b": "2020-01-02", "c": None}
    assert differences(was, becomes) == ({"b": date(2020, 1, 1)}, {"b": "2020-01-02"})


def test_a_change_is_noted_in_its_own_transaction(transactional_db: None) -> None:
    with pytest.raises(TransactionManagementError):
        note(what="item", subject="M040", by=None, at=AT)
    assert not TrailEntry.objects.exists()


@pytest.mark.parametrize(
    "road",
    [
        lambda e: sql("UPDATE registry_trailentry SET why = 'forged' WHERE id = %s", e.pk),
        lambda e: sql("DELETE FROM registry_trailentry WHERE id = %s", e.pk),
        lambda e: TrailEntry.objects.filter(pk=e.pk)._raw_delete("default"),
        lambda e: TrailEntry.objects.filter(pk=e.pk).update(why="forged"),
        lambda e: TrailEntry._base_manager.update(why="forged"),
        lambda e: e.delete(),
        lambda e: e.save(),
        lambda e: TrailEntry.objects.filter(pk=e.pk).delete(),
        lambda e: TrailEntry.objects.bulk_update([e], ["why"]),
    ],
)
def test_no_road_leads_to_a_changed_entry(
    three: list[TrailEntry], road: Callable[[TrailEntry], object]
) -> None:
    with pytest.raises((TrailIsAppendOnly, IntegrityError)), transaction.atomic():
        road(three[1])
    assert list(TrailEntry.objects.order_by("number").values_list("why", "hash")) == [
        (entry.why, entry.hash) for entry in three
    ]


@pytest.mark.skipif(connection.vendor != "sqlite", reason="REPLACE is SQLite's")
def test_no_entry_takes_the_place_of_another(three: list[TrailEntry]) -> None:
    columns = [str(field.column) for field in TrailEntry._meta.concrete_fields]
    for column in ("id", "number", "hash"):
        others = {"id": "99", "number": "99", "hash": "'new'"} | {column: column}
        picked = ", ".join(others.get(c, "'forged'" if c == "why" else c) for c in columns)
        with pytest.raises(IntegrityError), transaction.atomic():
            sql(
                f"REPLACE INTO registry_trailentry ({', '.join(columns)})"
                f" SELECT {picked} FROM registry_trailentry WHERE id = %s",
                three[1].pk,
            )
    assert broken_trail() is None


@pytest.mark.parametrize(
    ("damage", "number", "why"),
    [
        ("UPDATE registry_trailentry SET why = 'forged' WHERE number = 2", 2, "was altered"),
        ("DELETE FROM registry_trailentry WHERE number = 2", 2, "is missing"),
        ("UPDATE registry_trailentry SET \"by\" = 'forged' WHERE number = 3", 3, "was altered"),
    ],
)
def test_damage_behind_the_guards_is_named(
    three: list[TrailEntry], damage: str, number: int, why: str
) -> None:
    guards.remove(connection)
    sql(damage)
    broken = broken_trail()
    assert broken is not None
    assert (broken.number, why in broken.why) == (number, True)
    guards.install(connection)

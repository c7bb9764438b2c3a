"""The chain finds what was altered, and nobody needs this program to recompute it: A13, A14."""

import hashlib
import io
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import fields, replace
from datetime import UTC, date, datetime, timedelta, timezone
from typing import Any
from unicodedata import normalize

import pytest
from django.core.management import CommandError, call_command
from django.db import connection

from registry.items.models import Item
from registry.sites.models import Site
from registry.trail import guards
from servicing.ledger.actions import NewRecord, append_records
from servicing.ledger.models import Record
from servicing.ledger.pure.chain import START, BrokenLink, first_broken, link, plain
from servicing.ledger.pure.entry import Check, Entry, InstrumentAsStood, PartUsed, Reading
from servicing.ledger.queries.whole import broken_links, chain_head
from tests.servicing.ledger.conftest import MOMENT, add_item, add_records

ON_SQLITE = pytest.mark.skipif(
    connection.vendor != "sqlite", reason="PostgreSQL keeps the types of its columns itself"
)
FIXED = Entry(
    position=2,
    marked_as="00123 · Pellwright · S-00123",
    task="tightness-test",
    done_on=date(2026, 3, 1),
    outcome="pass",
    performed_by="Ägidius Ørn",
    entered_by="tekla",
    entered_at=datetime(2026, 3, 2, 8, 15, 30, 123456, tzinfo=timezone(timedelta(hours=1))),
    # An e with three marks of which one has a letter of its own, and a sign of two 16-bit units.
    note='Ventil geöffnet; \u1eb9\u0323\u0301 🔧 "quoted"\nline two',
    readings=(Reading("leak", "1,10 mbar"), Reading("opening", "-0.30 mbar")),
    part_made_on=None,
    carried_over_from="",
    entry_key="k" * 32,
    form=1,
)
GOLDEN = "688ddb0f12f7440167b9529515626d09ef2dd4e8d4b86753de11a454c9f679bc"
IN_FULL = replace(
    FIXED,
    form=2,
    number=77,
    attempt=2,
    corrects="c" * 64,
    reason="wrong mask; \u1eb9\u0323\u0301 🤿",
    procedure=f"mask-tightness v3 {'d' * 64}",
    rule="gen-mask-tightness v1",
    authorised="mask work until 2026-12-31",
    readings=(
        Reading(
            name="leak",
            typed="1,10",
            unit="mbar",
            value="0.00110",
            canonical_unit="bar",
            limit="at most 1.0 mbar",
            source="common practice",
            verdict="fail",
            instrument="B-1 · Ettrick · 9",
        ),
    ),
    checks=(Check("look", "Faceblank whole", "not-good", "Riss 🔍"),),
    instruments=(
        InstrumentAsStood("B-1 · Ettrick · 9", date(2026, 1, 2), date(2027, 1, 2), "e" * 64),
    ),
    parts=(PartUsed("disc", "L 44", None), PartUsed("diaphragm", "", date(2025, 5, 1))),
)
GOLDEN_IN_FULL = "ded855e505dc8f0d96ca20d441c6aa265f9777184bf7d090a2130916d1f36ead"


def recomputed(previous: str, record: Mapping[str, Any]) -> str:
    """Return a record's hash from its exported fields, by the standard library alone.

    This is all that somebody needs who does not trust the program: the fields as text,
    in the order of their names, behind the hash of the record before.
    """
    moment: datetime = record["entered_at"].astimezone(UTC)
    wanted = COLUMNS if record["form"] == 2 else COLUMNS_OF_FORM_1
    said = {
        **{name: record[name] for name in wanted},
        **{name: normalize("NFC", record[name]) for name in TEXTS},
        "done_on": record["done_on"].isoformat(),
        "part_made_on": record["part_made_on"] and record["part_made_on"].isoformat(),
        "entered_at": moment.strftime("%Y-%m-%dT%H:%M:%S.%fZ"),
    }
    if record["form"] == 2:
        said["corrects"] = record["corrects"] or ""
    text = json.dumps(said, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(f"{previous}\n{text}".encode()).hexdigest()


def stored(entry: Entry) -> dict[str, Any]:
    """Return an entry as its row lies in the database."""
    values = {name: getattr(entry, name) for name in COLUMNS}
    lists: dict[str, list[Any]] = {
        name: [plain(part) for part in values[name]]
        for name in ("readings", "checks", "instruments", "parts")
    }
    if entry.form == 1:
        lists["readings"] = [[reading.name, reading.typed] for reading in entry.readings]
    return {**values, **lists}


TEXTS = (
    "marked_as",
    "task",
    "outcome",
    "performed_by",
    "entered_by",
    "note",
    "carried_over_from",
    "entry_key",
)
COLUMNS = [field.name for field in fields(Entry)]
COLUMNS_OF_FORM_1 = (
    *TEXTS,
    "done_on",
    "entered_at",
    "form",
    "part_made_on",
    "position",
    "readings",
)
FLIPPED = {
    "marked_as": "'00124 · Pellwright · S-00123'",
    "task": "'tightness-tesT'",
    "done_on": "'2026-03-02'",
    "outcome": "'fail'",
    "performed_by": "'Ägidius Ørm'",
    "entered_by": "'teklb'",
    "entered_at": "'2026-03-02 07:15:30.123457+00:00'",
    "note": "'Ventil geöffnet 🔨'",
    "readings": """'[["leak", "1.10 mbar"]]'""",
    "form": "1",
    "number": "99",
    "attempt": "2",
    "corrects": f"'{START}', reason = 'because'",
    "reason": f"'because', corrects = '{START}'",
    "procedure": "'another v1'",
    "rule": "'another v1'",
    "authorised": "'for everything'",
    "checks": """'[{"step": "a", "text": "b", "answer": "good", "note": ""}]'""",
    "instruments": (
        """'[{"marked_as": "a", "calibrated_on": null, "calibration_due_on": null,"""
        """ "calibration_hash": ""}]'"""
    ),
    "parts": """'[{"name": "a", "batch": "", "made_on": null}]'""",
    "part_made_on": "NULL",
    "carried_over_from": "'history.csv'",
    "entry_key": "'another'",
    "previous_hash": f"'{START}'",
    "hash": f"'{START}'",
    "position": "9",
}


def altered(record: Record, column: str, value: str) -> None:
    """Change a column of a row by somebody who has taken the guards away first."""
    guards.remove(connection)
    with connection.cursor() as cursor:
        cursor.execute(f"UPDATE servicing_record SET {column} = {value} WHERE id = {record.pk}")


def verified() -> tuple[int, str]:
    """Return the exit status of verify_ledger and what it wrote to standard error."""
    said = io.StringIO()
    try:
        call_command("verify_ledger", stdout=io.StringIO(), stderr=said)
    except CommandError as refusal:
        return refusal.returncode, said.getvalue()
    return 0, said.getvalue()


def of_entries(entries: Sequence[Entry]) -> list[tuple[Entry, str, str]]:
    """Return entries as a sound chain."""
    chain, previous = [], START
    for entry in entries:
        own = link(previous, entry)
        chain.append((entry, previous, own))
        previous = own
    return chain


FIVE = of_entries([replace(FIXED, position=n, entry_key=f"key {n}") for n in range(1, 6)])


BOTH = pytest.mark.parametrize(
    ("entry", "golden"), [(FIXED, GOLDEN), (IN_FULL, GOLDEN_IN_FULL)], ids=["form-1", "form-2"]
)


@BOTH
def test_a_fixed_record_has_the_same_hash_for_ever(entry: Entry, golden: str) -> None:
    assert link(START, entry) == golden


@BOTH
def test_the_hash_is_recomputed_without_the_program(entry: Entry, golden: str) -> None:
    assert recomputed(START, stored(entry)) == golden


@pytest.mark.parametrize(
    "elsewhere", [UTC, timezone(timedelta(hours=14)), timezone(timedelta(hours=-11))]
)
def test_a_moment_is_one_moment_in_any_zone(elsewhere: timezone) -> None:
    assert link(START, replace(FIXED, entered_at=FIXED.entered_at.astimezone(elsewhere))) == GOLDEN


@pytest.mark.parametrize("name", COLUMNS)
def test_every_field_of_a_record_is_under_its_hash(name: str) -> None:
    value = getattr(IN_FULL, name)
    others: dict[type, Callable[[], Any]] = {
        int: lambda: value + 1,
        str: lambda: f"{value} ",
        date: lambda: value + timedelta(days=1),
        datetime: lambda: value + timedelta(microseconds=1),
        tuple: lambda: (*value, value[0]),
        type(None): lambda: date(2025, 12, 31),
    }
    changed: dict[str, Any] = {name: 1 if name == "form" else others[type(value)]()}
    assert link(START, replace(IN_FULL, **changed)) != GOLDEN_IN_FULL


@pytest.mark.parametrize("name", ["checks", "readings", "instruments", "parts"])
def test_every_field_of_a_part_of_a_record_is_under_its_hash(name: str) -> None:
    first, *rest = getattr(IN_FULL, name)
    for field in fields(first):
        value = getattr(first, field.name)
        other = date(2020, 1, 1) if isinstance(value, date) else f"{value}1"
        changed: dict[str, Any] = {name: (replace(first, **{field.name: other}), *rest)}
        assert link(START, replace(IN_FULL, **changed)) != GOLDEN_IN_FULL


def test_a_sound_chain_holds() -> None:
    assert first_broken(FIVE) is None
    assert first_broken([]) is None


@pytest.mark.parametrize("gone", range(4))
def test_a_record_taken_from_the_middle_is_missed_at_its_place(gone: int) -> None:
    left = FIVE[:gone] + FIVE[gone + 1 :]
    assert first_broken(left) == BrokenLink(gone + 1, f"record {gone + 1} is missing")


def test_two_records_that_changed_places_are_found() -> None:
    (a, *_), (b, *_) = FIVE[1], FIVE[2]
    swapped = [
        FIVE[0],
        (replace(b, position=2), *FIVE[1][1:]),
        (replace(a, position=3), *FIVE[2][1:]),
        *FIVE[3:],
    ]
    found = first_broken(swapped)
    assert found is not None
    assert found.position == 2


def test_a_chain_that_was_hashed_afresh_from_the_middle_does_not_join_the_rest() -> None:
    entry, previous, _ = FIVE[1]
    forged = replace(entry, outcome="fail")
    found = first_broken([FIVE[0], (forged, previous, link(previous, forged)), *FIVE[2:]])
    assert found == BrokenLink(3, "does not follow the record before it")


@pytest.mark.parametrize(("column", "value"), FLIPPED.items(), ids=str)
def test_a_value_altered_in_the_database_is_found_at_its_place(
    chain: list[Record], column: str, value: str
) -> None:
    altered(chain[1], column, value)
    [(tag, found)] = broken_links()
    assert (tag, found.position) == ("00123", 2)


def test_every_field_of_a_record_was_tried() -> None:
    assert FLIPPED.keys() >= set(COLUMNS)


@ON_SQLITE
@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("readings", """'[["leak", '"""),
        ("readings", "'7'"),
        ("readings", "'[[1]]'"),
        ("done_on", "'2026-02-31'"),
        ("done_on", "'soon'"),
        ("part_made_on", "'2026-02-31'"),
        ("entered_at", "'yesterday'"),
        ("note", "CAST(x'c328' AS TEXT)"),
    ],
)
def test_damage_that_leaves_no_value_is_found_at_its_place(
    chain: list[Record], workshop: Site, column: str, value: str
) -> None:
    other = add_records(add_item(workshop, "00124"), "use", "use")
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA ignore_check_constraints = ON")  # a failing disk asks nobody
        altered(chain[1], column, value)
        cursor.execute("PRAGMA ignore_check_constraints = OFF")
    assert [(tag, found.position) for tag, found in broken_links()] == [("00123", 2)]
    altered(other[0], "note", "'forged'")
    assert [(tag, found.position) for tag, found in broken_links()] == [("00123", 2), ("00124", 1)]


def test_a_record_moved_to_another_item_is_missed_where_it_was(
    chain: list[Record], workshop: Site
) -> None:
    other = add_item(workshop, "00124")
    altered(chain[1], "item_id", str(other.pk))
    found = {tag: broken.position for tag, broken in broken_links()}
    assert found == {"00123": 2, "00124": 1}


def test_records_whose_item_has_vanished_are_named(chain: list[Record], workshop: Site) -> None:
    altered(chain[2], "item_id", "99999")
    # The database would refuse it at the end of the transaction; a damaged one has it.
    [(named, broken)] = list(broken_links())
    assert (named, broken.why) == ("item 99999", "its item is no longer in the register")
    altered(chain[2], "item_id", str(chain[0].item_id))


def test_two_swapped_rows_are_found(chain: list[Record]) -> None:
    altered(chain[0], "position", "9")
    altered(chain[1], "position", "1")
    altered(chain[0], "position", "2")
    [(tag, found)] = broken_links()
    assert (tag, found.position) == ("00123", 1)


def test_a_row_deleted_from_the_middle_is_found(chain: list[Record]) -> None:
    guards.remove(connection)
    with connection.cursor() as cursor:
        cursor.execute(f"DELETE FROM servicing_record WHERE id = {chain[1].pk}")
    assert list(broken_links()) == [("00123", BrokenLink(2, "record 2 is missing"))]


def test_the_ledger_of_a_sound_fleet_is_verified(chain: list[Record], workshop: Site) -> None:
    for number in range(200, 260):
        add_records(add_item(workshop, f"00{number}"), "cleaning", "use")
    assert verified() == (0, "")


def test_verifying_names_the_item_and_the_record_that_was_altered(
    chain: list[Record], workshop: Site
) -> None:
    for tag in ("00122", "00124"):
        add_records(add_item(workshop, tag), "cleaning", "use")
    altered(chain[1], "note", "'passed after all'")
    guards.install(connection)
    status, said = verified()
    assert status == 1
    assert said == "00123: record 2: its content does not give its hash; it was altered\n"


def test_the_stored_chain_is_recomputed_without_the_program(chain: list[Record]) -> None:
    previous = START
    for record in Record.objects.order_by("position").values():
        assert record["previous_hash"] == previous
        assert recomputed(previous, record) == record["hash"]
        previous = record["hash"]
    assert previous == chain_head(chain[0].item)


def test_texts_are_kept_composed_so_that_the_form_is_one(item: Item) -> None:
    new = NewRecord(
        item_id=item.pk,
        marked_as=normalize("NFD", "Ö-1 · Pellwright · S-Ö"),
        task="use",
        done_on=date(2026, 3, 1),
        outcome="pass",
        performed_by=normalize("NFD", "Ägidius"),
        entry_key="k",
        note=normalize("NFD", "geöffnet"),
        readings=((normalize("NFD", "Öffnung"), normalize("NFD", "1,10 µé")),),
        carried_over_from=normalize("NFD", "Prüfung.csv"),
    )
    append_records([new], user=None, at=MOMENT)
    record = Record.objects.get()
    for text in (*(getattr(record, name) for name in TEXTS), *record.readings[0].values()):
        assert text == normalize("NFC", text)
    assert [(r.name, r.typed) for r in record.readings_as_read] == [("Öffnung", "1,10 µé")]
    assert list(broken_links()) == []

"""Procedures in versions and the limits of types: kept, told in the trail, never looser. A9."""

import io
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from functools import partial
from pathlib import Path

import pytest
from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.core.management import CommandError, call_command
from django.db import DatabaseError, transaction

from registry.items.models import Item
from registry.trail.models import TrailEntry
from servicing.bench.actions.procedures import (
    LimitNotOpen,
    Loaded,
    ProcedureClash,
    load_procedures,
    set_type_limit,
)
from servicing.bench.models import ProcedureVersion, TypeLimit
from servicing.bench.pure.limits import Limit, LimitProblem, LooserThanBase
from servicing.bench.pure.procedure import ProcedureTable
from servicing.bench.pure.tables import read_procedures
from servicing.bench.pure.units import UNITS
from servicing.bench.queries.procedures import (
    judging_of,
    procedures_for,
    readings_open_to,
    type_limits,
)
from tests.people import make_item
from tests.servicing.bench.test_tables import SOUND

pytestmark = pytest.mark.django_db

AT = datetime(2026, 11, 25, 10, 30, tzinfo=UTC)
LATER = AT + timedelta(days=3)
OPEN = (
    SOUND.replace("at_most = 1.0", "at_most = 1.0\nmay_tighten = true")
    + """
[[procedure.step]]
id = "own"
form = "measure"
text = "The maker's figure."
reading = "own"
unit = "bar"
by_type = true

[[procedure.step]]
id = "charge"
form = "measure"
text = "Read the charge."
reading = "charge"
unit = "bar"
at_least = 90
share_of = "working_pressure_bar"
"""
)


def table(text: str = OPEN, name: str = "masks") -> ProcedureTable:
    found, problems = read_procedures("masks.toml", text.replace('"masks"', f'"{name}"', 1))
    assert problems == []
    return found


def limit(high: str, unit: str = "mbar", source: str = "manual 7.1, p. 12") -> Limit:
    return Limit(None, Decimal(high), UNITS[unit], source, "maker")


@pytest.fixture
def loaded(mask: Item) -> Item:
    load_procedures([table()], at=AT)
    return mask


def test_loading_the_same_again_changes_nothing() -> None:
    assert load_procedures([table()], at=AT) == Loaded(new=1)
    entries = TrailEntry.objects.count()
    assert load_procedures([table()], at=LATER) == Loaded(same=1)
    assert (ProcedureVersion.objects.count(), TrailEntry.objects.count()) == (1, entries)


def test_a_changed_limit_makes_a_new_version_and_the_trail_tells_it(loaded: Item) -> None:
    stricter = OPEN.replace("at_most = 1.0", "at_most = 0.8")
    assert load_procedures([table(stricter)], at=LATER) == Loaded(changed=1)
    first, second = ProcedureVersion.objects.all()
    assert (first.replaced_at, second.version, second.replaced_at) == (LATER, 2, None)
    assert second.content_hash == second.procedure.content_hash != first.content_hash
    entry = TrailEntry.objects.latest("number")
    assert (entry.what, entry.subject) == ("procedure", "mask-test")
    (now,) = procedures_for(loaded)
    (then,) = procedures_for(loaded, known_by=AT)
    assert (now.version, then.version) == (2, 1)


def test_a_procedure_that_left_its_table_is_ended_and_may_come_back(loaded: Item) -> None:
    other = OPEN.replace('"mask-test"', '"mask-other"')
    assert load_procedures([table(other)], at=LATER) == Loaded(new=1, ended=1)
    assert load_procedures([table()], at=LATER) == Loaded(changed=1, ended=1)
    assert [row.version for row in ProcedureVersion.objects.filter(procedure_id="mask-test")] == [
        1,
        2,
    ]


def test_one_id_in_two_tables_is_refused_and_nothing_is_written() -> None:
    with pytest.raises(ProcedureClash, match="stands already in masks; rename one"):
        load_procedures([table(), table(name="other")], at=AT)
    with pytest.raises(ProcedureClash, match="given twice"):
        load_procedures([table(), table()], at=AT)
    load_procedures([table()], at=AT)
    with pytest.raises(ProcedureClash, match="stands already in masks"):
        load_procedures([table(name="other")], at=LATER)
    assert ProcedureVersion.objects.count() == 1


def test_an_item_has_the_procedures_of_its_kind_task_and_day(loaded: Item) -> None:
    cylinder = make_item(loaded.site, "C1", kind="cylinder")
    assert [row.procedure_id for row in procedures_for(loaded, "tightness-test")] == ["mask-test"]
    assert procedures_for(loaded, "cleaning") == procedures_for(cylinder) == []
    until = OPEN.replace("checked_on =", "valid_until = 2026-01-01\nchecked_on =")
    load_procedures([table(until)], at=LATER)
    assert procedures_for(loaded, on=date(2026, 1, 1)) == []
    assert len(procedures_for(loaded, on=date(2025, 12, 31))) == 1


def test_a_types_limit_is_stricter_and_judges(loaded: Item, manager: User) -> None:
    set_type_limit(of=loaded.type, reading="leak", limit=limit("0.5"), by=manager, at=AT)
    (version,) = procedures_for(loaded)
    found = judging_of(loaded, version.procedure, AT.date())
    assert found.limits["leak"].high == Decimal("0.5")
    assert found.limits["leak"].source == "manual 7.1, p. 12"
    assert set(found.unset) == {"own", "charge"}
    assert "working" not in found.limits
    loaded.working_pressure_bar = Decimal("300.00")
    assert judging_of(loaded, version.procedure, AT.date()).limits["charge"].low == Decimal(270)


def test_a_limit_is_changed_by_another_row_and_taken_away(loaded: Item, manager: User) -> None:
    set_own = partial(set_type_limit, of=loaded.type, reading="own", by=manager)
    set_own(limit=limit("8", "bar"), at=AT)
    set_own(limit=limit("8.0", "bar"), at=LATER)  # the same
    assert TypeLimit.objects.count() == 1
    set_own(limit=limit("7.5", "bar"), at=LATER, why="new manual")
    assert type_limits(loaded.type, known_by=AT)["own"].high == Decimal(8)
    assert type_limits(loaded.type)["own"].high == Decimal("7.5")
    entry = TrailEntry.objects.latest("number")
    assert (entry.what, entry.why) == ("type limit", "new manual")
    assert set_own(limit=None, at=LATER + timedelta(days=1)) is None
    assert type_limits(loaded.type) == {}
    assert TypeLimit.objects.count() == 2


@pytest.mark.parametrize(
    ("reading", "given", "refused"),
    [
        ("leak", limit("1.1"), LooserThanBase),
        ("leak", limit("1", "kg"), LimitProblem),
        ("own", limit("1", "kg"), LimitNotOpen),
        ("nose", limit("1"), LimitNotOpen),
        ("charge", limit("300", "bar"), LimitNotOpen),  # the table does not open it to types
        ("own", limit("1.0000001", "bar"), ValidationError),
    ],
)
def test_a_limit_that_does_not_fit_is_refused(
    loaded: Item, reading: str, given: Limit, refused: type[Exception]
) -> None:
    entries = TrailEntry.objects.count()
    with pytest.raises(refused):
        set_type_limit(of=loaded.type, reading=reading, limit=given, by=None, at=AT)
    assert (TypeLimit.objects.count(), TrailEntry.objects.count()) == (0, entries)


def test_the_readings_that_are_open_to_a_type(loaded: Item) -> None:
    assert readings_open_to(loaded.type) == ["leak", "own"]


def test_no_version_and_no_limit_can_be_altered(loaded: Item) -> None:
    set_type_limit(of=loaded.type, reading="own", limit=limit("8", "bar"), by=None, at=AT)
    for change in (
        lambda: ProcedureVersion.objects.update(content="{}"),
        lambda: ProcedureVersion.objects.all().delete(),
        lambda: TypeLimit.objects.update(high=9),
        lambda: TypeLimit.objects.all().delete(),
    ):
        with pytest.raises(DatabaseError), transaction.atomic():
            change()


def test_the_command_loads_all_procedures_and_says_what_would_change() -> None:
    out = io.StringIO()
    call_command("load_procedures", "--check", stdout=out)
    assert "nothing was written" in out.getvalue()
    assert not ProcedureVersion.objects.exists()
    call_command("load_procedures", stdout=out)
    call_command("load_procedures", stdout=out)
    many = ProcedureVersion.objects.count()
    assert f"0 new, 0 changed, 0 ended, {many} as they were" in out.getvalue()
    assert many >= 19


def test_the_command_names_every_fault_with_exit_status_1(tmp_path: Path) -> None:
    file = tmp_path / "masks.toml"
    file.write_text(SOUND.replace('unit = "mbar"', 'unit = "torr"'))
    err = io.StringIO()
    with pytest.raises(CommandError, match="1 problem found, nothing was written") as caught:
        call_command("load_procedures", str(file), stderr=err)
    assert caught.value.returncode == 1
    assert f"{file}:26: column unit: 'torr' is no unit" in err.getvalue()
    with pytest.raises(CommandError) as gone:
        call_command("load_procedures", str(tmp_path / "none.toml"))
    assert gone.value.returncode == 2

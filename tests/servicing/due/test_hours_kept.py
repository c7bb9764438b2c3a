"""What a meter showed: from a record to the stored date, by every road, corrected, in lists."""

from datetime import date, timedelta
from pathlib import Path

import pytest
from django.contrib.auth.models import User
from django.core.management import CommandError, call_command

from registry.items.models import Item
from registry.sites.models import Site
from servicing.due.actions.corrections import correct_record
from servicing.due.actions.register import save_site
from servicing.due.actions.services import Service, ServiceRefused, effect_of, log_service
from servicing.due.actions.store import recompute
from servicing.due.models import StoredObligation
from servicing.due.queries.rows import DueQuestion, stored_rows
from tests.people import make_item
from tests.worlds import world_fixture

CHANGE, CHANGED, READ = "filter-change", date(2026, 6, 8), date(2026, 7, 9)


@world_fixture
def compressor(station: Site) -> Item:
    """A compressor whose cartridge counts by hours run."""
    save_site(station, tables=["compressor-hours"])
    return make_item(station, "P1", "compressor", made_on=date(2020, 1, 1))


def service(task: str, on: date, shows: str = "") -> Service:
    readings = (("hours-run", shows),) if shows else ()
    return Service(task, on, "pass", "A. Filler", readings=readings)


def stored(item: Item) -> StoredObligation:
    return stored_rows(DueQuestion(task=CHANGE)).get(item=item)


def test_a_reading_that_reaches_the_hours_is_the_stored_date_and_its_correction_is_not(
    compressor: Item, technician: User
) -> None:
    log_service(item=compressor, service=service(CHANGE, CHANGED), user=technician, entry_key="a")
    row = stored(compressor)
    assert (row.due_on, row.event) == (None, "hours-run"), "nobody can say"
    changed = log_service(
        item=compressor, service=service(CHANGE, CHANGED, "400"), user=technician, entry_key="b"
    )
    assert stored(compressor).due_on == date(2027, 6, 8)
    reading = service("meter-reading", READ, "450,5")
    assert [o.due_on for o in effect_of(compressor, reading).after if o.task == CHANGE] == [READ]
    log_service(item=compressor, service=reading, user=technician, entry_key="c")
    row = stored(compressor)
    assert (row.due_on, row.counted_from, row.event) == (READ, "event", "hours-run")
    assert recompute() == 0
    correct_record(
        record=changed,
        service=service(CHANGE, CHANGED, "410"),
        reason="Read wrongly.",
        user=technician,
        entry_key="d",
    )
    assert stored(compressor).due_on == date(2027, 6, 8)
    assert recompute() == 0


def test_hours_that_cannot_be_read_are_refused_in_words(
    compressor: Item, technician: User, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(ServiceRefused, match=r"hours-run must be the hours that the meter shows"):
        log_service(
            item=compressor, service=service(CHANGE, READ, "lots"), user=technician, entry_key="a"
        )
    rows = "tag,task,done_on,outcome,by,reading:hours-run\n"
    listed = tmp_path / "history.csv"
    listed.write_text(f"{rows}P1,{CHANGE},{READ},pass,A. Filler,lots\n")
    with pytest.raises(CommandError):
        call_command("import_history", str(listed))
    assert "column reading:hours-run: 'lots' must be the hours" in capsys.readouterr().err
    listed.write_text(f"{rows}P1,{CHANGE},{CHANGED},pass,A. Filler,400\n")
    call_command("import_history", str(listed))
    assert stored(compressor).due_on == CHANGED + timedelta(days=365)

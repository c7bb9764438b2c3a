"""What an instrument measured is kept beside the records, and says just what they say."""

from uuid import uuid4

import pytest
from django.db import connection
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from registry.sites.models import Site
from registry.trail import guards
from servicing.ledger.actions import NewRecord, append_records, measured_afresh
from servicing.ledger.models import LedgerIsAppendOnly, Measured, Record
from servicing.ledger.pure.entry import InstrumentAsStood, marks_of
from servicing.ledger.queries.records import by_marks
from tests.servicing.ledger.conftest import MOMENT, add_item

MARKS, HASHES = st.sampled_from(["G-1", "G-2 é", "G-3"]), st.sampled_from(["", "a" * 64, "b" * 64])
INSTRUMENTS = st.lists(st.tuples(MARKS, HASHES), max_size=3)


def measure(item_id: int, named: list[tuple[str, str]]) -> None:
    """Enter a record that was measured with some instruments, as marked and calibrated."""
    stood = tuple(InstrumentAsStood(mark, None, None, own) for mark, own in named)
    new = NewRecord(
        item_id, "M", "flow-test", MOMENT.date(), "pass", "T", uuid4().hex, instruments=stood
    )
    append_records([new], user=None, at=MOMENT)


@settings(max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(INSTRUMENTS, min_size=1, max_size=4), MARKS, HASHES)
def test_what_is_kept_equals_what_the_records_say(
    workshop: Site, measured: list[list[tuple[str, str]]], mark: str, own: str
) -> None:
    item = Site.objects.get(pk=workshop.pk).items.first() or add_item(workshop, "M-1")
    for named in measured:
        measure(item.pk, named)
    assert measured_afresh() == 0
    for asked in {mark, own} - {""}:
        said = {each.pk for each in Record.objects.all() if asked in marks_of(each.instruments)}
        assert {each.pk for each in by_marks(Record.objects.all(), [asked])} == said


def test_a_lost_mark_is_found_again_and_none_can_be_taken_away(workshop: Site) -> None:
    measure(add_item(workshop, "M-1").pk, [("G-1", "a" * 64)])
    with pytest.raises(LedgerIsAppendOnly):
        Measured.objects.all().delete()
    guards.remove(connection)
    with connection.cursor() as cursor:
        cursor.execute("DELETE FROM servicing_measured")
    assert measured_afresh() == 2
    assert measured_afresh() == 0

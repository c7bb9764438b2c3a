"""An item with a long past shows its newest records, and all of them on asking."""

from datetime import timedelta

from django.contrib.auth.models import User

from registry.items.models import Item
from registry.sites.clock import now, today_at
from servicing.desk.item.views.sheet import NEWEST
from servicing.ledger.actions import NewRecord, append_records
from tests.people import signed_in

MANY = NEWEST + 7


def test_the_newest_records_are_shown_and_the_rest_on_asking(mask: Item, manager: User) -> None:
    on = today_at(mask.site)
    rows = [
        NewRecord(mask.pk, mask.tag, "use", on - timedelta(days=MANY - n), "pass", "T", f"u{n}")
        for n in range(MANY)
    ]
    append_records(rows, user=manager, at=now())
    client = signed_in(manager)
    few = client.get(f"/items/{mask.pk}/")
    assert [line.record.position for line in few.context["records"]] == [*range(MANY, 7, -1)]
    assert f"The newest {NEWEST} of {MANY} records." in few.content.decode()
    assert '?records=all#history">Show all' in few.content.decode()
    whole = client.get(f"/items/{mask.pk}/?records=all")
    assert len(whole.context["records"]) == MANY
    assert "The newest" not in whole.content.decode()
    assert len(client.get(f"/items/{mask.pk}/sheet.json").json()["records"]) == MANY

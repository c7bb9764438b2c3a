"""The list of items."""

from typing import Any

import django_tables2 as tables
from django.template.loader import render_to_string
from django.utils.safestring import SafeString

from registry.sites.clock import today_in
from servicing.desk.parts.tables import DATE, ID, AwayTable, WordColumn, stamp
from servicing.due.pure.obligations import state
from servicing.due.queries.items import ItemRow


class ItemTable(AwayTable):
    """Items with their standing and what is due first: today, or on another day."""

    counted = ("item", "items")
    caption = "Items"

    tag = tables.Column("Tag", attrs=ID, linkify=True)
    kind = WordColumn("Kind", accessor="type__kind")
    maker = tables.Column("Maker")
    model = tables.Column("Model", accessor="type__model")
    serial = tables.Column("Serial", attrs=ID)
    site = tables.Column("Site", accessor="site__code", attrs=ID)
    standing = tables.Column("Standing", empty_values=())
    next_task = WordColumn("Next task", orderable=False)
    next_due = tables.Column("Due", attrs=DATE, empty_values=())

    class Meta:
        empty_text = "No item falls under this sentence."

    def render_site(self, record: Any, value: str) -> str:
        return self.where(record.pk, value)

    def render_standing(self, value: str | None) -> SafeString:
        return render_to_string("parts/state.html", {"state": value or "in-service"})

    def render_next_due(self, record: Any) -> SafeString | str:
        if not record.next_task:
            return "nothing asked"
        if isinstance(record, ItemRow):
            return stamp(record.next_due, record.next_state)
        today = today_in(record.site.timezone)
        word = state(today, soon_on=record.next_soon, overdue_on=record.next_overdue)
        return stamp(record.next_due, word)

"""The list of dates that are stamped otherwise than the rules say."""

from typing import Any

import django_tables2 as tables
from django.utils.safestring import SafeString
from django_tables2.utils import A

from registry.sites.clock import today_in
from registry.wording.pure.dates import day_words
from servicing.desk.parts.tables import DATE, ID, AwayTable, WordColumn, stamp
from servicing.due.pure.explain import difference
from servicing.due.pure.owed import over_by
from servicing.due.queries.stamps import Beside


class StampTable(AwayTable):
    """Stored obligations. beside: of those on the page, what the rules alone say."""

    counted = ("stamp that differs", "stamps that differ")
    caption = "Stamps that are not what the rules say"
    beside: Beside

    tag = tables.Column("Tag", attrs=ID, linkify=("item", [A("item_id")]))
    site = tables.Column("Site", attrs=ID)
    task = WordColumn("Task")
    stamped = tables.Column("Stamped", attrs=DATE)
    rules = tables.Column("By the rules", attrs=DATE, empty_values=(), orderable=False)
    due_on = tables.Column("Due", attrs=DATE)
    why = tables.Column("Why", empty_values=(), orderable=False)

    class Meta:
        empty_text = "Every stamp that was entered says what the rules say."

    def render_site(self, record: Any, value: str) -> str:
        return self.where(record.item_id, value)

    def render_stamped(self, record: Any) -> str:
        return str(record.owed.stamp_words)

    def render_due_on(self, record: Any) -> SafeString:
        today = today_in(record.timezone)
        late = over_by(record.due_on, record.counted_from, today)
        return stamp(record.due_on, record.owed.state(today), late)

    def render_rules(self, record: Any) -> str:
        owed = self.beside.get((record.item_id, record.task))
        own = owed.beside_stamp if owed else None
        return day_words(own.due_on) if own and own.due_on else ""

    def render_why(self, record: Any) -> str:
        owed = self.beside.get((record.item_id, record.task))
        return difference(owed) if owed else ""

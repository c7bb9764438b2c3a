"""The list of obligations."""

from datetime import date
from typing import Any

import django_tables2 as tables
from django.db.models import F, QuerySet
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django_tables2.utils import A

from registry.sites.clock import today_in
from registry.wording.pure.dates import day_words
from servicing.desk.parts.tables import DATE, ID, AwayTable, WordColumn, stamp
from servicing.due.models import StoredObligation
from servicing.due.pure.obligations import CountedFrom
from servicing.due.pure.owed import over_by
from servicing.due.pure.sheet import IF_DONE, DueRow
from servicing.due.queries.rows import stored_row
from servicing.rules.pure.bars import Bars


class DueTable(AwayTable):
    """Obligations: stored rows of today, or rows computed for another day."""

    counted = ("obligation", "obligations")
    caption = "Obligations"

    due_on = tables.Column("Due", attrs=DATE, empty_values=())
    tag = tables.Column("Tag", attrs=ID, linkify=("item", [A("item_id")]))
    kind = WordColumn("Kind")
    task = WordColumn("Task")
    site = tables.Column("Site", attrs=ID)
    source = tables.Column("Source", orderable=False)
    basis_on = tables.Column("Counted from", attrs=DATE)

    class Meta:
        attrs = {"class": "due"}
        empty_text = "Nothing falls under this sentence."

    def render_due_on(self, record: DueRow | StoredObligation) -> SafeString:
        if isinstance(record, DueRow):
            return stamp(record.due_on, record.state, record.late)
        today = today_in(record.timezone)  # type: ignore[attr-defined]
        late = over_by(record.due_on, record.counted_from, today)
        return stamp(record.due_on, record.owed.state(today), late)

    def render_task(self, record: DueRow | StoredObligation, value: str) -> SafeString | str:
        bars = record.bars if isinstance(record, DueRow) else record.task_bars
        said = value.replace("-", " ")
        if bars != Bars.NOTHING:
            return said
        return format_html('{} <span class="small">warns only</span>', said)

    def render_site(self, record: Any, value: str) -> str:
        return self.where(record.item_id, value)

    def render_basis_on(self, record: Any, value: date) -> str:
        stamped = record.counted_from == CountedFrom.STAMP
        said = "stamped" if stamped else (record.event or record.counted_from).replace("-", " ")
        word = "if done on" if record.counted_from == IF_DONE else said
        return f"{word} {day_words(value)}"

    def order_due_on(
        self, rows: QuerySet[StoredObligation], is_descending: bool
    ) -> tuple[QuerySet[StoredObligation], bool]:
        """Those without a date come first, on either engine."""
        due = (
            F("due_on").desc(nulls_last=True)
            if is_descending
            else F("due_on").asc(nulls_first=True)
        )
        return rows.order_by(due, "item__site__code", "item__tag", "task"), True


def rows_of_table(table: DueTable) -> list[DueRow]:
    """Return all obligations of a table in its order, as papers take them."""
    records = (row.record for row in table.rows)
    return [each if isinstance(each, DueRow) else stored_row(each) for each in records]

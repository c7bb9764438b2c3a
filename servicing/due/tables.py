"""What lists show."""

from collections.abc import Mapping
from datetime import date
from typing import Any

import django_tables2 as tables
from django.core.paginator import EmptyPage, PageNotAnInteger
from django.db.models import F, QuerySet
from django.http import HttpRequest
from django.template.loader import render_to_string
from django.utils.safestring import SafeString
from django_tables2.utils import A

from registry.sites.clock import today_in
from servicing.away.pure import Away
from servicing.due.models import StoredObligation
from servicing.due.pure.obligations import state
from servicing.due.queries.items import ItemRow
from servicing.due.queries.rows import IF_DONE, DueRow, stored_row
from servicing.due.queries.sets import SetRow

DATE = {"cell": {"class": "date"}}
ID = {"cell": {"class": "id"}}
NUMBER = {"cell": {"class": "num"}}
PAGE, PRINTED = 50, 1000
"""How many rows a page has: to be read, and to be printed."""


def arranged(table: tables.Table, request: HttpRequest, sentence: str = "") -> tables.Table:
    """Return the table in the order and on the page that the address asks for.

    The length of a page is ours to say: PAGE, or PRINTED where it is asked for to be
    printed. A page that isn't there is the last one. sentence: what the list is asked for, in
    words; it stands over the list on each sheet of a print.
    """
    table.request = request
    table.sentence = sentence
    sorted_by(table, request)
    table.to_print = "print" in request.GET
    rows = PRINTED if table.to_print else PAGE
    page = request.GET.get(table.prefixed_page_field, "1")
    try:
        table.paginate(page=page, per_page=rows)
    except PageNotAnInteger:
        table.paginate(page=1, per_page=rows)
    except EmptyPage:
        table.paginate(page=table.paginator.num_pages, per_page=rows)
    return table


def sorted_by(table: tables.Table, request: HttpRequest) -> tables.Table:
    """Return the table in the order that the address asks for."""
    if sort := request.GET.getlist(table.prefixed_order_by_field):
        table.order_by = sort
    return table


def stamp(due_on: date | None, word: str | None) -> SafeString:
    """Return the date stamp as a table shows it."""
    return render_to_string("parts/stamp.html", {"due_on": due_on, "state": word})


class WordColumn(tables.Column):
    """A word of the trade with its hyphens as spaces."""

    def render(self, value: str) -> str:
        return value.replace("-", " ")


class AwayTable(tables.Table):
    """Rows of items, of which some are at a test house. away: those, by item id."""

    def __init__(self, data: Any, away: Mapping[int, Away] | None = None) -> None:
        self.away = away or {}
        super().__init__(data)

    def where(self, item_id: int, site: str) -> str:
        """Return the code of an item's site, and the consignment that it is away in."""
        gone = self.away.get(item_id)
        return f"{site}; away: {gone.number}" if gone else site


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
            return stamp(record.due_on, record.state)
        today = today_in(record.timezone)  # type: ignore[attr-defined]
        return stamp(record.due_on, record.owed.state(today))

    def render_site(self, record: Any, value: str) -> str:
        return self.where(record.item_id, value)

    def render_basis_on(self, record: Any, value: date) -> str:
        said = (record.event or record.counted_from).replace("-", " ")
        word = "if done on" if record.counted_from == IF_DONE else said
        return f"{word} {value.day} {value:%b %Y}"

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


class SetTable(tables.Table):
    """Sets with whether each is ready today, and why not."""

    counted = ("set", "sets")
    caption = "Sets"

    tag = tables.Column("Tag", accessor="item__tag", attrs=ID, linkify=("item", [A("item__pk")]))
    site = tables.Column("Site", accessor="item__site__code", attrs=ID)
    state = tables.Column("State", accessor="readiness__state")
    reason = tables.Column("Why", accessor="readiness__sentence", orderable=False)
    parts = tables.Column("Parts", attrs=NUMBER)
    first = tables.Column("Due", attrs=DATE, empty_values=(), orderable=False)

    class Meta:
        empty_text = "No set falls under this sentence."

    def render_state(self, value: str) -> SafeString:
        return render_to_string("parts/state.html", {"state": value})

    def render_first(self, record: SetRow) -> SafeString | str:
        if record.first is None:
            return "nothing asked"
        today = today_in(record.item.site.timezone)
        return stamp(record.first.due_on, record.first.state(today))
